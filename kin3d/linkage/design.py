"""How the coordinates of a point table move the linkage: the one place that knows it.

The linkage may have a point more than the table (a wheel axis made of camber and toe, which goes along with the wheel
centre), and a side without points of its own is the mirror image of the other. Every study that changes a coordinate,
and the window in which one is pulled, go through `SideCoordinates`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import cos, radians, sin

import numpy as np
from numpy.typing import NDArray

from kin3d.linkage.car import Axle, PointTable
from kin3d.linkage.layout import WHEEL_AXIS, WHEEL_CENTRE, Linkage
from kin3d.linkage.names import Side

Array = NDArray[np.float64]
AXIS_LENGTH_MM = 100.0  # how far outboard a made-up wheel_axis point stands; no result depends on it
MIRROR = np.array([1.0, -1.0, 1.0])
SIDES: tuple[Side, Side] = ("left", "right")


@dataclass(frozen=True, slots=True)
class SideCoordinates:
    """One side of an axle: its table, and how each coordinate there moves the design coordinates of the linkage.

    Attributes
    ----------
    side : {"left", "right"}
    table : PointTable
        In which the coordinates stand: that of the other side where this one is its mirror image.
    names : tuple of str
        Points of the table, in the order of the linkage; ``wheel_axis`` only where the table has it.
    places_mm : ndarray, shape (points, 3)
        Their coordinates as the table gives them, vehicle frame.
    sigma_mm : ndarray, shape (points, 3)
        Standard deviation of each coordinate.
    design : ndarray, shape (linkage points, 3)
        Design coordinates of the linkage on this side, mm.
    rack_axis : ndarray, shape (3,)
        Unit direction of the rack. That of a mirrored side moves along the mirror image of the line, to the same side
        of the car.
    seeds : ndarray, shape (points, 3, linkage points, 3)
        Change of the design coordinates per mm of each coordinate of the table.
    """

    side: Side
    table: PointTable
    names: tuple[str, ...]
    places_mm: Array
    sigma_mm: Array
    design: Array
    rack_axis: Array
    seeds: Array

    @property
    def sign(self) -> float:
        """+1 on the left, −1 on the right."""
        return side_sign(self.side)

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


def side_sign(side: Side) -> float:
    """+1 on the left, −1 on the right."""
    return 1.0 if side == "left" else -1.0


def place_in_table(axle: Axle, name: str) -> Array | None:
    """Place of a point by the axle's own table, also by the name that it has in both sides as one system.

    Mirrored for a name of the other side; None for what is not in the table.
    """
    across = axle.linkage.across
    bare, side = across.bare(name), across.side_of(name)
    if bare not in axle.points:
        return None
    place: Array = axle.points[bare]
    return place * MIRROR if side is not None and side != axle.side else place


def spin_axis(axle: Axle, side: Side) -> Array:
    """Unit spin axis, pointing outboard, of the static camber and toe.

    Camber = −asin(a_z), toe = atan2(a_x, s·a_y) with s = +1 on the left.
    """
    camber, toe = radians(axle.camber_deg), radians(axle.toe_deg)
    return np.array([sin(toe) * cos(camber), side_sign(side) * cos(toe) * cos(camber), -sin(camber)])


def angle_seeds(side: SideCoordinates, axle: Axle) -> dict[str, Array]:
    """Change of the design coordinates per degree of static camber and toe, by the key of the axle.

    Returns
    -------
    dict of str to ndarray, shape (linkage points, 3)
        mm per degree; empty where the table gives the wheel's axis and the angles are not used.
    """
    if WHEEL_AXIS in side.table:
        return {}
    mirrored = side.side != axle.side and axle.other_points is None
    own = side_sign(axle.side if mirrored else side.side)
    camber, toe = radians(axle.camber_deg), radians(axle.toe_deg)
    along = {
        "camber_deg": (-sin(toe) * sin(camber), -own * cos(toe) * sin(camber), -cos(camber)),
        "toe_deg": (cos(toe) * cos(camber), -own * sin(toe) * cos(camber), 0.0),
    }
    out = {key: np.zeros((len(axle.linkage.points), 3)) for key in along}
    for key, direction in along.items():
        flip = MIRROR if mirrored else np.ones(3)
        out[key][axle.linkage.index(WHEEL_AXIS)] = radians(AXIS_LENGTH_MM) * np.array(direction) * flip
    return out


def side_coordinates(axle: Axle, side: Side) -> SideCoordinates:
    """Design coordinates of one side, in the order of ``axle.linkage.points``, and how its table moves them."""
    linkage = axle.linkage
    mirrored = side != axle.side and axle.other_points is None
    own = side == axle.side or mirrored
    table = axle.points if own or axle.other_points is None else axle.other_points
    flip = np.array([MIRROR if mirrored and p not in linkage.across.points else np.ones(3) for p in linkage.points])
    rows = [table.names.index(p) for p in linkage.points if p in table]
    names = tuple(table.names[r] for r in rows)
    seeds = np.zeros((len(names), 3, len(linkage.points), 3))
    for row, name in enumerate(names):
        for point in moving_together(name, table):
            seeds[row, range(3), linkage.index(point), range(3)] = flip[linkage.index(point)]
    rack = np.array(axle.rack_axis)
    return SideCoordinates(
        side=side,
        table=table,
        names=names,
        places_mm=table.xyz_mm[rows],
        sigma_mm=table.sigma_mm[rows],
        design=_design(axle, table, axle.side if mirrored else side) * flip,
        rack_axis=-rack * MIRROR if mirrored else rack,
        seeds=seeds,
    )


def moving_together(point: str, table: PointTable) -> tuple[str, ...]:
    """Points of the linkage that a point of the table takes along: a made-up wheel axis follows the wheel centre."""
    return (point, WHEEL_AXIS) if point == WHEEL_CENTRE and WHEEL_AXIS not in table else (point,)


def moved_point(sides: Sequence[SideCoordinates], design: Array, linkage: Linkage, point: str, place: Array) -> Array:
    """Design coordinates with one point put to a place, exactly, and what goes along with it.

    Parameters
    ----------
    sides : sequence of SideCoordinates
        The side on which the place is meant, then the other one: it moves too where both stand in one table.
    design : ndarray, shape (2, linkage points, 3)
        Left and right, mm.
    place : ndarray, shape (3,)

    Returns
    -------
    ndarray, shape (2, linkage points, 3)
    """
    meant, other = sides
    out = design.copy()
    here, there = (SIDES.index(s.side) for s in sides)
    row = linkage.index(point)
    shift = np.asarray(place, dtype=float) - out[here, row]
    rows = [linkage.index(p) for p in moving_together(point, meant.table)]
    out[here, rows] += shift
    out[here, row] = place
    if other.table is meant.table:
        out[there, rows] = out[here, rows] * MIRROR
    return out


def _design(axle: Axle, table: PointTable, side: Side) -> Array:
    """Design coordinates from the side's own table; without ``wheel_axis`` there, of the static camber and toe."""
    rows = [(table if p in table else axle.points)[p] for p in axle.linkage.points if p != WHEEL_AXIS]
    if WHEEL_AXIS in table:
        return np.array([*rows, table[WHEEL_AXIS]])
    return np.array([*rows, table[WHEEL_CENTRE] + AXIS_LENGTH_MM * spin_axis(axle, side)])
