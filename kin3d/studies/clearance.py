"""Clearance: the least gap of every pair of solids that can move against each other, over travel and rack, or roll."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from kin3d.errors import Finding, RequestError, Severity
from kin3d.linkage.car import Car
from kin3d.linkage.design import SIDES
from kin3d.linkage.joined import independent_only
from kin3d.linkage.names import AxleName
from kin3d.measures.gaps import ShapePair, is_simple, nearest, pairs_of, places_of, shapes_of
from kin3d.solve.lanes import Status
from kin3d.solve.model import AxleModel
from kin3d.studies.car import CarModel
from kin3d.studies.clearance_doubt import gap_doubts
from kin3d.studies.clearance_gaps import AxleClearance, GapLimit
from kin3d.studies.clearance_result import Clearance
from kin3d.studies.drive_values import Given, drive_values, refuse_travel
from kin3d.studies.ground_contact import Stance, Standing, put_on_ground
from kin3d.studies.mesh_gaps import MeshGaps, mesh_findings

Array = NDArray[np.float64]
GAP_MM = 4.0  # wanted where nothing is said; common practice, no source
TRAVEL = tuple(5.0 * k for k in range(-6, 7))
SCANNED = 25  # places between the design position and the end of a drive at which a gap is looked at
HALVINGS = 24  # of a range of 50 mm: to a thousandth of a micrometre


def clearance(
    car: Car,
    travel: Sequence[float] | Array | None = None,
    rack: Sequence[float] | Array = (0.0,),
    *,
    roll: Sequence[float] | Array | None = None,
    heave: Sequence[float] | Array | None = None,
    pitch: Sequence[float] | Array | None = None,
    axle: AxleName | None = None,
    gap: float = GAP_MM,
    sigma: float | None = None,
) -> Clearance:
    """Find the least gap of every pair of solids of a corner that can move against each other.

    Parameters
    ----------
    car : Car
        With ``[front.solids]``, or tubes of links and rod that have a diameter.
    travel, rack : array-like, mm
        Every travel is looked at with every rack. Travel −30 to 30 by default; bump and left positive.
    roll, heave, pitch : array-like, deg, mm, deg, optional
        In place of travel, wheels on the ground: both of the axle, with pitch all four; left side up and nose down
        positive. Pitch counts from the design position.
    axle : {"front", "rear"}, optional
        Default: every axle that has solids.
    gap : float, mm
        Wanted: where along each drive it is used up is told.
    sigma : float, mm, optional
        Standard deviation of every coordinate to which the file gives none.

    Returns
    -------
    Clearance
        Of both sides of each axle; vehicle frame.

    Raises
    ------
    RequestError
        Where no solids can move against each other, or meshes have a size that cannot be.
    ReadingError
        For a mesh that cannot be read.
    """
    drives = _drives(travel, rack, {"roll": roll, "heave": heave, "pitch": pitch}, gap)
    chosen = [a for a in car.axles() if axle in (None, a.name)] if axle is None else [car.axle(axle)]
    there = [a for a in chosen if pairs_of(shapes_of(a))]
    if not there:
        where = " or ".join(f"[{a.name}.solids.NAME]" for a in chosen)
        text = (
            f"no two solids can move against each other; give tubes, profiles or meshes in {where}, and diameter_mm "
            "of links and rod"
        )
        raise RequestError(Finding("solids-missing", text, str(car.source)))
    independent_only("clearance", there, "ask for the other axle with --axle")
    parts: list[AxleClearance] = []
    findings: list[Finding] = []
    for one in there:
        model = AxleModel.of(car, one.name)
        findings += mesh_findings(model)
        own = {n: (np.zeros(1) if n == "rack" and not model.linkage.rack else v) for n, v in drives.items()}
        study = _Study(car, model, own, gap, sigma, CarModel.of(car) if "pitch" in drives else None)
        parts += study.sides()
        findings += study.findings
    return Clearance(car.title, tuple(parts), gap, tuple(findings))


def _drives(
    travel: Given | None,
    rack: Given,
    ground: Mapping[str, Given | None],
    gap: float,
) -> dict[str, Array]:
    """Values of each drive by name; pitch only where it is given, as it needs the whole car."""
    standing = any(v is not None for v in ground.values())
    refuse_travel(travel, ground.values())
    there = {n: v for n, v in ground.items() if n != "pitch" or v is not None}
    given = there if standing else {"travel": TRAVEL if travel is None else travel}
    out = drive_values({n: 0.0 if v is None else v for n, v in {**given, "rack": rack}.items()})
    if not np.isfinite(gap) or gap < 0.0:
        raise RequestError(Finding("gap-range", f"gap: 0 mm or more is expected, found {gap:g}"))
    return out


@dataclass(slots=True)
class _Study:
    """One axle over a grid of drives."""

    car: Car
    model: AxleModel
    drives: dict[str, Array]
    wanted: float
    sigma: float | None
    whole: CarModel | None = None
    findings: list[Finding] = field(default_factory=list)

    def sides(self) -> list[AxleClearance]:
        every = np.meshgrid(*self.drives.values(), indexing="ij")
        grid = {n: g.ravel() for n, g in zip(self.drives, every, strict=True)}
        corners = [_Side(self.model, k, pairs_of(shapes_of(self.model.axle))) for k in (0, 1)]
        placed = self.solve(grid)
        out = []
        for corner, (at, ok) in zip(corners, placed, strict=True):
            design = corner.gaps(self.model.variants.design[corner.side][None], np.ones(1, dtype=bool))
            found = corner.gaps(at, ok)
            touching = design[0][:, 0] <= 0.0
            if not ok.any():
                continue
            names = tuple(corner.pairs)
            result = AxleClearance(
                self.model.axle.name, SIDES[corner.side], names, grid, ok, *found, design[0][:, 0], touching,
                self.limits(corner, touching), at, self.model.linkage.points,
            )  # fmt: skip
            out.append(result.with_doubts(gap_doubts(self.car, self.model, result, self.sigma)))
        bad = ~np.logical_and(*(ok for _, ok in placed))
        if bad.any():
            text = f"{int(bad.sum())} of {bad.size} positions are not reached by the linkage and left out"
            self.findings.append(Finding("not-reached", text, f"{self.model.axle.name} axle", Severity.WARNING))
        return out

    def solve(self, at: Mapping[str, Array]) -> list[tuple[Array, NDArray[np.bool_]]]:
        """Places of all points of the left and of the right corner, and which positions are reached."""
        model, rack = self.model, at["rack"]
        if "travel" in at:
            lanes = model.pair(np.stack([at["travel"]] * 2), rack)
            solved = model.kernel.solve(model.variants, lanes)
            ok = solved.status == Status.OK
        else:
            standing = self._standing(at)
            lanes, solved = standing.axles[-1 if self.whole and model.axle.name == "rear" else 0]
            ok = np.tile(standing.status == Status.OK, 2)
        points = model.kernel.points(model.variants, lanes, solved)
        return list(zip(np.split(points, 2), np.split(ok, 2), strict=True))

    def _standing(self, at: Mapping[str, Array]) -> Standing:
        """Wheels on the ground: those of the axle, with pitch all of the car."""
        heave, roll, rack = at["heave"], np.radians(at["roll"]), at["rack"]
        if self.whole is None:
            return put_on_ground([self.model], Stance(heave, roll, rack, np.zeros_like(rack)))
        return self.whole.stand(self.whole.stance(heave, np.radians(at["pitch"]), roll, rack))

    def limits(self, corner: _Side, touching: NDArray[np.bool_]) -> tuple[GapLimit, ...]:
        """Where along each drive, the others at 0, a pair has less than the wanted gap for the first time."""
        ends = [(n, float(e)) for n, v in self.drives.items() for e in (v.min(), v.max()) if e]
        ends = [(n, e) for n, e in dict.fromkeys(ends)]
        parts = np.linspace(0.0, 1.0, SCANNED)
        out: list[GapLimit] = []
        brackets: list[tuple[int, int, float, float]] = []
        scanned = self._along(corner, [end for end in ends for _ in parts], np.tile(parts, len(ends)))
        for number, (name, end) in enumerate(ends):
            gaps = scanned[:, number * SCANNED : (number + 1) * SCANNED]
            for row in np.flatnonzero(~touching).tolist():
                below = np.flatnonzero(gaps[row] < self.wanted)
                if below.size and below[0] == 0:
                    out.append(GapLimit(row, name, end, 0.0))
                elif below.size:
                    brackets.append((row, number, float(parts[below[0] - 1]), float(parts[below[0]])))
        low, high = (np.array([b[k] for b in brackets]) for k in (2, 3))
        rows = [b[0] for b in brackets]
        for _ in range(HALVINGS if brackets else 0):
            middle = 0.5 * (low + high)
            gaps = self._along(corner, [ends[b[1]] for b in brackets], middle, rows)
            less = gaps < self.wanted
            low, high = np.where(less, low, middle), np.where(less, middle, high)
        for (row, number, _, _), part in zip(brackets, low, strict=True):
            name, end = ends[number]
            out.append(GapLimit(row, name, end, float(part) * end))
        return tuple(sorted(out, key=lambda x: x.row))

    def _along(
        self, corner: _Side, ends: Sequence[tuple[str, float]], parts: Array, rows: Sequence[int] | None = None
    ) -> Array:
        """Gaps at parts of the ways to ends of drives: of all pairs, (pairs, places), or of one each, (places,)."""
        way = list(zip(ends, parts, strict=True))
        at = {n: np.array([e * p if n == name else 0.0 for (name, e), p in way]) for n in self.drives}
        points, ok = self.solve(at)[corner.side]
        if rows is None:
            return corner.gaps(points, ok)[0]
        out = np.full(len(parts), np.nan)
        for row in set(rows):
            mine = np.flatnonzero(np.array(rows) == row)
            out[mine] = corner.gap(corner.pairs[row], points[mine], ok[mine])[0]
        return out


@dataclass(slots=True)
class _Side:
    """Pairs of one side."""

    model: AxleModel
    side: int
    pairs: tuple[ShapePair, ...]
    _meshes: list[MeshGaps] = field(default_factory=list)

    def gaps(self, at: Array, ok: NDArray[np.bool_]) -> tuple[Array, Array, Array]:
        """Gaps (pairs, lanes) and nearest places (pairs, 3, lanes) of all pairs; NaN where a lane is not solved."""
        found = [self.gap(p, at, ok) for p in self.pairs]
        first, second, third = (np.stack(x) for x in zip(*found, strict=True))
        return first, second, third

    def gap(self, pair: ShapePair, at: Array, ok: NDArray[np.bool_]) -> tuple[Array, Array, Array]:
        """The same of one pair."""
        if not is_simple(pair):
            if not self._meshes:
                self._meshes.append(MeshGaps(self.model, self.side))
            return self._meshes[0].gaps(pair, at, ok)
        gap = np.full(len(at), np.nan)
        near = np.full((2, 3, len(at)), np.nan)
        if ok.any():
            found = nearest(pair, places_of(self.model.linkage.points, at[ok]))
            gap[ok], near[0][:, ok], near[1][:, ok] = found.distance, found.first, found.second
        return gap, near[0], near[1]
