"""One corner of an axle, ready to be solved with changed points."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from kin3d.linkage.car import Car
from kin3d.linkage.design import SIDES, SideCoordinates
from kin3d.linkage.names import AxleName, Side
from kin3d.measures.corner import Corner
from kin3d.measures.entry import Measure, available
from kin3d.solve.kernel import Solved
from kin3d.solve.lanes import Lanes, Variants
from kin3d.solve.model import AxleModel

Array = NDArray[np.float64]
AXES = ("x", "y", "z")


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
        self, lanes: Lanes, solved: Solved, order: int, variants: Variants, seeds: Array | None = None
    ) -> Corner:
        """The corner in motion; see `Corner.of`."""
        return Corner.of(self.model, lanes, solved, order, variants=variants, sign=self.sign, seeds=seeds)

    def available(self, wanted: Sequence[Measure]) -> tuple[tuple[Measure, ...], dict[str, str]]:
        """Measures that there is data for, and the reason for each that is left out."""
        variants = self.variants(self.design)
        lanes = self.model.kernel.lanes(variants, np.zeros(1))
        corner = self.corner(lanes, self.model.kernel.solve(variants, lanes), 1, variants)
        return available(corner, wanted)
