"""Wheels, the ground that they stand on, and meshes that move with their bodies."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from kin3d.linkage.layout import WHEEL_AXIS, WHEEL_CENTRE
from kin3d_viewer.primitives import Array, Ball, Primitive, Sheet, Solid, Wheel
from kin3d_viewer.snapshot import SIDES, Snapshot

WIDTH_SHARE = 0.72  # width of a tyre over its loaded radius, for looks only
GROUND_SHARE = 1.25  # how far the ground goes beyond the contact points, in loaded radii
BARE_RADIUS_MM = 110.0  # a brake disc in place of the tyre, where no loaded radius is given
BODIES = ("upright", "wheel", "tyre", "chassis")


def wheels(now: Snapshot) -> Iterator[Primitive]:
    """A wheel a side; without a loaded radius a disc stands for it."""
    for side in (0, 1):
        radius = now.radius_mm or BARE_RADIUS_MM
        width = WIDTH_SHARE * radius if now.radius_mm else 0.2 * radius
        if "tyre" not in now.meshes:
            yield Wheel(f"{SIDES[side]}/wheel", "wheel", now.at(side, WHEEL_CENTRE), now.spin(side), radius, width)


def ground(now: Snapshot) -> Iterator[Primitive]:
    """The plane through both contact points, and the contact points."""
    contacts = [now.vector(side, "contact_") for side in (0, 1)]
    if any(c is None for c in contacts):
        return
    left, right = np.array(contacts, dtype=float)
    across = left - right
    across /= np.linalg.norm(across)
    ahead = np.cross(across, now.normal)
    ahead /= np.linalg.norm(ahead)
    reach = GROUND_SHARE * (now.radius_mm or BARE_RADIUS_MM)
    corners = [
        end + s * reach * across + f * reach * ahead
        for end, s, f in ((left, 1, 1), (right, -1, 1), (right, -1, -1), (left, 1, -1))
    ]
    yield Sheet("ground", "ground", np.array(corners))
    for side, place in enumerate((left, right)):
        yield Ball(f"{SIDES[side]}/contact", "contact", place, 9.0, "cross")


def body_motion(now: Snapshot, side: int, points: list[str]) -> tuple[Array, Array]:
    """Turn (3, 3) and shift (3,) that carry a body from its design place to the present: x = turn @ design + shift.

    Least squares over the body's points (W. Kabsch, Acta Crystallographica A32 (1976), from memory).
    """
    rows = [now.linkage.index(p) for p in points]
    then, here = now.design[side, rows], now.points[side, rows]
    middle_then, middle_now = then.mean(axis=0), here.mean(axis=0)
    u, _, v = np.linalg.svd((then - middle_then).T @ (here - middle_now))
    keep = np.diag([1.0, 1.0, np.sign(np.linalg.det(v.T @ u.T))])
    turn = v.T @ keep @ u.T
    return turn, middle_now - turn @ middle_then


def meshes(now: Snapshot) -> Iterator[Primitive]:
    """Meshes that the car file names, moved with their bodies; the other side's is the mirror image."""
    upright = [*now.linkage.bodies[now.linkage.wheel_body]]
    if WHEEL_AXIS not in upright:
        upright.append(WHEEL_AXIS)
    for body, file in now.meshes.items():
        if body == "chassis":
            yield Solid("mesh/chassis", "mesh", file, np.eye(3), np.zeros(3))
            continue
        for side in (0, 1):
            turn, shift = body_motion(now, side, upright)
            mirrored = now.mesh_side != (1.0, -1.0)[side]
            flip = np.diag([1.0, -1.0, 1.0]) if mirrored else np.eye(3)
            yield Solid(f"mesh/{SIDES[side]}/{body}", "mesh", file, turn @ flip, shift)
