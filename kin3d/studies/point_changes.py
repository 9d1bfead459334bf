"""Which points moved between two cars, by how much, in which direction; and how the wishbones' planes turned."""

from __future__ import annotations

from collections.abc import Hashable, Mapping
from dataclasses import dataclass
from math import acos, atan2, degrees

import numpy as np
from numpy.typing import NDArray

from kin3d.linkage.layout import WHEEL_AXIS, Linkage
from kin3d.studies.corner_model import CornerModel
from kin3d.studies.groups import GROUPS, groups_of

Array = NDArray[np.float64]
STILL_MM = 1e-6  # a point that moved less than this did not move
_WORDS = (("forward", "rearward"), ("outboard", "inboard"), ("up", "down"))
EDGE_ON = 0.2  # a plane whose normal leans this little out of a view's plane has no line there worth an angle
MINOR = 0.2  # a component that is a smaller part of the movement is not put into words


@dataclass(frozen=True, slots=True)
class PointChange:
    """One point in two cars.

    Attributes
    ----------
    point, group : str
    a, b : ndarray, shape (3,)
        Places in the vehicle frame, mm.
    sigma_mm : ndarray, shape (3,)
        Standard deviation of the difference, both cars' own deviations together (errors of ``shared_error`` left out;
        of errors that both tables have, what is unlike).
    side : float
        +1 on the left, −1 on the right.
    """

    point: str
    group: str
    a: Array
    b: Array
    sigma_mm: Array
    side: float

    @property
    def change(self) -> Array:
        """From a to b, mm, shape (3,)."""
        out: Array = self.b - self.a
        return out

    @property
    def distance_mm(self) -> float:
        """Length of the way."""
        return float(np.linalg.norm(self.change))

    @property
    def direction(self) -> str:
        """In words, largest component first: ``"up, inboard"``; ``"-"`` for a point that stayed."""
        if self.distance_mm < STILL_MM:
            return "-"
        turned = self.change * np.array([1.0, self.side, 1.0])
        order = [k for k in np.argsort(-np.abs(turned), kind="stable") if abs(turned[k]) >= MINOR * self.distance_mm]
        return ", ".join(_WORDS[k][0 if turned[k] > 0.0 else 1] for k in order)


def point_changes(a: CornerModel, b: CornerModel) -> tuple[tuple[PointChange, ...], tuple[str, ...]]:
    """Points of the table that both corners have, in groups, and the names of those that only one has."""
    ours, theirs = _places(a), _places(b)
    groups = groups_of(a.model.linkage, a.design)
    both = [p for p in ours if p in theirs]
    found = [PointChange(p, groups[p], ours[p], theirs[p], _sigma(a, b, p), a.sign) for p in both]
    lone = tuple(p for p in (*ours, *theirs) if (p in ours) != (p in theirs))
    return tuple(sorted(found, key=lambda m: GROUPS.index(m.group))), lone


def _places(side: CornerModel) -> dict[str, Array]:
    """Place on this side of the car of each point of the table, by name."""
    index = [side.model.linkage.index(p) for p in side.names]
    return {p: at for p, at in zip(side.names, side.design[index], strict=True) if p != WHEEL_AXIS}


def _sigma(a: CornerModel, b: CornerModel, point: str) -> Array:
    """Deviation of a point's change, shape (3,): errors that both tables have count once."""
    square = np.zeros(3)
    effects: list[dict[Hashable, Array]] = []
    for corner in (a, b):
        row, errors = corner.table.names.index(point), corner.table.errors
        own = corner.table.sigma_mm[row] ** 2
        square += own if errors is None else np.where(errors.reached[row], 0.0, own)
        names = () if errors is None else errors.identities or [(id(corner), k) for k in range(len(errors.names))]
        effects.append({} if errors is None else dict(zip(names, errors.effect_mm[:, row], strict=True)))
    for identity in {**effects[0], **effects[1]}:
        square += (effects[1].get(identity, 0.0) - effects[0].get(identity, 0.0)) ** 2
    out: Array = np.sqrt(square)
    return out


# angles of a wishbone's plane: attribute and what it is called
PLANE_ANGLES = (
    ("front_deg", "front view, rise outboard"),
    ("side_deg", "side view, rise forward"),
    ("axis_side_deg", "hinge line, side view, rise forward"),
    ("axis_plan_deg", "hinge line, plan view, outboard in front"),
)


@dataclass(frozen=True, slots=True)
class WishbonePlane:
    """The plane through the two chassis joints and the outer joint of one wishbone.

    Attributes
    ----------
    body : str
    points : tuple of str
        Two chassis joints, outer joint.
    front_deg : float
        Rise of the plane's line in the front view (x = const), from inboard to outboard: outer end higher positive.
    side_deg : float
        Rise of the plane's line in the side view (plane y = const), from rear to front: front higher positive.
    axis_plan_deg : float
        Turn of the hinge line in plan view against the car's x axis: front end further outboard positive.
    axis_side_deg : float
        Rise of the hinge line in the side view: front end higher positive.
    normal : ndarray, shape (3,)
        Unit normal, upwards.
    """

    body: str
    points: tuple[str, str, str]
    front_deg: float
    side_deg: float
    axis_plan_deg: float
    axis_side_deg: float
    normal: Array


def wishbone_planes(linkage: Linkage, at: Mapping[str, Array], sign: float) -> tuple[WishbonePlane, ...]:
    """Planes of all bodies with two chassis joints and a joint on the upright; none for a linkage of links.

    Parameters
    ----------
    at : mapping of point to ndarray, shape (3,)
    sign : float
        +1 on the left, −1 on the right.
    """
    out = []
    wheel = linkage.bodies[linkage.wheel_body]
    for body, points in linkage.bodies.items():
        inner = [p for p in points if p in linkage.fixed]
        outer = [p for p in points if p in wheel]
        if body != linkage.wheel_body and len(inner) == 2 and len(outer) == 1:
            front, rear = sorted(inner, key=lambda p: -float(at[p][0]))
            out.append(_plane(body, (front, rear, outer[0]), at, sign))
    return tuple(out)


def _plane(body: str, points: tuple[str, str, str], at: Mapping[str, Array], sign: float) -> WishbonePlane:
    front, rear, outer = (at[p] for p in points)
    normal = np.cross(front - rear, outer - rear)
    normal = normal / np.linalg.norm(normal) * (1.0 if normal[2] >= 0.0 else -1.0)
    axis = front - rear
    return WishbonePlane(
        body=body,
        points=points,
        front_deg=_rise(-sign * float(normal[1]), float(normal[2])),
        side_deg=_rise(-float(normal[0]), float(normal[2])),
        axis_plan_deg=degrees(atan2(sign * float(axis[1]), float(axis[0]))),
        axis_side_deg=degrees(atan2(float(axis[2]), float(axis[0]))),
        normal=normal,
    )


def _rise(along: float, up: float) -> float:
    """Slope of the line in which a plane of that normal cuts the view; NaN where the plane lies nearly in the view."""
    return degrees(atan2(along, up)) if np.hypot(along, up) > EDGE_ON else float("nan")


def mutual_deg(a: WishbonePlane, b: WishbonePlane) -> float:
    """Angle between two planes, 0 to 90 degrees."""
    return degrees(acos(min(1.0, abs(float(a.normal @ b.normal)))))


@dataclass(frozen=True, slots=True)
class Planes:
    """Planes of a corner's wishbones and the angle between the first two; empty where the upright hangs on links."""

    planes: tuple[WishbonePlane, ...]
    mutual_deg: float


def planes_of(side: CornerModel) -> Planes:
    """Planes of the wishbones of a corner in the design position."""
    at = dict(zip(side.model.linkage.points, side.design, strict=True))
    found = wishbone_planes(side.model.linkage, at, side.sign)
    return Planes(found, mutual_deg(found[0], found[1]) if len(found) >= 2 else float("nan"))
