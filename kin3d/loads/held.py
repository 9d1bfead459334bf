"""A corner under the road's force on its tyre, held by its own spring: what balance asks of every link and joint.

Units: N, N·mm, mm. Frame: vehicle. Vectors over lanes are arrays of shape (3, lanes).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from kin3d.errors import Finding, RequestError
from kin3d.linkage.keys import LoadCase
from kin3d.loads.applied import Acting, RoadLoad, between, carrier, on_wheel, over_lanes
from kin3d.loads.joint_forces import JointForces, Push, joint_forces
from kin3d.loads.members import Statics
from kin3d.measures.corner import Corner

Array = NDArray[np.float64]
NMM = 1000.0  # N·mm in a N·m


def on_tyre(corner: Corner, case: LoadCase) -> RoadLoad:
    """The road's force of a case on the tyre of every lane; mirrored on the side that the case does not name."""
    count = corner.lanes.count
    side = np.broadcast_to(corner.sign * (1.0 if case.side == "left" else -1.0), count)
    same = np.ones(count)
    force = np.array(case.contact_n or (0.0, 0.0, 0.0))[:, None] * np.stack([same, side, same])
    moment = NMM * np.array(case.contact_moment_n_m or (0.0, 0.0, 0.0))[:, None] * np.stack([side, same, side])
    return on_wheel(corner, force, moment, case.wheel)


def held_corner(
    corner: Corner, pushes: Sequence[Push], statics: Statics | None = None
) -> tuple[tuple[Acting, ...], JointForces]:
    """A corner under loads, held by its spring: what the spring exerts, and the forces at all joints.

    Parameters
    ----------
    statics : Statics, optional
        That of the corner, where it is made already.

    Raises
    ------
    RequestError
        Where nothing holds the wheel up.
    """
    if statics is None:
        statics = Statics(corner)
    count = corner.lanes.count
    acting = _holding(corner, np.ones(count))
    unit = [push for one in acting for push in one.pushes()] or _holding_torque(corner, np.ones(count))
    multipliers, size = statics.balanced(generalised(statics, pushes), generalised(statics, unit))
    held = [replace(push, force=size * push.force) for push in unit]
    exerted = tuple(replace(one, force=size * one.force, axial=size * one.axial) for one in acting)
    return exerted, joint_forces(statics, multipliers, [*pushes, *held])


def _holding(corner: Corner, compression: Array) -> tuple[Acting, ...]:
    """The element between two points that holds the wheel: the layout's spring, or the first one of the car file."""
    linkage, axle = corner.linkage, corner.axle
    named = [("spring", linkage.spring)] if linkage.spring else []
    named += [(s.name, s.points) for s in axle.springs]
    if not named or (axle.spring is None and axle.torsion is not None):
        return ()
    name, points = named[0]
    count = corner.lanes.count
    first, second = ((carrier(linkage, p), p, over_lanes(corner.place(p), count)) for p in points)
    return between(name, (first, second), compression)


def _holding_torque(corner: Corner, moment: Array) -> list[Push]:
    rocker, axle = corner.linkage.rocker, corner.axle
    if axle.torsion is None or rocker is None:
        text = "nothing holds the wheel up: the layout has no spring with the points and keys given"
        raise RequestError(Finding("spring-missing", text, f"[{axle.name}]"))
    start, end = (over_lanes(corner.place(p), len(moment)) for p in rocker.axis)
    return list(Push.couple(rocker.body, start, moment * (end - start) / np.linalg.norm(end - start, axis=0)))


def generalised(statics: Statics, pushes: Sequence[Push]) -> Array:
    """Generalised load of forces on bodies, shape (unknowns, lanes)."""
    total: Any = 0.0
    for push in pushes:
        where, force = ((v[0], v[1], v[2]) for v in (push.place, push.force))
        total = total + statics.load(statics.on_body(push.body, where), force)
    return np.asarray(total)
