"""One corner of an axle with changed points: measures with exact derivatives along travel and along the changes."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, fields
from typing import Any

import numpy as np
from numpy.typing import NDArray

from kin3d.linkage.car import Car
from kin3d.linkage.design import SIDES, SideCoordinates
from kin3d.linkage.names import AxleName, Side
from kin3d.measures.corner import Corner
from kin3d.measures.entry import Measure, available, figure
from kin3d.solve.lanes import Lanes, Solved, Variants
from kin3d.solve.model import AxleModel
from kin3d.spatial.jets import Jet

Array = NDArray[np.float64]
AXES = ("x", "y", "z")
BATCH = 8192  # lanes times directions that are held at once


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
        """The corner in motion; see `Corner.of`, and `derive` for the figures."""
        found = Corner.of(self.model, lanes, solved, order, variants=variants, sign=self.sign, seeds=seeds)
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
) -> Derived:
    """Solve lanes and compute measures with derivatives.

    Parameters
    ----------
    rates : bool
        Whether derivatives along travel are wanted too.
    seeds : ndarray, shape (directions, linkage points, 3), optional
        Directions of change of design coordinates.
    figures : mapping of str to ndarray, shape (variants,), optional
        Figures of the car file in each variant, by the key that measures name; default those of the file.
    figure_seeds : mapping of str to ndarray, shape (directions,), optional
        Change of figures along the same directions as `seeds`.
    """
    solved = side.model.kernel.solve(variants, lanes)
    count, directions = len(measures), 0 if seeds is None else len(seeds)
    value = np.full((count, lanes.count), np.nan)
    rate = np.full((count if rates else 0, lanes.count), np.nan)
    slope = np.full((count if directions else 0, directions, lanes.count), np.nan)
    rate_slope = np.full((count if rates and directions else 0, directions, lanes.count), np.nan)
    order = max((m.order for m in measures), default=0) + rates
    step = max(64, BATCH // max(1, directions))
    for first in range(0, lanes.count, step):
        part = slice(first, min(first + step, lanes.count))
        some = lanes.take(part), solved.take(part)
        corner = side.corner(*some, max(order, 1), variants, seeds, figures, figure_seeds)
        for k, jet in enumerate(_jets(corner, measures, int(rates))):
            value[k, part] = jet.value
            if rates:
                rate[k, part] = _coefficient(corner, jet, travel=1)
            if directions:
                slope[k, :, part] = _coefficient(corner, jet, points=1)
            if rates and directions:
                rate_slope[k, :, part] = _coefficient(corner, jet, travel=1, points=1)
    return Derived(value, rate, slope, rate_slope, solved.status)


def _jets(corner: Corner, measures: Sequence[Measure], extra: int) -> Iterable[Jet]:
    """Each measure as a jet, computed from a corner with no more derivatives than it needs."""
    orders = {m.order + extra for m in measures}
    corners = {n: corner.cut(n) for n in orders}
    with np.errstate(all="ignore"):
        for m in measures:
            found = m.compute(corners[m.order + extra])
            yield found if isinstance(found, Jet) else corner.motion.algebra.constant(found)


def _coefficient(corner: Corner, jet: Jet, **orders: int) -> Array | float:
    """Coefficient of a monomial given by the orders of its generators by name; first orders need no factor."""
    generators = corner.motion.generators
    exponents = [0] * len(generators)
    for name, order in orders.items():
        exponents[generators[name]] = order
    found: Array | float = jet[tuple(exponents)]
    return found
