"""The push- or pull-rod: its force for a wheel load, and the load at which its tube would buckle.

Strength is for qualified people: these are forces of rigid links without weight and friction.
"""

from __future__ import annotations

from math import pi

import numpy as np
from numpy.typing import NDArray

from kin3d.linkage.design import SIDES, side_sign
from kin3d.linkage.layout import Linkage
from kin3d.linkage.names import Side
from kin3d.linkage.part_keys import Tube
from kin3d.loads.members import Statics
from kin3d.loads.whole_axle import body_on, point_on, whole_axle
from kin3d.measures.corner import Corner
from kin3d.spatial.jets import over_lanes, value
from kin3d.spatial.vectors import Vec, vector

Array = NDArray[np.float64]
UP: Vec = (0.0, 0.0, 1.0)


def rod_force_per_load(corner: Corner) -> Array:
    """Axial force of the rod per newton of wheel load, tension positive, shape (lanes,).

    The load pushes up at the contact point (at the wheel centre where no loaded radius is given); what the rocker
    drives holds it, whatever that is: any moment about the pivot line gives the rod the same force. Both wheels are
    loaded where both sides are one system.
    """
    rocker, linkage = corner.linkage.rocker, corner.linkage
    if rocker is None:
        raise ValueError("the linkage has no rocker")
    seen = whole_axle(corner)
    statics = Statics(seen)
    sides: tuple[Side, ...] = SIDES if corner.joined else SIDES[:1]
    load, held = [], []
    for side in sides:
        wheel = corner if not corner.joined or (corner.sign == side_sign(side)).all() else corner.opposite
        place = wheel.centre if corner.axle.loaded_radius_mm is None else wheel.contact
        numbers: Vec = (value(place[0]), value(place[1]), value(place[2]))
        load.append(statics.load(statics.on_body(body_on(linkage, linkage.wheel_body, side), numbers), UP))
        first, second, inner = (point_on(linkage, p, side) for p in (*rocker.axis, rocker.rod[1]))
        held.append(statics.load(statics.places[inner], _push(statics, (first, second), inner)))
    multipliers, _ = statics.balanced(np.sum(load, axis=0), *held)
    if not corner.joined:
        return statics.axial(rod_body(linkage), multipliers)
    left, right = (statics.axial(body_on(linkage, rod_body(linkage), side), multipliers) for side in SIDES)
    return np.where(corner.sign > 0.0, left, right)


def rod_body(linkage: Linkage) -> str:
    """Name of the body that is the rod: the link between the two points that the rocker's role names."""
    if linkage.rocker is None:
        raise ValueError("the linkage has no rocker")
    return next(b for b, points in linkage.bodies.items() if set(points) == set(linkage.rocker.rod))


def _push(statics: Statics, axis: tuple[str, str], point: str) -> Vec:
    """A force at a point of the rocker, square to its pivot line and to the arm to the point."""
    first, second, at = (_column(statics, p) for p in (*axis, point))
    push = np.cross(second - first, at - first, axis=0)
    push = push / np.linalg.norm(push, axis=0)
    return vector(push)


def _column(statics: Statics, point: str) -> Array:
    return over_lanes(statics.places[point], statics.count)


def buckling_load(rod: Tube | None, length_mm: Array) -> Array | None:
    """Euler's buckling load of a rod or link as a tube hinged at both ends, N: π²·E·I/L² with I = π/64·(D⁴ − d⁴).

    Parameters
    ----------
    rod : Tube or None
        None, or without diameter, wall and modulus: no figure.
    length_mm : ndarray or float
        Distance of the rod's ends.

    Returns
    -------
    ndarray or None
    """
    if rod is None or rod.diameter_mm is None or rod.wall_mm is None or rod.modulus_n_per_mm2 is None:
        return None
    inside = rod.diameter_mm - 2.0 * rod.wall_mm
    area_moment = pi / 64.0 * (rod.diameter_mm**4 - inside**4)
    return np.asarray(pi**2 * rod.modulus_n_per_mm2 * area_moment / np.asarray(length_mm, dtype=float) ** 2)
