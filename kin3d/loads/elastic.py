"""A corner whose joints and links give way: what forces in them do to the wheel's angles and place.

Linear, the spring held at its length, the rack held. Each displacement of the body that carries the wheel has a unit
load that belongs to it: to a place of the wheel centre a force there, to an angle the couple spin × d(angle)/d(spin),
or kingpin × d(caster)/d(kingpin), since the body turns as one.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kin3d.errors import Finding
from kin3d.loads.flexibility import Flexible, flexible_parts, forces_in, given_way
from kin3d.loads.held import held_corner
from kin3d.loads.joint_forces import JointForces, Push
from kin3d.loads.joint_frames import joint_frames
from kin3d.loads.members import Statics
from kin3d.loads.whole_axle import whole_axle
from kin3d.measures.corner import Corner
from kin3d.spatial.jets import over_lanes

Array = NDArray[np.float64]
# what is told of a wheel; angles inside in rad
DISPLACEMENTS = ("toe_deg", "camber_deg", "caster_deg", "wheel_x_mm", "wheel_y_mm", "wheel_z_mm")
TOE, CAMBER = 0, 1
PLACE = slice(3, 6)
MOST_DEG = 1.0  # beyond it linear figures do not hold


@dataclass(frozen=True, slots=True)
class FlexibleCorner:
    """A corner with what gives way in it.

    Attributes
    ----------
    corner : Corner
    statics : Statics
    parts : tuple of Flexible
    at_centre : tuple of JointForces
        Under unit forces along x, y and z at the wheel centre.
    """

    corner: Corner
    statics: Statics
    parts: tuple[Flexible, ...]
    at_centre: tuple[JointForces, ...]
    _asked: tuple[list[Array] | None, ...]

    @staticmethod
    def of(corner: Corner, statics: Statics | None = None) -> FlexibleCorner | None:
        """The corner's elastic parts; None where all is rigid.

        Raises
        ------
        RequestError
            Where nothing holds the wheel up.
        """
        seen = whole_axle(corner)
        statics = Statics(seen) if statics is None else statics
        count = corner.lanes.count
        at_centre = tuple(_under_force(corner, statics, over_lanes(corner.centre, count), k) for k in range(3))
        parts = flexible_parts(seen, joint_frames(seen, at_centre[0]), at_centre[0])
        if not parts:
            return None
        bodies = seen.linkage.bodies
        turned = (None if m is None else _under_couple(corner, statics, m) for m in _couples(corner, count))
        asked = tuple(None if j is None else forces_in(parts, j, bodies) for j in (*turned, *at_centre))
        return FlexibleCorner(corner, statics, parts, at_centre, asked)

    def under_force(self, place: Array, direction: int) -> JointForces:
        """Forces under a unit force along x, y or z at a place of the body that carries the wheel."""
        return _under_force(self.corner, self.statics, place, direction)

    def under_couple(self, moment: Array) -> JointForces:
        """Forces under a couple on that body, N·mm."""
        return _under_couple(self.corner, self.statics, moment)

    def given(self, forces: JointForces) -> Array:
        """What each part adds to each displacement, shape (parts, displacements, lanes), rad or mm.

        NaN for what the layout does not have.
        """
        out = np.full((len(self.parts), len(DISPLACEMENTS), self.corner.lanes.count), np.nan)
        under = forces_in(self.parts, forces, whole_axle(self.corner).linkage.bodies)
        for k, one in enumerate(self._asked):
            if one is not None:
                out[:, k] = given_way(self.parts, under, one)
        return out


def outside(displacements: Array) -> Array:
    """Displacements along the first axis but one in degrees and mm."""
    turn = np.array([np.degrees(1.0) if n.endswith("_deg") else 1.0 for n in DISPLACEMENTS])
    return np.asarray(displacements * turn[:, None])


def bent_too_far(bends: Array, names: Sequence[str]) -> list[Finding]:
    """For each of some corners the angle that changes most, where that is more than a degree.

    Parameters
    ----------
    bends : ndarray, shape (corners, displacements)
        In degrees and mm.
    names : sequence of str
        Of the corners.
    """
    out = []
    for angles, name in zip(np.nan_to_num(np.abs(bends[:, : PLACE.start])), names, strict=True):
        most = float(angles.max())
        if most > MOST_DEG:
            what = DISPLACEMENTS[int(angles.argmax())].removesuffix("_deg")
            text = f"compliance changes {what} by {most:.3g}°; linear figures hold to {MOST_DEG:g}°"
            out.append(Finding("bends-too-far", text, name))
    return out


def bent(corner: Corner, displacements: Array) -> Corner:
    """A corner whose wheel stands as its joints and links have given way.

    Parameters
    ----------
    displacements : ndarray, shape (displacements, lanes)
        As `outside` gives them; caster, which the wheel does not show, counts for nothing.
    """
    a = over_lanes(corner.spin, corner.lanes.count)
    s = np.broadcast_to(np.asarray(corner.sign, dtype=float), corner.lanes.count)
    toe = np.arctan2(a[0], s * a[1]) + np.radians(displacements[TOE])
    camber = -np.arcsin(a[2]) + np.radians(displacements[CAMBER])
    x, y, z = np.stack([np.cos(camber) * np.sin(toe), s * np.cos(camber) * np.cos(toe), -np.sin(camber)]) - a
    shift = displacements[PLACE]
    return corner.with_wheel((shift[0], shift[1], shift[2]), (x, y, z))


def _under_force(corner: Corner, statics: Statics, place: Array, direction: int) -> JointForces:
    unit = np.zeros_like(place)
    unit[direction] = 1.0
    return _held(corner, statics, [Push(corner.linkage.wheel_body, place, unit)])


def _under_couple(corner: Corner, statics: Statics, moment: Array) -> JointForces:
    hub = over_lanes(corner.centre, moment.shape[1])
    return _held(corner, statics, Push.couple(corner.linkage.wheel_body, hub, moment))


def _held(corner: Corner, statics: Statics, pushes: Sequence[Push]) -> JointForces:
    return held_corner(corner, pushes, statics)[1]


def _couples(corner: Corner, count: int) -> tuple[Array | None, ...]:
    """Couples that belong to toe, camber and caster: what they do on a small turn is the change of the angle, rad."""
    a = over_lanes(corner.spin, count)
    s = np.broadcast_to(np.asarray(corner.sign, dtype=float), count)
    zero = np.zeros(count)
    toe = s * np.stack([a[1], -a[0], zero]) / (a[0] ** 2 + a[1] ** 2)
    camber = np.stack([zero, zero, -1.0 / np.sqrt(1.0 - a[2] ** 2)])
    caster = None
    if corner.linkage.steering_axis is not None:
        k = over_lanes(corner.steering_axis[1], count)
        caster = np.cross(k, np.stack([-k[2], zero, k[0]]) / (k[0] ** 2 + k[2] ** 2), axis=0)
    return np.cross(a, toe, axis=0), np.cross(a, camber, axis=0), caster
