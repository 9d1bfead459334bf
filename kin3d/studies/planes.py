"""The planes of the wishbones: how each stands in the front and in the side view, and the angle between them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import acos, atan2, degrees

import numpy as np
from numpy.typing import NDArray

from kin3d.linkage.layout import Linkage

Array = NDArray[np.float64]
EDGE_ON = 0.2  # a plane whose normal leans this little out of a view's plane has no line there worth an angle


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
