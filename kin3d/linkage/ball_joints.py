"""The steering axis of an upright whose layout names none: where arms and links meet at it in two ball joints.

A double wishbone may be typed as five links. Two links whose outer ends stand in one place are an arm with a ball
joint, and the line through two such joints is the steering axis, as if the layout had named it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from kin3d.linkage.layout import Linkage

Array = NDArray[np.float64]
JOINT_MM = 0.5  # outer ends of links that are not farther apart than this are one joint
Joint = tuple[str, ...]


def steering_joints(linkage: Linkage, corners: Sequence[Mapping[str, Array]]) -> tuple[Joint, Joint] | None:
    """The two ball joints that arms and links from the chassis make at the upright.

    A joint is a place of the upright that is held from two points of the chassis: by one arm, or by two links.

    Parameters
    ----------
    linkage : Linkage
    corners : sequence of mapping of str to ndarray, shape (3,)
        Design coordinates by point, vehicle frame, mm, of each side that has points of its own; the ends have to
        meet on all of them.

    Returns
    -------
    tuple of tuple of str, or None
        Points of the lower joint, points of the upper one; None where there are not just two joints.
    """
    upright = linkage.bodies[linkage.wheel_body]
    held: dict[str, int] = {}  # points of the chassis that hold each point of the upright
    for body, points in linkage.bodies.items():
        outer = [p for p in points if p in upright]
        if body != linkage.wheel_body and len(outer) == 1:
            held[outer[0]] = held.get(outer[0], 0) + sum(p in linkage.fixed for p in points)
    joints: list[list[str]] = []
    for point in (p for p, count in held.items() if count):
        near = next((j for j in joints if all(_meet(at[j[0]], at[point]) for at in corners)), None)
        if near is None:
            joints.append([point])
        else:
            near.append(point)
    whole = [tuple(j) for j in joints if sum(held[p] for p in j) > 1]
    if len(whole) != 2:
        return None
    lower, upper = sorted(whole, key=lambda j: float(np.mean([corners[0][p][2] for p in j])))
    return lower, upper


def _meet(a: Array, b: Array) -> bool:
    return float(np.linalg.norm(a - b)) <= JOINT_MM
