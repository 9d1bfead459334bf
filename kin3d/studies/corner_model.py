"""One corner seen from its point table: how its design coordinates follow from the coordinates that a person gave.

Studies speak of the coordinates in the table. The linkage may have a point more than the table
(a wheel axis made of camber and toe, which goes along with the wheel centre), and the other side of the car is a mirror
image; this file is the one place that knows it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kin3d.linkage.car import AxleName, Car, PointTable, Side
from kin3d.linkage.design import MIRROR, side_sign
from kin3d.linkage.layout import WHEEL_AXIS, WHEEL_CENTRE
from kin3d.measures.compute import available
from kin3d.measures.corner import Corner
from kin3d.measures.table import Measure
from kin3d.solve.kernel import Solved
from kin3d.solve.lanes import Lanes, Variants
from kin3d.studies.model import SIDES, AxleModel

Array = NDArray[np.float64]
AXES = ("x", "y", "z")


@dataclass(frozen=True, slots=True)
class CornerModel:
    """One corner of an axle, ready to be solved with changed points.

    Attributes
    ----------
    model : AxleModel
    side : {"left", "right"}
    names : tuple of str
        Points of the table, in the order of the linkage; ``wheel_axis`` only where the table has it.
    places_mm : ndarray, shape (points, 3)
        Their coordinates as the table gives them, vehicle frame.
    sigma_mm : ndarray, shape (points, 3)
        Standard deviation of each coordinate.
    seeds : ndarray, shape (points, 3, linkage points, 3)
        Change of the design coordinates per mm of each coordinate of the table.
    """

    model: AxleModel
    side: Side
    names: tuple[str, ...]
    places_mm: Array
    sigma_mm: Array
    seeds: Array

    @staticmethod
    def of(car: Car, axle: AxleName, side: Side | None = None) -> CornerModel:
        """Build the corner of one side; by default the side that the points were given for."""
        model = AxleModel.of(car, axle)
        return CornerModel.from_model(model, side or model.axle.side)

    @staticmethod
    def from_model(model: AxleModel, side: Side) -> CornerModel:
        """The corner of one side of an axle's model."""
        own = side == model.axle.side
        table = model.axle.points if own or model.axle.other_points is None else model.axle.other_points
        mirrored = not own and model.axle.other_points is None
        rows = [table.names.index(p) for p in model.linkage.points if p in table]
        names = tuple(table.names[r] for r in rows)
        seeds = _seeds(names, model.linkage.points, MIRROR if mirrored else np.ones(3))
        return CornerModel(model, side, names, table.xyz_mm[rows], table.sigma_mm[rows], seeds)

    @property
    def table(self) -> PointTable:
        """The table that the coordinates stand in."""
        axle = self.model.axle
        return axle.other_points if self.side != axle.side and axle.other_points else axle.points

    @property
    def sign(self) -> float:
        """+1 on the left, −1 on the right."""
        return side_sign(self.side)

    @property
    def design(self) -> Array:
        """Design coordinates of the linkage, shape (linkage points, 3), mm."""
        design: Array = self.model.variants.design[SIDES.index(self.side)]
        return design

    @property
    def rack_axis(self) -> Array:
        """Unit direction of the rack, shape (3,)."""
        axis: Array = self.model.variants.rack_axis[SIDES.index(self.side)]
        return axis

    def moved(self, change_mm: Array) -> Array:
        """Design coordinates after a change of the table's coordinates.

        Parameters
        ----------
        change_mm : ndarray, shape (…, points, 3)

        Returns
        -------
        ndarray, shape (…, linkage points, 3)
        """
        return self.design + np.tensordot(change_mm, self.seeds, axes=2)

    def variants(self, design: Array) -> Variants:
        """Variants of this corner, from design coordinates of shape (variants, linkage points, 3)."""
        return self.model.kernel.variants(design, self.rack_axis)

    def corner(
        self, lanes: Lanes, solved: Solved, order: int, variants: Variants, seeds: Array | None = None
    ) -> Corner:
        """The corner in motion; see `AxleModel.corner`."""
        signs = np.full(variants.count, self.sign)
        return self.model.corner(lanes, solved, order, variants=variants, signs=signs, seeds=seeds)

    def available(self, wanted: Sequence[Measure]) -> tuple[tuple[Measure, ...], dict[str, str]]:
        """Measures that there is data for, and the reason for each that is left out."""
        variants = self.variants(self.design)
        lanes = self.model.kernel.lanes(variants, np.zeros(1))
        corner = self.corner(lanes, self.model.kernel.solve(variants, lanes), 1, variants)
        return available(corner, wanted)


def _seeds(names: tuple[str, ...], points: tuple[str, ...], mirror: Array) -> Array:
    out = np.zeros((len(names), 3, len(points), 3))
    for row, name in enumerate(names):
        moving = [name] + ([WHEEL_AXIS] if name == WHEEL_CENTRE and WHEEL_AXIS not in names else [])
        for point in moving:
            out[row, range(3), points.index(point), range(3)] = mirror
    return out
