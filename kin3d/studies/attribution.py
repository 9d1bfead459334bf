"""Which points did it: the difference of each measure between two cars, split over the points that moved.

All points go from A's places to B's along straight lines at once. The gradient of a measure times the change of each
coordinate, averaged along the way, is that coordinate's part of the difference; the parts add up to the whole. The mean
is taken by Gauss–Legendre quadrature over exact gradients, with more nodes until what is left over is small, and that
is told. (The line integral of a gradient; as a way to share out, of R. Aumann and L. Shapley, 1974; from memory.)

What is not a point (loaded radius, wheelbase, brake share, spring) changes as one cause, *figures of the car file*. Its
part is the mean of changing it before and after the points, and the points' parts are the mean over the two ways, so
that the order does not matter and swapping the cars turns every sign.

In a turn each car stands as it has settled. How it stands goes over along the way too: heave, roll and pitch are causes
of their own, the *attitude*. What the points, springs and masses do by way of the attitude is in there; what they do
with the attitude held is in their own parts.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from kin3d.linkage.layout import WHEEL_AXIS, WHEEL_CENTRE
from kin3d.measures.entry import Measure, figure, keys_of
from kin3d.studies.car_stands import STANDS
from kin3d.studies.case import CaseModel
from kin3d.studies.corner_model import AXES, CornerModel, by_rows
from kin3d.studies.derived import AskedMeasures
from kin3d.studies.fit import CommonCases
from kin3d.studies.groups import GROUPS, groups_of
from kin3d.studies.significance import FigureKind

Array = NDArray[np.float64]
ANGLES = "static camber and toe"
FIGURES = "figures of the car file"
ATTITUDE = "attitude"
FEWEST_NODES, MOST_NODES = 4, 64
REMAINDER = 1e-7  # part of the difference that may be left over before more nodes are tried
ROUNDING = 1e-12  # part of a measure's value that is not worth another node
BY_DIFFERENCES = 1e-11  # the same where derivatives are differences (forces)
NOISE = 1e-14  # part of the sizes of the values that is rounding of them
ROUNDING = 1e-12  # of a difference: less is none left over
ADDED_UP = 1e-6  # parts that leave over more than this part of their difference are not shown
CANCELLING = 1e-6  # a difference that is a smaller part of the sum of its parts' sizes is judged against that sum


@dataclass(frozen=True, slots=True)
class Cause:
    """One coordinate that moved, or one of the causes that are not points.

    An attitude's axis is heave, roll or pitch; it has no change in mm.
    """

    name: str
    axis: str
    group: str
    change_mm: float

    def __str__(self) -> str:
        return f"{self.name} {self.axis}".strip()


@dataclass(frozen=True, slots=True)
class Attribution:
    """Parts of the differences B − A.

    Attributes
    ----------
    measures : tuple of Measure
    causes : tuple of Cause
    at : ndarray, shape (positions,)
        Values of the drive.
    parts : ndarray, shape (measures, causes, positions)
        In each measure's unit.
    rate_parts : ndarray, shape (measures, causes)
        Of the derivative along the drive at its origin, per unit.
    start_parts : ndarray, shape (measures, causes)
        Of the value there.
    difference, rate_difference, start_difference : ndarray
        What the parts add up to; shapes (measures, positions), (measures,), (measures,).
    nodes : int
        Most quadrature nodes used.
    reason : str
        Why only the upright's linkage, or nothing, could be attributed; empty when everything was.
    """

    measures: tuple[Measure, ...]
    causes: tuple[Cause, ...]
    at: Array
    parts: Array
    rate_parts: Array
    start_parts: Array
    difference: Array
    rate_difference: Array
    start_difference: Array
    nodes: int
    reason: str

    @property
    def remainder(self) -> Array:
        """What the parts leave over of the differences over the drive, shape (measures, positions)."""
        out: Array = self.difference - self.parts.sum(axis=1)
        return out

    @property
    def start_remainder(self) -> Array:
        """The same in the design position, shape (measures,)."""
        out: Array = self.start_difference - self.start_parts.sum(axis=1)
        return out

    @property
    def rate_remainder(self) -> Array:
        """The same of the derivatives, shape (measures,)."""
        out: Array = self.rate_difference - self.rate_parts.sum(axis=1)
        return out

    def of(self, kind: FigureKind) -> tuple[Array, Array, Array]:
        """Parts, difference and remainder of the value in the design position, or with ``"rate"`` of its derivative."""
        if kind == "rate":
            return self.rate_parts, self.rate_difference, self.rate_remainder
        return self.start_parts, self.start_difference, self.start_remainder

    def grouped(self, parts: Array) -> dict[str, Array]:
        """Parts of shape (measures, causes, …) summed over each group, in the order of groups."""
        names = [*GROUPS, ANGLES, ATTITUDE, FIGURES]
        there = [g for g in names if any(c.group == g for c in self.causes)]
        return {g: parts[:, [c.group == g for c in self.causes]].sum(axis=1) for g in there}

    def pointed(self, parts: Array) -> dict[str, Array]:
        """Parts of shape (measures, causes, …) summed over the axes of each point."""
        names = dict.fromkeys(c.name for c in self.causes)
        return {n: parts[:, [c.name == n for c in self.causes]].sum(axis=1) for n in names}

    def sentence(self) -> str:
        """How well the parts add up, relative to each difference in the design position; what does not is named."""
        share = self.remainder_share()
        met = self.adds_up()
        if not len(share):
            return "Nothing is split."
        kinked = [f"{m.name} ({r:.0e} left over)" for m, r in zip(self.measures, share, strict=True) if r > ADDED_UP]
        text = ""
        if met.any():
            worst = int(np.argmax(np.where(met, share, -1.0)))
            exact = share[worst] <= ROUNDING
            left = f"within {share[worst]:.0e} of each (largest for {self.measures[worst].name})"
            text = f"Parts add up to the differences {'but for rounding' if exact else left}"
            text += f"; up to {self.nodes} nodes along the way."
        if kinked:
            text += f" No parts are shown of {', '.join(kinked)}: a kink lies on the way, and they do not add up."
        return text.strip()

    def adds_up(self) -> NDArray[np.bool_]:
        """Whether the parts of each measure add up to its difference; others are not shown, shape (measures,)."""
        out: NDArray[np.bool_] = self.remainder_share() <= ADDED_UP
        return out

    def shown(self, measures: Sequence[Measure]) -> Iterator[tuple[int, Measure]]:
        """Those of some measures whose parts add up, with their rows."""
        whole = self.adds_up()
        for m in measures:
            if m in self.measures and whole[self.measures.index(m)]:
                yield self.measures.index(m), m

    def remainder_share(self) -> Array:
        """Remainder over difference for each measure, value and gradient in the design position, the greater of both.

        A difference that is rounding itself counts as met, and so does a remainder that is rounding of the values: a
        gradient that is none by symmetry is not kinked.
        """
        out = np.zeros(len(self.measures))
        noise = NOISE * (np.abs(self.start_parts).sum(axis=1) + np.abs(self.start_difference))
        for parts, difference, remainder in (self.of("design"), self.of("rate")):
            size = np.maximum(np.abs(difference), 1e-6 * np.abs(parts).sum(axis=1))
            real = (size > 1e-12) & (np.abs(remainder) > noise)
            out = np.maximum(out, np.where(real, np.abs(remainder) / np.where(real, size, 1.0), 0.0))
        return out


def attribute(common: CommonCases, measures: Sequence[Measure], at: Array) -> Attribution:
    """Split the differences of measures between two cars with a common linkage.

    Measures that either lacks are left out.
    """
    if common.a is None or common.b is None:
        return _nothing(at, common.reason)
    a, b = common.a, common.b
    of_a, of_b = ({m.name for m in s.available(measures)[0]} for s in (a, b))
    chosen = tuple(m for m in measures if m.name in of_a & of_b)
    if not chosen:
        return _nothing(at, common.reason)
    path = _Path(a, b, chosen, at)
    ends = path.ends()
    path.size = np.nan_to_num(np.abs(ends)).max(axis=(0, 1, 3))
    parts, nodes = _integrate(path, ends[1, 1] - ends[0, 0] - path.figures_part(ends))
    parts = np.concatenate([parts, path.figures_part(ends)[:, None]], axis=1)
    stays = [not np.any(s) and c.group != ATTITUDE for s, c in zip(path.seeds, path.causes, strict=True)]
    keep = ~np.array([*stays, not path.figures_differ], dtype=bool)
    causes = (*path.causes, Cause(FIGURES, "", FIGURES, 0.0))
    return Attribution(
        measures=chosen,
        causes=tuple(c for c, k in zip(causes, keep, strict=True) if k),
        at=at,
        parts=parts[:, keep, 2:],
        rate_parts=parts[:, keep, 1],
        start_parts=parts[:, keep, 0],
        difference=(ends[1, 1] - ends[0, 0])[:, 2:],
        rate_difference=(ends[1, 1] - ends[0, 0])[:, 1],
        start_difference=(ends[1, 1] - ends[0, 0])[:, 0],
        nodes=nodes,
        reason=common.reason,
    )


def _nothing(at: Array, reason: str) -> Attribution:
    none, flat = np.zeros((0, 0, len(at))), np.zeros((0, 0))
    ends = np.zeros((0, len(at))), np.zeros(0), np.zeros(0)
    return Attribution((), (), at, none, flat, flat, *ends, 0, reason)


def _integrate(path: _Path, wanted: Array) -> tuple[Array, int]:
    """Mean gradients along the way, with nodes doubled for the measures that are not yet good enough.

    Where doubling has halved what is left over of none of them, a kink or a jump lies on the way: the most nodes come
    next.
    """
    total = np.zeros((len(path.measures), len(path.causes), wanted.shape[1]))
    open_rows = np.arange(len(path.measures))
    nodes = FEWEST_NODES
    before = np.full(len(path.measures), np.inf)
    while True:
        total[open_rows] = path.gradients(nodes, [path.measures[k] for k in open_rows])
        size = np.maximum(np.abs(wanted), CANCELLING * np.abs(total).sum(axis=1))
        left = np.abs(wanted - total.sum(axis=1))
        rounding = np.array([BY_DIFFERENCES if m.by_lanes else ROUNDING for m in path.measures])
        share = np.nan_to_num(left / (REMAINDER * size + (rounding * (1.0 + path.size))[:, None])).max(axis=1)
        open_rows = np.flatnonzero(share > 1.0)
        if not open_rows.size or nodes >= MOST_NODES:
            return total, nodes
        stuck = (share > 0.5 * before)[open_rows].all()
        nodes, before = MOST_NODES if stuck else 2 * nodes, share


class _Path:
    """The straight way from A's points to B's; the figures of the car file go over at either end.

    Columns of what it returns are the value at the drive's origin, its derivative along the drive there, and the values
    over the drive.
    """

    def __init__(self, a: CaseModel, b: CaseModel, measures: tuple[Measure, ...], at: Array) -> None:
        self.a, self.b = a, b
        self.measures = measures
        self.at = at
        orders = [
            [theirs.model.linkage.points.index(p) for p in ours.model.linkage.points]
            for ours, theirs in zip(a.parts, b.parts, strict=True)
        ]
        self.start = a.design
        self.end = np.concatenate([p.design[order] for p, order in zip(b.parts, orders, strict=True)])
        self.sides = (a, a.with_figures_of(b))
        self.rack_axes = tuple(np.array([p.rack_axis for p in x.parts]) for x in (a, b))
        self.figures_differ = _figures(a, measures) != _figures(b, measures)
        self.attitude = 0  # the first of its directions
        self.causes, self.seeds = self._directions(b)
        self.size = np.zeros(len(measures))

    def _directions(self, b: CaseModel) -> tuple[tuple[Cause, ...], Array]:
        """Every coordinate that may move, both sides of an axle together."""
        causes: list[Cause] = []
        seeds: list[Array] = []
        firsts = [rows.start for rows, _ in by_rows(self.a.parts)]
        by_axle: dict[str, list[int]] = {}
        for k, part in enumerate(self.a.parts):
            by_axle.setdefault(part.model.axle.name, []).append(k)
        for axle, numbers in by_axle.items():
            made_up = any(WHEEL_AXIS not in x.parts[k].names for x in (self.a, b) for k in numbers)
            told = next((k for k in numbers if self.a.parts[k].side == self.a.corner.side), numbers[0])
            head = f"{axle} " if len(by_axle) > 1 else ""
            found = self._of_axle([firsts[k] for k in numbers], self.a.parts[told], firsts[told], made_up)
            for cause, seed in found:
                causes.append(replace(cause, name=f"{head}{cause.name}"))
                seeds.append(seed)
        stands = self.a.between(b, np.zeros(1), np.full(1, self.a.case.origin), len(causes), len(causes) + len(STANDS))
        if stands is not None and stands.seeds is not None:
            self.attitude = len(causes)
            causes += [Cause(ATTITUDE, name, ATTITUDE, np.nan) for name in STANDS]
            seeds += [np.zeros_like(self.start)] * len(STANDS)
        return tuple(causes), np.array(seeds)

    def _of_axle(self, firsts: list[int], part: CornerModel, told: int, made_up: bool) -> Iterator[tuple[Cause, Array]]:
        """Coordinates of one axle; `firsts` are the first rows of its corners, `told` that whose changes are told."""
        points, change = part.model.linkage.points, self.end - self.start
        groups = groups_of(part.model.linkage, part.design)
        wheel_axis = points.index(WHEEL_AXIS)
        for row, point in enumerate(points):
            if made_up and point == WHEEL_AXIS:
                continue
            along = [row, wheel_axis] if made_up and point == WHEEL_CENTRE else [row]
            for k, axis in enumerate(AXES):
                seed = np.zeros_like(change)
                for first in firsts:
                    seed[[first + r for r in along], k] = change[first + row, k]
                yield Cause(point, axis, groups[point], float(change[told + row, k])), seed
        if made_up:
            seed = np.zeros_like(change)
            for first in firsts:
                seed[first + wheel_axis] = change[first + wheel_axis] - change[first + points.index(WHEEL_CENTRE)]
            seed[np.abs(seed) < 1e-12] = 0.0  # rounding of two places far from the origin
            yield Cause(ANGLES, "", ANGLES, 0.0), seed

    def ends(self) -> Array:
        """Values with the points of A and B (first axis) and the figures of A and B (second)."""
        out = [self._columns(np.array([0.0, 1.0]), f, self.measures)[0] for f in (0, 1)]
        both = np.stack(out, axis=1)
        return np.where(np.isfinite(both), both, np.nan)  # a centre at infinity has no difference to split

    def figures_part(self, ends: Array) -> Array:
        """Part of the figures of the car file, shape (measures, columns)."""
        out: Array = 0.5 * ((ends[0, 1] - ends[0, 0]) + (ends[1, 1] - ends[1, 0]))
        return out

    def gradients(self, nodes: int, measures: Sequence[Measure]) -> Array:
        """Mean of gradient times change along the way, shape (measures, causes, columns)."""
        at, weights = np.polynomial.legendre.leggauss(nodes)
        share = 0.5 * (1.0 + at)
        sets = (0, 1) if self.figures_differ else (0,)
        found = [np.tensordot(0.5 * weights, self._columns(share, f, measures)[1], axes=1) for f in sets]
        out: Array = np.mean(found, axis=0)
        return out

    def _columns(self, share: Array, figures: int, measures: Sequence[Measure]) -> tuple[Array, Array]:
        """Values (designs, measures, columns) and gradients (designs, measures, causes, columns) at shares of it."""
        model, axes, count = self.sides[figures], self.rack_axes[figures], len(share)
        # the ends themselves to the last bit
        designs = np.stack([self.end if s == 1.0 else self.start + s * (self.end - self.start) for s in share])
        origin = np.full(1, self.a.case.origin)
        stand = [self.a.between(self.b, share, x, self.attitude, len(self.seeds)) for x in (origin, self.at)]
        asked = AskedMeasures(measures, seeds=self.seeds, rack_axes=axes, stands=stand[1])
        start = model.derive(designs, origin, replace(asked, rates=True, stands=stand[0]))
        over = start
        if not np.array_equal(self.at, origin):
            over = model.derive(designs, self.at, asked)
        shape = (len(measures), len(self.seeds), count, len(self.at))
        value = np.concatenate(
            [start.value[..., None], start.rate[..., None], over.value.reshape(shape[0], count, -1)], axis=-1
        )
        slope = np.concatenate(
            [start.slope[..., None], start.rate_slope[..., None], over.slope.reshape(shape)], axis=-1
        )
        return np.moveaxis(value, 1, 0), np.moveaxis(slope, 2, 0)


def _figures(model: CaseModel, measures: Sequence[Measure]) -> tuple[object, ...]:
    """What the measures read beside the points."""
    axes = (tuple(np.round(p.rack_axis, 12)) for p in model.parts)
    return (*(figure(model.subject, key) for key in keys_of(measures)), *axes)
