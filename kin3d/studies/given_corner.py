"""The corner of an axle that a file gives points for, as the plausibility pass looks at it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kin3d.errors import Finding, Severity
from kin3d.frames import parse_axes
from kin3d.linkage.car import Axle, PointTable
from kin3d.linkage.design import SideCoordinates, side_coordinates, side_sign
from kin3d.linkage.layout import WHEEL_CENTRE, Linkage
from kin3d.linkage.names import Side
from kin3d.units import length_factor

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class GivenCorner:
    """The given corner of an axle in the design position.

    Attributes
    ----------
    axle : Axle
    side : SideCoordinates
        Its points as they stand in the car, and the table that they come from.
    at : dict of point to ndarray, shape (3,)
        x forward, y **outboard**, z up, mm.
    """

    axle: Axle
    side: SideCoordinates
    at: dict[str, Array]

    @staticmethod
    def of(axle: Axle, side: Side) -> GivenCorner:
        """The corner of one side."""
        given = side_coordinates(axle, side)
        turned = given.design * np.array([1.0, given.sign, 1.0])
        return GivenCorner(axle, given, dict(zip(axle.linkage.points, turned, strict=True)))

    @staticmethod
    def given(axle: Axle) -> list[GivenCorner]:
        """The corners that the file has points for: of one side, or of both."""
        other: Side = "right" if axle.side == "left" else "left"
        return [GivenCorner.of(axle, s) for s in ((axle.side, other) if axle.other_points else (axle.side,))]

    @property
    def table(self) -> PointTable:
        """In which its points stand."""
        return self.side.table

    @property
    def origin(self) -> Array:
        """Where the vehicle's origin lies in the file, mm, x forward, y outboard, z up."""
        axle = self.axle
        if axle.origin is None or axle.axes is None or axle.units is None:
            return np.zeros(3)
        there = length_factor(axle.units) * (parse_axes(axle.axes) @ np.array(axle.origin))
        return np.asarray(there * np.array([1.0, side_sign(axle.side), 1.0]))

    @property
    def linkage(self) -> Linkage:
        """How its points make bodies."""
        return self.axle.linkage

    @property
    def half_track(self) -> float:
        """Distance of the wheel centre from the centre plane, mm."""
        return float(self.at[WHEEL_CENTRE][1])

    @property
    def double_wishbone(self) -> bool:
        """Whether upper and lower arm, tie and ball joints have the names that the rules of arms speak of."""
        return {"lower_outer", "upper_outer", "lower_front", "lower_rear", "upper_front", "upper_rear"} <= set(self.at)

    def place(self, point: str) -> str:
        """Where a point stands in its file."""
        table = self.table
        return table.places[table.names.index(point)] if point in table.names else str(table.source)

    def warn(self, code: str, text: str, point: str = "") -> Finding:
        """A warning about a point, or about the axle's table."""
        where = self.place(point) if point else f"{self.table.source}, {self.axle.name} axle"
        return Finding(code, text, where, Severity.WARNING)

    def key(self, code: str, key: str, text: str) -> Finding:
        """A warning about a key of the axle."""
        return Finding(code, text, f"[{self.axle.name}] {key}", Severity.WARNING)
