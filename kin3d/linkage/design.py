"""Design coordinates of a linkage for a side of the car; the wheel's axis is made up where it is not given."""

from __future__ import annotations

from math import cos, radians, sin

import numpy as np
from numpy.typing import NDArray

from kin3d.linkage.car import Axle, PointTable, Side
from kin3d.linkage.layout import WHEEL_AXIS, WHEEL_CENTRE, Linkage
from kin3d.linkage.resolve import resolve

Array = NDArray[np.float64]
AXIS_LENGTH_MM = 100.0  # how far outboard a made-up wheel_axis point stands; no result depends on it
MIRROR = np.array([1.0, -1.0, 1.0])


def side_sign(side: Side) -> float:
    """+1 on the left, −1 on the right."""
    return 1.0 if side == "left" else -1.0


def linkage_of(axle: Axle) -> Linkage:
    """The linkage of an axle's layout with the points and keys that its file has."""
    return resolve(axle.layout, axle.points.names, axle.layout_keys, str(axle.points.source), attached=axle.attached)


def design_coordinates(axle: Axle, linkage: Linkage, table: PointTable, side: Side) -> Array:
    """Design coordinates of one side, shape (points, 3), mm, in the order of ``linkage.points``.

    Without a ``wheel_axis`` in the table the axis follows from the static camber and toe (conventions: camber =
    −asin(a_z), toe = atan2(a_x, s·a_y)).
    """
    rows = [table[p] for p in linkage.points if p != WHEEL_AXIS]
    out = np.array([*rows, np.zeros(3)])
    out[-1] = table[WHEEL_AXIS] if WHEEL_AXIS in table else table[WHEEL_CENTRE] + AXIS_LENGTH_MM * spin_axis(axle, side)
    return out


def spin_axis(axle: Axle, side: Side) -> Array:
    """Unit spin axis, pointing outboard, of the static camber and toe."""
    camber, toe = radians(axle.camber_deg), radians(axle.toe_deg)
    return np.array([sin(toe) * cos(camber), side_sign(side) * cos(toe) * cos(camber), -sin(camber)])


def both_sides(axle: Axle, linkage: Linkage) -> tuple[Array, Array]:
    """Design coordinates and rack directions of left and right, shapes (2, points, 3) and (2, 3).

    A side without points of its own is the mirror image in y = 0; its rack then moves along the mirror image
    of the rack's line, to the same side of the car.
    """
    own = design_coordinates(axle, linkage, axle.points, axle.side)
    rack = np.array(axle.rack_axis)
    other: Side = "right" if axle.side == "left" else "left"
    if axle.other_points is None:
        opposite, turned = own * MIRROR, -rack * MIRROR
    else:
        opposite, turned = design_coordinates(axle, linkage, axle.other_points, other), rack
    pairs = [(own, rack), (opposite, turned)]
    if axle.side == "right":
        pairs.reverse()
    return np.stack([p[0] for p in pairs]), np.stack([p[1] for p in pairs])
