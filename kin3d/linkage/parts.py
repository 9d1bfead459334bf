"""What each body of a linkage is, as an engineer names it: by this every picture colours it alike."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal, get_args

import numpy as np
from numpy.typing import NDArray

from kin3d.linkage.across import spanning
from kin3d.linkage.layout import Linkage

Array = NDArray[np.float64]
PartName = Literal[
    "lower arm", "upper arm", "steering link", "rod", "rocker", "spring", "bar", "upright", "other part"
]  # fmt: skip
PARTS: tuple[PartName, ...] = get_args(PartName)


def part_of(linkage: Linkage, body: str, at: Mapping[str, Array]) -> PartName:
    """What a body is; links between chassis and upright count as parts of the lower or of the upper arm.

    Bodies and points that the layout calls upper or lower are taken at their word; the others are sorted by the height
    of their outer end against the wheel centre.

    Parameters
    ----------
    body : str
        Not the chassis.
    at : mapping of point to ndarray, shape (3,)
        Design coordinates, mm.
    """
    points = linkage.bodies[body]
    rocker, bar = linkage.rocker, linkage.bar
    if body == linkage.wheel_body or body in linkage.wheel_bodies:
        return "upright"
    if rocker and body == rocker.body:
        return "rocker"
    if rocker and set(points) == set(rocker.rod):
        return "rod"
    if (bar and body == bar.body) or "bar" in body.split():
        return "bar"
    if set(points) & set(linkage.rack) or body in spanning(linkage):
        return "steering link"
    return _arm(linkage, body, at)


def _arm(linkage: Linkage, body: str, at: Mapping[str, Array]) -> PartName:
    points = linkage.bodies[body]
    outer = [p for p in points if any(p in linkage.bodies[b] for b in linkage.wheel_bodies)]
    if not outer or not set(points) & set(linkage.fixed):
        return "other part"
    words = {*body.split(), *(w for p in points for w in p.split("_"))}
    if ("upper" in words) != ("lower" in words):
        return "upper arm" if "upper" in words else "lower arm"
    height = float(np.mean([at[p][2] for p in outer]))
    centre = float(np.mean([at[p][2] for p in linkage.wheel_centres]))
    return "upper arm" if height > centre else "lower arm"
