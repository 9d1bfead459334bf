"""What a swap found: new points, how well the ratios are kept, proof that the wheel is left alone, what differs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from os import PathLike
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from kin3d.errors import Finding, RequestError
from kin3d.linkage.car import Car
from kin3d.linkage.names import AxleName
from kin3d.studies.inboard import InboardCurves, worst_rod_end
from kin3d.studies.swap_space import Boxes
from kin3d.studies.sweep import sweep
from kin3d.writing.numbers import number
from kin3d.writing.result import Result
from kin3d.writing.tables import Cell, Column, Table

Array = NDArray[np.float64]
INBOARD_GROUPS = ("spring", "rod", "solids")  # gaps are of the rod too
RACKS_MM = (-10.0, 0.0, 10.0)
SHOWN_OBSTACLES = 5
SAFETY = "Rod forces and buckling loads are of rigid links: strength is for qualified people."
# curves of both cars in files: name, attribute of `InboardCurves`
CURVES = (
    ("motion_ratio", "motion_ratio"),
    ("wheel_rate_n_per_mm", "wheel_rate_n_per_mm"),
    ("rod_force_per_load", "rod_force_per_load"),
    ("rod_to_rocker_deg", "rod_to_rocker_deg"),
    ("rod_end_outer_deg", "rod_end_outer_deg"),
    ("rod_end_inner_deg", "rod_end_inner_deg"),
    ("rod_slope_deg", "rod_slope_deg"),
)


@dataclass(frozen=True, slots=True)
class WheelProof:
    """Largest difference of a measure of the wheel between two cars.

    Attributes
    ----------
    difference : float
        |new − old| / max(1, |old|) in the measure's unit.
    measure : str
        Where it is found.
    count, positions : int
        Measures and positions compared.
    """

    difference: float
    measure: str
    count: int
    positions: int

    def __str__(self) -> str:
        same = f"largest difference {self.difference:.1e} ({self.measure})" if self.difference else "no difference"
        return f"wheel: {self.count} measures in {self.positions} positions, {same}"


def prove_wheel(old: Car, new: Car, axle: AxleName, travel_mm: Array) -> WheelProof:
    """Compare every measure that is not of rod, rocker or spring over travel and three rack displacements."""
    first, second = (sweep(car, axle, travel_mm, RACKS_MM) for car in (old, new))
    names = [m.name for m in first.measures if m.group not in INBOARD_GROUPS]
    both = (first.status == 0) & (second.status == 0)
    worst = {n: _difference(first.values[n][both], second.values[n][both]) for n in names}
    where = max(worst, key=lambda n: worst[n])
    return WheelProof(worst[where], where, len(names), int(both.sum()))


def _difference(a: Array, b: Array) -> float:
    with np.errstate(invalid="ignore"):
        apart = np.abs(a - b) / np.maximum(1.0, np.abs(a))
    return float(np.nanmax(np.where((a == b) | (np.isnan(a) & np.isnan(b)), 0.0, apart)))


@dataclass(frozen=True, slots=True, repr=False)
class SwapResult(Result):
    """What a swap found.

    Attributes
    ----------
    car : Car
        With the new points; the nearest layout where none fits.
    axle : {"front", "rear"}
    fits : bool
        Whether the motion ratio is matched within `within_pct` and the rod is of the kind asked for.
    within_pct, worst_pct : float
        Largest deviation of the motion ratio over the travel, against the original's at the same travel.
    worst_by_element : dict of str to float
        The same for every element on the rocker, %; against a fifth of its largest ratio where the ratio is smaller.
    before, after : InboardCurves
        Both over the travel.
    wheel : WheelProof
        The wheel's measures of both cars side by side.
    moved : dict of str to (ndarray, ndarray)
        Every movable point, before and after, vehicle frame, mm, on the side of the point table.
    boxes : dict of str to (ndarray, ndarray)
    stated : tuple of str
        Points for which the default space was taken.
    obstacles : tuple of str
        Coordinates that the boxes hold back, the one that matters most first.
    starts : int
        Starts that were tried.
    loads_n : tuple of float
        Wheel loads for which the tables show rod force and buckling, N.
    """

    kind = "swap"

    car: Car
    axle: AxleName
    fits: bool
    within_pct: float
    worst_pct: float
    worst_by_element: dict[str, float]
    before: InboardCurves
    after: InboardCurves
    wheel: WheelProof
    moved: dict[str, tuple[Array, Array]]
    boxes: Boxes
    stated: tuple[str, ...]
    obstacles: tuple[str, ...]
    starts: int
    loads_n: tuple[float, ...]

    def summary(self) -> str:
        """Which rod became which, and how well the ratios are kept: two lines."""
        before, after = self.before, self.after
        span = f"{before.travel_mm[0]:+g} to {before.travel_mm[-1]:+g} mm".replace("-", "−")
        others = [f"{n} {v:.2f} %" for n, v in self.worst_by_element.items() if n != "spring"]
        if before.wheel_rate_n_per_mm is not None and after.wheel_rate_n_per_mm is not None:
            apart = np.abs(after.wheel_rate_n_per_mm / before.wheel_rate_n_per_mm - 1.0)
            others.append(f"wheel rate {100.0 * float(np.max(apart)):.2f} %")
        head = f"{self.car.title}, {self.axle} axle: {before.kind}-rod on the {before.rod_on} to "
        kept = f"motion ratio within {self.worst_pct:.3f} % of the original from {span}"
        more = f"; {', '.join(others)}" if others else ""
        return f"{head}{after.kind}-rod on the {after.rod_on}\n{kept}{more}"

    def verdict(self) -> tuple[str, ...]:
        """Where none fits: that this is the nearest, and what is in the way; nothing where one fits."""
        if self.fits:
            return ()
        said = [f"no layout found within {self.within_pct:g} %: this is the nearest of {self.starts} starts"]
        said += [f"in the way: {obstacle}" for obstacle in self.obstacles[:SHOWN_OBSTACLES]]
        return (*said,) if self.obstacles else (*said, "no box is in the way: another mount may reach it")

    def notes(self) -> tuple[str, ...]:
        """The proof for the wheel, the verdict where none fits, and what the figures are not for."""
        return str(self.wheel), *self.verdict(), SAFETY

    def tables(self, measures: Sequence[str] | None = None) -> tuple[Table, ...]:  # noqa: ARG002 - none to choose
        """The points that moved, what differs, and the default space of points without a box."""
        heads = [("x_mm", "x\nmm"), ("y_mm", "y\nmm"), ("z_mm", "z\nmm")]
        heads += [(f"new_{n}", f"new {h}") for n, h in heads]
        columns = [Column("point", text=True), *(Column(n, "mm", h, places=1) for n, h in heads)]
        rows: list[tuple[Cell, ...]] = [
            (p, *map(float, (*before, *after))) for p, (before, after) in self.moved.items()
        ]
        both = [_differing(c, self.loads_n) for c in (self.before, self.after)]
        differing = [Column("what_differs", head="what differs", text=True), Column("before"), Column("after")]
        found = [
            Table.of("points", columns, rows),
            Table.of("differences", differing, [(k, both[0][k], both[1][k]) for k in both[0]]),
        ]
        if self.stated:
            title = "default space, for points without a box (mm)"
            ends = [(p, *(_interval(*e) for e in zip(*self.boxes[p], strict=True))) for p in self.stated]
            found.append(Table.of("space", [Column("point", text=True), "x", "y", "z"], ends, title))
        return tuple(found)

    def records(self) -> tuple[Table, ...]:
        """Curves of both cars over the travel; points with their boxes; deviations by element; the proof."""
        given = [(n, getattr(self.before, a), getattr(self.after, a)) for n, a in CURVES]
        kept = [(n, *both) for n, *both in given if both[0] is not None and both[1] is not None]
        columns = ["travel_mm", *(f"{n}_{word}" for n, *_ in kept for word in ("before", "after"))]
        arrays = [self.before.travel_mm, *(a for _, *both in kept for a in both)]
        points: list[tuple[Cell, ...]] = []
        for p, (before, after) in self.moved.items():
            space = "default" if p in self.stated else "given"
            points.append((p, *map(float, (*before, *after, *self.boxes[p][0], *self.boxes[p][1])), space))
        places = [f"{word}{axis}_mm" for word in ("", "new_", "box_low_", "box_high_") for axis in "xyz"]
        wheel = ("difference", "measure", "measures", "positions")
        proof = (self.wheel.difference, self.wheel.measure, self.wheel.count, self.wheel.positions)
        return (
            Table.of("curves", columns, zip(*(map(float, a) for a in arrays), strict=True)),
            Table.of("points", ["point", *places, "box"], points),
            Table.of("elements", ["element", "worst_pct"], self.worst_by_element.items()),
            Table.of("wheel", wheel, [proof]),
        )

    def plot(self, path: str | PathLike[str], measures: Sequence[str] | None = None) -> None:
        """Draw both cars' rod and rocker, and what they do over the travel."""
        if measures:
            return Result.plot(self, path, measures)
        from kin3d.studies.inboard_plot import draw_inboard

        return draw_inboard([self.before, self.after], Path(path), ["before", "after"])

    def save(self, path: str | PathLike[str], table: str | None = None) -> int:
        """Write the figures as `Result.save` does, or with the ending ``.toml`` the new car with its point tables.

        Returns
        -------
        int
            Rows; of a car the number of points that moved.

        Raises
        ------
        RequestError
            Also where no layout fits and a car is asked for: `car` holds the nearest one.
        """
        if Path(path).suffix.lower() != ".toml":
            return Result.save(self, path, table)
        self.save_car(path)
        return len(self.moved)

    def save_car(self, path: str | PathLike[str]) -> tuple[Path, ...]:
        """Write the new car; returns every file written. Refused where no layout fits."""
        from kin3d.reading.car_writing import write_car

        if not self.fits:
            text = f"not written: no layout keeps the motion ratio within {self.within_pct:g} %"
            raise RequestError(Finding("swap-no-fit", text, str(path)))
        origin = f"{self.axle} axle turned into a {self.after.kind}-rod by kin3d swap from {self.car.source.name}"
        return write_car(self.car, Path(path), origin)


def _interval(low: float, high: float) -> str:
    return f"{low:.0f} to {high:.0f}".replace("-", "−")


def _differing(c: InboardCurves, loads_n: Sequence[float]) -> dict[str, str]:
    """What may differ, of one car, as a person reads it."""
    force = c.rod_force_per_load
    largest = float(force[int(np.nanargmax(np.abs(force)))])
    outer, inner = worst_rod_end(c)
    k = int(np.argmin(np.abs(c.travel_mm)))
    out = {
        "rod force per N of wheel load, design (tension +)": number(float(force[k]), "deg"),
        "  largest over the travel": number(largest, "deg"),
    }
    out |= {f"  at {load:g} N of wheel load, N": number(largest * load, "%") for load in loads_n}
    out["rod length, mm"] = number(c.rod_length_mm, "%")
    for load in loads_n:
        out[f"buckling load over rod force at {load:g} N"] = _margin(c, largest * load)
    out["rod end out of line, worst, outer / inner, deg"] = f"{outer:.1f} / {inner:.1f}"
    out["rod to rocker, nearest to dead centre, deg"] = number(float(np.nanmin(c.rod_to_rocker_deg)), "%")
    out["slope of the rod, front view, design, deg"] = number(float(c.rod_slope_deg[k]), "%")
    height = c.mass_centre_height_mm
    out["mass centre of rod, rocker, spring: height, mm"] = "no masses" if height is None else number(height, "%")
    return out


def _margin(c: InboardCurves, force_n: float) -> str:
    if force_n >= 0.0:
        return "in tension"
    return "no tube given" if c.buckling_n is None else f"{c.buckling_n / -force_n:.1f}"
