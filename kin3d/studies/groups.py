"""Groups of points, as an engineer speaks of them: inboard upper and lower, steering, outboard, wheel, rod, rocker."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from kin3d.linkage.layout import WHEEL_AXIS, WHEEL_CENTRE, Linkage

Array = NDArray[np.float64]
GROUPS = ("inboard upper", "inboard lower", "steering", "outboard", "wheel", "rod", "rocker", "bar", "other")


def groups_of(linkage: Linkage, design: Array) -> dict[str, str]:
    """The group of every point of a linkage, by point.

    Points that the layout calls upper or lower are taken at their word; the others are sorted by the height of the
    outer end of their link against the wheel centre.

    Parameters
    ----------
    linkage : Linkage
    design : ndarray, shape (points, 3)
        Design coordinates, mm.
    """
    at = dict(zip(linkage.points, design, strict=True))
    return {p: _group(linkage, p, at) for p in linkage.points}


def _group(linkage: Linkage, point: str, at: Mapping[str, Array]) -> str:
    if point in (WHEEL_CENTRE, WHEEL_AXIS):
        return "wheel"
    if point in linkage.rack:
        return "steering"
    rocker = linkage.rocker
    if rocker and point in rocker.rod:
        return "rod"
    if _is_bar(linkage, point):
        return "bar"
    if point in (linkage.spring or ()) or (rocker and point in linkage.bodies[rocker.body]):
        return "rocker"
    if point in linkage.bodies[linkage.wheel_body]:
        return "outboard"
    return _inboard(linkage, point, at) if point in linkage.fixed else "other"


def _is_bar(linkage: Linkage, point: str) -> bool:
    bodies = [b for b, points in linkage.bodies.items() if point in points]
    return point.startswith("bar_") or (bool(bodies) and all("bar" in b.split() for b in bodies))


def _inboard(linkage: Linkage, point: str, at: Mapping[str, Array]) -> str:
    for word in ("upper", "lower"):
        if word in point.split("_") or any(word in b.split() for b, ps in linkage.bodies.items() if point in ps):
            return f"inboard {word}"
    outer = [p for ps in linkage.bodies.values() if point in ps for p in ps if p in linkage.bodies[linkage.wheel_body]]
    height = float(np.mean([at[p][2] for p in outer])) if outer else float(at[point][2])
    return "inboard upper" if height > at[WHEEL_CENTRE][2] else "inboard lower"
