"""Loads as forces on bodies: the road's on a wheel, and what springs, bars and stops exert at their ends.

Units: N, N·mm, mm. Frame: vehicle. Vectors over lanes are arrays of shape (3, lanes).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from kin3d.linkage.design import SIDES
from kin3d.linkage.layout import CHASSIS, Linkage
from kin3d.loads.elements import Turned
from kin3d.loads.joint_forces import Push
from kin3d.measures.corner import Corner
from kin3d.spatial.jets import over_lanes

Array = NDArray[np.float64]
WheelDuty = Literal["braked", "driven"] | None


@dataclass(frozen=True, slots=True)
class Acting:
    """What an element exerts at one of its ends.

    Attributes
    ----------
    name : str
        Of the element, as in the car file.
    body, point : str
        What it acts on (``"chassis"`` for an inboard end) and where.
    place, force : ndarray, shape (3, lanes)
    axial : ndarray, shape (lanes,)
        Force along the element, tension positive.
    """

    name: str
    body: str
    point: str
    place: Array
    force: Array
    axial: Array

    def lane(self, lanes: slice) -> Acting:
        """The same in some of the lanes."""
        return replace(self, place=self.place[:, lanes], force=self.force[:, lanes], axial=self.axial[lanes])

    def pushes(self) -> tuple[Push, ...]:
        """The force as a load on a moving body; none on the chassis."""
        return () if self.body == CHASSIS else (Push(self.body, self.place, self.force),)


@dataclass(frozen=True, slots=True)
class RoadLoad:
    """What the road exerts on the body that carries a wheel: a force at the contact point, and a couple.

    Attributes
    ----------
    body : str
    foot, force, couple : ndarray, shape (3, lanes)
    """

    body: str
    foot: Array
    force: Array
    couple: Array

    def pushes(self) -> list[Push]:
        """The same as forces on the body."""
        alone = [Push(self.body, self.foot, self.force)]
        return [*alone, *Push.couple(self.body, self.foot, self.couple)] if self.couple.any() else alone


def on_wheel(corner: Corner, force: Array, moment: Array, wheel: WheelDuty, contact: Array | None = None) -> RoadLoad:
    """The road's force and moment on a wheel as a load on the body that carries it.

    What they have about the spin axis reaches that body only where the wheel is braked on it; otherwise the wheel turns
    or the shaft takes it to the chassis.

    Parameters
    ----------
    force, moment : ndarray, shape (3, lanes)
        At and about the contact point, N and N·mm.
    wheel : {"braked", "driven"} or None
    contact : ndarray, shape (3, lanes), optional
        Contact point; default that of the corner.
    """
    foot = over_lanes(corner.contact, force.shape[1]) if contact is None else contact
    if wheel != "braked":
        centre, spin = (over_lanes(v, force.shape[1]) for v in (corner.centre, corner.spin))
        about = ((np.cross(foot - centre, force, axis=0) + moment) * spin).sum(axis=0)
        moment = moment - about * spin
    return RoadLoad(corner.linkage.wheel_body, foot, force, moment)


def between(
    name: str, ends: tuple[tuple[str, str, Array], tuple[str, str, Array]], compression: Array
) -> tuple[Acting, ...]:
    """What an element between two points exerts: on (body, point, place) of each end, apart under compression."""
    (body, point, first), (other_body, other_point, second) = ends
    along = first - second
    along = along / np.linalg.norm(along, axis=0)
    push = compression * along
    return (
        Acting(name, body, point, first, push, -compression),
        Acting(name, other_body, other_point, second, -push, -compression),
    )


def carrier(linkage: Linkage, point: str) -> str:
    """Body that takes an element's force at a point: the moving one of three or more points, or the chassis."""
    return next((b for b, points in linkage.bodies.items() if point in points and len(points) > 2), CHASSIS)


def turning(turned: Turned, corner: Corner, moment: Array) -> list[Push]:
    """A torsion spring's or bar's moment on the body of each side that it turns.

    Parameters
    ----------
    moment : ndarray, shape (lanes,)
        Against a positive deflection, N·mm, on the bodies; lanes are all left ones, then all right ones.
    """
    start, end = (over_lanes(corner.place(p), len(moment)) for p in turned.axis)
    axis = (end - start) / np.linalg.norm(end - start, axis=0)
    senses = np.repeat(turned.senses, len(moment) // len(SIDES))
    return list(Push.couple(turned.body, start, -moment * senses * axis))


def pulled(name: str, linkage: Linkage, point: str, places: tuple[Array, Array], force: Array) -> Acting:
    """What a link exerts on the point that it drives.

    Parameters
    ----------
    places : tuple of ndarray, shape (3, lanes)
        Of the point, and of the link's other end.
    force : ndarray, shape (3, lanes)
        On the point, along the link.
    """
    place, other = places
    along = (other - place) / np.linalg.norm(other - place, axis=0)
    return Acting(name, carrier(linkage, point), point, place, force, (force * along).sum(axis=0))
