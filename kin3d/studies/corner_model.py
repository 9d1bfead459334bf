"""One corner of an axle with changed points: measures with exact derivatives along travel and along the changes."""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from kin3d.linkage.car import Car
from kin3d.linkage.design import SIDES, SideCoordinates
from kin3d.linkage.names import AxleName, Side
from kin3d.measures.corner import Along, Corner
from kin3d.measures.entry import Measure, available, figure
from kin3d.solve.lanes import Lanes, Solved, Variants
from kin3d.solve.model import AxleModel
from kin3d.spatial.jets import Jet, box
from kin3d.studies.corner_tape import Asked, coefficient, direction_numbers, tape_of
from kin3d.studies.derived import AskedMeasures, Derived

Array = NDArray[np.float64]
AXES = ("x", "y", "z")
BATCH = 8192  # lanes times directions that are held at once
PLACES: Along = box(0), {}  # no derivative along anything
UNCHANGED = AskedMeasures()
WORTH_RECORDING = 2000  # lanes times directions from which a tape has paid


@dataclass(frozen=True, slots=True)
class CornerModel(SideCoordinates):
    """The coordinates of one side with the model of its axle."""

    model: AxleModel

    @staticmethod
    def of(car: Car, axle: AxleName, side: Side | None = None) -> CornerModel:
        """Build the corner of one side; by default the side that the points were given for."""
        model = AxleModel.of(car, axle)
        return CornerModel.from_model(model, side or model.axle.side)

    @staticmethod
    def from_model(model: AxleModel, side: Side) -> CornerModel:
        """The corner of one side of an axle's model."""
        own = model.sides[SIDES.index(side)]
        return CornerModel(**{f.name: getattr(own, f.name) for f in fields(own)}, model=model)

    def variants(self, design: Array) -> Variants:
        """Variants of this corner, from design coordinates of shape (variants, linkage points, 3)."""
        return self.model.kernel.variants(design, self.rack_axis)

    def corner(
        self,
        lanes: Lanes,
        solved: Solved,
        order: int,
        variants: Variants,
        asked: AskedMeasures = UNCHANGED,
    ) -> Corner:
        """The corner in motion, of order 0 its places alone, along the directions asked; see `Corner.of`."""
        along = None if order else PLACES
        found = Corner.of(
            self.model, lanes, solved, order, along=along, variants=variants, sign=self.sign, seeds=asked.seeds
        )
        numbers: dict[str, Any] = {key: per_variant[lanes.variant] for key, per_variant in asked.figures.items()}
        for key, rate in asked.figure_seeds.items():
            value = numbers.get(key, figure(self.model, key))
            motion = found.motion
            numbers[key] = motion.algebra.variable(value, motion.generators["points"], rate[:, None])
        return found.with_figures(numbers) if numbers else found

    def available(self, wanted: Sequence[Measure]) -> tuple[tuple[Measure, ...], dict[str, str]]:
        """Measures that there is data for, and the reason for each that is left out."""
        variants = self.variants(self.design)
        lanes = self.model.kernel.lanes(variants, np.zeros(1))
        corner = self.corner(lanes, self.model.kernel.solve(variants, lanes), 1, variants)
        return available(corner, wanted)


def by_rows(parts: Sequence[CornerModel]) -> Iterator[tuple[slice, CornerModel]]:
    """Each of several corners, with its rows among the design coordinates of all."""
    first = 0
    for part in parts:
        yield slice(first, first + len(part.design)), part
        first += len(part.design)


@dataclass(frozen=True, slots=True)
class PointDirections:
    """How the design coordinates of several corners move with a point of a table.

    Attributes
    ----------
    name : str
    side : str
        Of a table for one side where there are two; a point of a table for both moves both, and has none.
    corner : int
        The first corner that it moves.
    directions : ndarray, shape (3, rows, 3)
        For a mm along each axis of the table.
    """

    name: str
    side: str
    corner: int
    directions: Array

    @property
    def told(self) -> str:
        """Its name, after its side's."""
        return f"{self.side} {self.name}".lstrip()


def points_of_tables(parts: Sequence[CornerModel]) -> tuple[PointDirections, ...]:
    """Every point of the tables of several corners."""
    total = sum(len(p.design) for p in parts)
    found: dict[tuple[str, ...], PointDirections] = {}
    for k, (rows, part) in enumerate(by_rows(parts)):
        axle = part.model.axle
        side = part.side if len(parts) > 1 and axle.other_points is not None else ""
        for name, seeds in zip(part.names, part.seeds, strict=True):
            new = PointDirections(name, side, k, np.zeros((3, total, 3)))
            found.setdefault((axle.name, side, name), new).directions[:, rows] += seeds
    return tuple(found.values())


def derive(
    side: CornerModel, variants: Variants, lanes: Lanes, asked: AskedMeasures, solved: Solved | None = None
) -> Derived:
    """Solve lanes and compute measures with derivatives.

    Parameters
    ----------
    variants : Variants
        The cars: what is asked of these has the corner's own rack axis and no ground.
    solved : Solved, optional
        The lanes, where they are solved already.
    """
    solved = solved or side.model.kernel.solve(variants, lanes)
    out = Derived.unfilled(asked, solved.status)
    taped = asked.recorded or lanes.count * max(1, asked.directions) >= WORTH_RECORDING
    for tape in (True, False):
        rows = tuple(k for k, m in enumerate(asked.measures) if (taped and not m.by_lanes) == tape)
        if not rows:
            continue
        job = _Job(side, variants, replace(asked, measures=[asked.measures[k] for k in rows]), rows)
        for part in job.run_tape(lanes, solved, out) if tape else job.batches(np.arange(lanes.count)):
            job.run_jets(lanes.take(part), solved.take(part), part, out)
    return out


@dataclass(frozen=True, slots=True)
class _Job:
    """What is derived; `rows` are those of its measures in the results."""

    side: CornerModel
    variants: Variants
    asked: AskedMeasures
    rows: tuple[int, ...]

    def run_tape(self, lanes: Lanes, solved: Solved, out: Derived) -> Iterator[NDArray[np.intp]]:
        """Fill in what the tape gives; gives the lanes that are left for jets, a batch at a time."""
        directions: Mapping[Hashable, Array] = {}
        moving: tuple[tuple[str, int], ...] = ()
        asked = self.asked
        if asked.seeds is not None and len(asked.seeds):
            directions, moving = direction_numbers(self.side.model, self.side.side, asked.seeds, asked.figure_seeds)
        figures, figures_moving = tuple(asked.figures), tuple(asked.figure_seeds)
        wanted = Asked(tuple(asked.measures), asked.rates, figures, moving, figures_moving, bool(directions))
        tape = tape_of(self.side.model, self.side.side, wanted)
        names = ("value", "rate", "slope", "rate_slope")
        arrays = {name: [getattr(out, name)[k] for k in self.rows if len(getattr(out, name))] for name in names}
        return self.batches(np.flatnonzero(tape.run(self.variants, lanes, solved, asked.figures, directions, arrays)))

    def batches(self, left: NDArray[np.intp]) -> Iterator[NDArray[np.intp]]:
        """Lanes, so many at a time as jets are held of."""
        step = max(64, BATCH // max(1, self.asked.directions))
        for first in range(0, len(left), step):
            yield left[first : first + step]

    def run_jets(self, lanes: Lanes, solved: Solved, part: NDArray[np.intp], out: Derived) -> None:
        """Fill in some lanes by jets over arrays, blocks with weak pivots solved densely: the reference."""
        asked = self.asked
        order = max(m.order for m in asked.measures) + asked.rates
        if order or asked.seeds is not None:
            order = max(order, 1)
        corner = self.side.corner(lanes, solved, order, self.variants, asked)
        along = corner.motion.algebra, corner.motion.generators
        for k, jet in zip(self.rows, _jets(corner, asked.measures, int(asked.rates)), strict=True):
            out.value[k, part] = jet.value
            if len(out.rate):
                out.rate[k, part] = coefficient(along, jet, {"travel": 1})
            if len(out.slope):
                out.slope[k, :, part] = np.transpose(_spread(coefficient(along, jet, {"points": 1}), out, part))
            if len(out.rate_slope):
                both = coefficient(along, jet, {"travel": 1, "points": 1})
                out.rate_slope[k, :, part] = np.transpose(_spread(both, out, part))


def _spread(slope: Any, out: Derived, part: NDArray[np.intp]) -> Array:
    """A slope over directions and lanes."""
    return np.broadcast_to(slope, (out.slope.shape[1], len(part)))


def _jets(corner: Corner, measures: Sequence[Measure], extra: int) -> Iterable[Jet]:
    """Each measure as a jet, computed from a corner with no more derivatives than it needs."""
    orders = {m.order + extra for m in measures}
    corners = {n: corner.cut(n) for n in orders}
    with np.errstate(all="ignore"):
        for m in measures:
            found = m.compute(corners[m.order + extra])
            yield found if isinstance(found, Jet) else corner.motion.algebra.constant(found)
