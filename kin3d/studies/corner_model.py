"""One corner of an axle with changed points: measures with exact derivatives along travel and along the changes."""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, fields
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

Array = NDArray[np.float64]
AXES = ("x", "y", "z")
BATCH = 8192  # lanes times directions that are held at once
PLACES: Along = box(0), {}  # no derivative along anything
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
        seeds: Array | None = None,
        figures: Mapping[str, Array] | None = None,
        figure_seeds: Mapping[str, Array] | None = None,
    ) -> Corner:
        """The corner in motion, of order 0 its places alone; see `Corner.of`, and `derive` for the figures."""
        along = None if order else PLACES
        found = Corner.of(
            self.model, lanes, solved, order, along=along, variants=variants, sign=self.sign, seeds=seeds
        )
        numbers: dict[str, Any] = {key: per_variant[lanes.variant] for key, per_variant in (figures or {}).items()}
        for key, rate in (figure_seeds or {}).items():
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


@dataclass(frozen=True, slots=True)
class Derived:
    """Measures over lanes.

    Attributes
    ----------
    value : ndarray, shape (measures, lanes)
        In each measure's unit; NaN where a lane is not solved.
    rate : ndarray, shape (measures, lanes)
        Derivative along travel, per mm; empty unless asked for.
    slope : ndarray, shape (measures, directions, lanes)
        Derivative along each direction, per unit of it; empty without directions.
    rate_slope : ndarray, shape (measures, directions, lanes)
        Derivative of `rate` along each direction.
    status : ndarray of int8, shape (lanes,)
    """

    value: Array
    rate: Array
    slope: Array
    rate_slope: Array
    status: NDArray[np.int8]


def derive(
    side: CornerModel,
    variants: Variants,
    lanes: Lanes,
    measures: Sequence[Measure],
    *,
    rates: bool = False,
    seeds: Array | None = None,
    figures: Mapping[str, Array] | None = None,
    figure_seeds: Mapping[str, Array] | None = None,
    recorded: bool = False,
    solved: Solved | None = None,
) -> Derived:
    """Solve lanes and compute measures with derivatives.

    Parameters
    ----------
    solved : Solved, optional
        The lanes, where they are solved already.
    recorded : bool
        Whether measures come from a tape however few lanes there are: where many calls are to give the same bits.
    rates : bool
        Whether derivatives along travel are wanted too.
    seeds : ndarray, shape (directions, linkage points, 3), optional
        Directions of change of design coordinates.
    figures : mapping of str to ndarray, shape (variants,), optional
        Figures of the car file in each variant, by the key that measures name; default those of the file.
    figure_seeds : mapping of str to ndarray, shape (directions,), optional
        Change of figures along the same directions as `seeds`.
    """
    solved = solved or side.model.kernel.solve(variants, lanes)
    count, directions = len(measures), 0 if seeds is None else len(seeds)
    out = Derived(
        value=np.empty((count, lanes.count)),
        rate=np.empty((count if rates else 0, lanes.count)),
        slope=np.empty((count if directions else 0, directions, lanes.count)),
        rate_slope=np.empty((count if rates and directions else 0, directions, lanes.count)),
        status=solved.status,
    )
    numbers = rates, seeds, figures or {}, figure_seeds or {}
    taped = recorded or lanes.count * max(1, directions) >= WORTH_RECORDING
    for tape in (True, False):
        rows = tuple(k for k, m in enumerate(measures) if (taped and not m.by_lanes) == tape)
        if not rows:
            continue
        job = _Job(side, variants, tuple(measures[k] for k in rows), rows, *numbers)
        for part in job.run_tape(lanes, solved, out) if tape else job.batches(np.arange(lanes.count)):
            job.run_jets(lanes.take(part), solved.take(part), part, out)
    return out


@dataclass(frozen=True, slots=True)
class _Job:
    """What is derived, as `derive` is asked for it; `rows` are those of its measures in the results."""

    side: CornerModel
    variants: Variants
    measures: tuple[Measure, ...]
    rows: tuple[int, ...]
    rates: bool
    seeds: Array | None
    figures: Mapping[str, Array]
    figure_seeds: Mapping[str, Array]

    def run_tape(self, lanes: Lanes, solved: Solved, out: Derived) -> Iterator[NDArray[np.intp]]:
        """Fill in what the tape gives; gives the lanes that are left for jets, a batch at a time."""
        directions: Mapping[Hashable, Array] = {}
        moving: tuple[tuple[str, int], ...] = ()
        if self.seeds is not None and len(self.seeds):
            directions, moving = direction_numbers(self.side.model, self.side.side, self.seeds, self.figure_seeds)
        asked = Asked(
            self.measures, self.rates, tuple(self.figures), moving, tuple(self.figure_seeds), bool(len(directions))
        )
        tape = tape_of(self.side.model, self.side.side, asked)
        names = ("value", "rate", "slope", "rate_slope")
        arrays = {name: [getattr(out, name)[k] for k in self.rows if len(getattr(out, name))] for name in names}
        return self.batches(np.flatnonzero(tape.run(self.variants, lanes, solved, self.figures, directions, arrays)))

    def batches(self, left: NDArray[np.intp]) -> Iterator[NDArray[np.intp]]:
        """Lanes, so many at a time as jets are held of."""
        step = max(64, BATCH // max(1, 0 if self.seeds is None else len(self.seeds)))
        for first in range(0, len(left), step):
            yield left[first : first + step]

    def run_jets(self, lanes: Lanes, solved: Solved, part: NDArray[np.intp], out: Derived) -> None:
        """Fill in some lanes by jets over arrays, blocks with weak pivots solved densely: the reference."""
        order = max(m.order for m in self.measures) + self.rates
        if order or self.seeds is not None:
            order = max(order, 1)
        corner = self.side.corner(
            lanes, solved, order, self.variants, self.seeds, self.figures, self.figure_seeds
        )
        along = corner.motion.algebra, corner.motion.generators
        for k, jet in zip(self.rows, _jets(corner, self.measures, int(self.rates)), strict=True):
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
