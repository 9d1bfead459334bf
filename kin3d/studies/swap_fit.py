"""Least squares that makes rod and rocker of the other kind give the curves of the first, with exact sensitivities.

Unknown are the coordinates of the movable points inside their boxes. Residuals are the relative errors of every
element's ratio over the travel; small terms keep rod and rocker away from dead centre, the rod in line with its rod
ends, and the points near the start where the curves leave it open.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from kin3d.linkage.car import Axle
from kin3d.linkage.layout import Linkage
from kin3d.loads.deflections import arm_turn, shortening
from kin3d.measures.corner import Corner
from kin3d.measures.rod import lever_sine, misalignment_inner, misalignment_outer
from kin3d.measures.springs import rocker_turn
from kin3d.solve.lanes import Lanes, Status
from kin3d.spatial.jets import Jet
from kin3d.studies.corner_model import CornerModel
from kin3d.studies.derived import AskedMeasures
from kin3d.studies.swap_space import Boxes, PointPlaces

Array = NDArray[np.float64]
CornerTarget = Callable[[Corner], Any]
GOOD = 2e-3  # relative error of the spring's ratio
GOOD_OTHERS = 1e-2  # and of the other elements'
NOT_REACHED = 2.0  # residual of a position that the linkage does not reach
LEVER_SINE = 0.6  # a rod nearer to dead centre than this costs
OUT_OF_LINE = 0.12  # rad; a rod end further out of line than this costs
NEAR_BOUND = 0.1  # in half boxes: a coordinate this near to an end, and drawn to it, is held back by it
SMALL_SHARE = 0.2  # of the largest ratio; errors of smaller ones are seen against this
SIDE_WEIGHT = 0.3  # of these costs beside the relative error of a ratio
# first run, second run, and the last one of the best: weight of a point's way from its start in half boxes, tolerance
PULLS = (2e-3, 1e-5, 1e-7)
TOLERANCES = (1e-5, 1e-8, 1e-12)
EVALUATIONS = (30, 40, 150)


def targets(axle: Axle, linkage: Linkage) -> dict[str, CornerTarget]:
    """Deflections of one corner whose ratios are to be kept, by element."""
    rocker = linkage.rocker
    out: dict[str, CornerTarget] = {}
    if linkage.spring is not None:
        out["spring"] = shortening(*linkage.spring)
    out |= {s.name: shortening(*s.points) for s in axle.springs}
    if axle.torsion is not None and rocker is not None:
        out["torsion"] = rocker_turn
    if linkage.bar is not None:
        out["bar"] = arm_turn(linkage.bar.axis, linkage.bar.link[1], 1.0)
    for name, cross in (("third", axle.third), ("roll_spring", axle.roll_spring)):
        for point in dict.fromkeys(cross.points if cross else ()):
            out[f"{name}, {point}"] = _sideways(point)
    return out


def _sideways(point: str) -> CornerTarget:
    return lambda corner: corner.place(point)[1]


@dataclass(frozen=True, slots=True)
class SwapFit:
    """Result of one start: points, worst relative errors, cost, way from the start in half boxes, bounds met."""

    places: PointPlaces
    worst: dict[str, float]
    cost: float
    way: float
    at_bounds: tuple[tuple[float, str], ...]
    parameters: Array

    @property
    def good(self) -> bool:
        """Whether every element keeps its ratio well enough not to look further."""
        return self.worst["spring"] < GOOD and max(self.worst.values()) < GOOD_OTHERS

    @property
    def worst_pct(self) -> float:
        """Worst relative error of the spring's ratio, %."""
        return 100.0 * self.worst["spring"]


class Fitter:
    """Residuals of a layout of points against the ratios of the original.

    Parameters
    ----------
    side : CornerModel
        Corner of the new car in some starting layout.
    wanted : dict of str to ndarray
        Ratios of the original over the travel, by element.
    travel_mm : ndarray
    start, boxes
        Movable points.
    """

    def __init__(
        self, side: CornerModel, wanted: dict[str, Array], travel_mm: Array, start: PointPlaces, boxes: Boxes
    ) -> None:
        self.side, self.wanted, self.start = side, wanted, start
        axle, linkage = side.model.axle, side.model.linkage
        self.functions = targets(axle, linkage)
        count = len(travel_mm)
        self.lanes = Lanes(np.zeros(count, dtype=np.intp), travel_mm, np.zeros(count))
        self.names, directions, self.low, self.high = _directions(side, start, boxes)
        self.directions = directions
        self.seeds = np.tensordot(directions, side.seeds, axes=2)
        self.half = np.maximum(0.5 * (self.high - self.low), 1e-6)
        table = np.stack([start.get(p, side.places_mm[k]) for k, p in enumerate(side.names)])
        self.base = table - side.places_mm
        self._last: tuple[bytes, Array, Array] | None = None
        self.senses: dict[str, float] = {}

    def places(self, p: Array) -> PointPlaces:
        """Movable points at a parameter vector."""
        table = self.side.places_mm + self.base + np.tensordot(p, self.directions, axes=1)
        return {n: table[k] for k, n in enumerate(self.side.names) if n in self.start}

    def run(self, first: Array, number: int) -> Any:
        """Least-squares run of that number; returns SciPy's result."""
        from scipy.optimize import least_squares

        pull, tolerance = PULLS[number], TOLERANCES[number]
        inside = np.clip(first, self.low + 1e-9 * self.half, self.high - 1e-9 * self.half)
        return least_squares(
            lambda p: np.concatenate([self._values(p)[0], pull * p / self.half]),
            inside,
            jac=lambda p: np.vstack([self._values(p)[1], np.diag(pull / self.half)]),
            bounds=(self.low, self.high),
            x_scale=self.half,
            max_nfev=EVALUATIONS[number],
            xtol=tolerance,
            ftol=tolerance,
            gtol=1e-12,
        )

    def fit(self, first: Array) -> SwapFit:
        """Fit from a parameter vector: once with, once nearly without the pull to the start."""
        return self._fit(self.run(self.run(first, 0).x, 1))

    def finish(self, fit: SwapFit) -> SwapFit:
        """Take a fit as far as it goes: the slope of the ratio, which the second term needs, comes last."""
        return self._fit(self.run(fit.parameters, 2))

    def _fit(self, found: Any) -> SwapFit:
        way = float(np.sqrt(np.mean((found.x / self.half) ** 2)))
        p = found.x
        return SwapFit(self.places(p), self.worst(p), float(found.cost), way, self._at_bounds(p), p)

    def worst(self, p: Array) -> dict[str, float]:
        """Worst relative error of every element's ratio at a parameter vector."""
        count = self.lanes.count
        rows = self._values(p)[0]
        return {n: float(np.abs(rows[k * count : (k + 1) * count]).max()) for k, n in enumerate(self.functions)}

    def _at_bounds(self, p: Array) -> tuple[tuple[float, str], ...]:
        """Coordinates that want to go past their box, those that would help most first."""
        values, jacobian = self._values(p)
        slope = (jacobian.T @ values) * self.half
        out = []
        for k, (point, axis) in enumerate(self.names):
            for bound, way, word in ((self.low[k], 1.0, "lower"), (self.high[k], -1.0, "upper")):
                if abs(p[k] - bound) < NEAR_BOUND * self.half[k] and way * slope[k] > 0.0:
                    at = self.places(p)[point]["xyz".index(axis)]
                    out.append((abs(float(slope[k])), f"{point} {axis} at the {word} end of its box, {at:.1f} mm"))
        return tuple(sorted(out, reverse=True))

    def _values(self, p: Array) -> tuple[Array, Array]:
        """Residuals and their Jacobian, kept for the second of the two calls that SciPy makes."""
        key = p.tobytes()
        if self._last is None or self._last[0] != key:
            self._last = (key, *self._compute(p))
        return self._last[1], self._last[2]

    def _compute(self, p: Array) -> tuple[Array, Array]:
        change = self.base + np.tensordot(p, self.directions, axes=1)
        variants = self.side.variants(self.side.moved(change)[None])
        kernel = self.side.model.kernel
        with np.errstate(all="ignore"):
            solved = kernel.solve(variants, self.lanes, step=False)
            corner = self.side.corner(self.lanes, solved, 1, variants, AskedMeasures(seeds=self.seeds))
            rows = [self._ratio(n, corner) for n in self.functions]
            rows += [_over(lever_sine(corner), LEVER_SINE, below=True, corner=corner)]
            ends = (misalignment_outer(corner), misalignment_inner(corner))
            rows += [_over(end, OUT_OF_LINE, below=False, corner=corner) for end in ends]
        ok = solved.status == Status.OK
        shape = (len(p), self.lanes.count)
        values = [np.where(ok & np.isfinite(v), v, NOT_REACHED if k < len(self.functions) else 0.0)
                  for k, (v, _) in enumerate(rows)]  # fmt: skip
        slopes = [np.where(ok & np.isfinite(s), s, 0.0) for _, s in ((v, np.broadcast_to(s, shape)) for v, s in rows)]
        return np.concatenate(values), np.concatenate(slopes, axis=1).T

    def _ratio(self, name: str, corner: Corner) -> tuple[Array, Array]:
        """Relative error of a ratio, with slopes."""
        u = self.functions[name](corner)
        rate = u.rate(corner.travel)
        value, slope = _split(rate, corner)
        wanted = self.wanted[name]
        if name not in self.senses:
            # which way a bar's arm or the rocker turns does not matter
            same = name not in ("bar", "torsion") or not float(np.nanmean(value * wanted)) < 0.0
            self.senses[name] = 1.0 if same else -1.0
        size = np.maximum(np.abs(wanted), SMALL_SHARE * np.abs(wanted).max())
        return (self.senses[name] * value - wanted) / size, self.senses[name] * slope / size


def _split(jet: Jet, corner: Corner) -> tuple[Array, Array]:
    """Value (lanes,) and sensitivities (directions, lanes) of a jet."""
    unit = tuple(int(k == corner.motion.generators["points"]) for k in range(len(jet.algebra.monomials[0])))
    return np.asarray(jet.value, dtype=float), np.asarray(jet[unit], dtype=float)


def _over(jet: Jet, limit: float, *, below: bool, corner: Corner) -> tuple[Array, Array]:
    """By how much a size passes its limit, weighted; 0 while it does not."""
    value, slope = _split(jet, corner)
    sign = np.where(value < 0.0, -1.0, 1.0)
    passed = limit - sign * value if below else sign * value - limit
    works = passed > 0.0
    way = -sign if below else sign
    return SIDE_WEIGHT * np.where(works, passed, 0.0), SIDE_WEIGHT * np.where(works, way * slope, 0.0)


def _directions(
    side: CornerModel, start: PointPlaces, boxes: Boxes
) -> tuple[list[tuple[str, str]], Array, Array, Array]:
    """Parameters: name and axis, change of the table per mm, lower and upper bound about the start."""
    bar = side.model.linkage.bar
    tied = tuple(p for p in (bar.axis if bar else ()) if p in start)
    names: list[tuple[str, str]] = []
    rows, low, high = [], [], []
    for point in start:
        group = (point,) if point not in tied else tied
        if point in tied[1:]:
            continue  # both points of the bar's axis move together
        for k, axis in enumerate("xyz"):
            if point in tied and axis == "y":
                continue
            row = np.zeros((len(side.names), 3))
            for member in group:
                row[side.names.index(member), k] = 1.0
            rows.append(row)
            names.append((point, axis))
            low.append(max(boxes[m][0][k] - start[m][k] for m in group))
            high.append(min(boxes[m][1][k] - start[m][k] for m in group))
    lower, upper = np.array(low), np.array(high)
    upper = np.maximum(upper, lower + 1e-6)  # a box without width holds its point
    return names, np.stack(rows), lower, upper
