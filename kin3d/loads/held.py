"""A corner under the road's force on its tyre, held by its own spring: what balance asks of every link and joint.

Units: N, N·mm, mm. Frame: vehicle. Vectors over lanes are arrays of shape (3, lanes).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from kin3d.errors import Finding, RequestError
from kin3d.linkage.design import SIDES
from kin3d.linkage.keys import LoadCase
from kin3d.linkage.layout import Linkage
from kin3d.linkage.names import Side
from kin3d.loads.applied import Acting, RoadLoad, between, carrier, on_wheel
from kin3d.loads.joint_forces import JointForces, Push, joint_forces
from kin3d.loads.members import Statics
from kin3d.loads.whole_axle import body_on, on_sides, point_on, whole_axle
from kin3d.measures.corner import Corner
from kin3d.spatial.jets import over_lanes

Array = NDArray[np.float64]
NMM = 1000.0  # N·mm in a N·m
LEAST_ROLL = 1e-3  # N at the wheels a newton, apart, of a spring that counts as one that resists roll


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

    Where both sides are one system it is the whole axle, with the names that its bodies have there, and both springs
    hold it: each wheel stays where it is.

    Parameters
    ----------
    pushes : sequence of Push
        On bodies of the corner.
    statics : Statics, optional
        That of the corner, or of the whole axle, where it is made already.

    Raises
    ------
    RequestError
        Where nothing holds the wheel up.
    """
    seen = whole_axle(corner)
    if statics is None:
        statics = Statics.of(seen)
    loads = [mine for push in pushes for mine in on_sides(corner, push)]
    units = _holding(corner, seen, statics)
    asked = [generalised(statics, unit.pushes) for unit in units]
    multipliers, sizes = statics.balanced(generalised(statics, loads), *asked)
    exerted: list[Acting] = []
    for unit, size in zip(units, sizes, strict=True):
        loads += [replace(push, force=size * push.force) for push in unit.pushes]
        exerted += [replace(one, force=size * one.force, axial=size * one.axial) for one in unit.acting]
    return tuple(exerted), joint_forces(statics, multipliers, loads)


@dataclass(frozen=True, slots=True)
class _Holding:
    """What holds a wheel, under one newton or newton millimetre."""

    acting: tuple[Acting, ...]
    pushes: tuple[Push, ...]


def _holding(corner: Corner, seen: Corner, statics: Statics) -> list[_Holding]:
    """What holds the wheel, or each of both where they are one system.

    The layout's spring, or the first one of the car file between two points of a corner; else the torsion spring.
    """
    linkage, axle = corner.linkage, corner.axle
    named = [("spring", linkage.spring)] if linkage.spring else []
    named += [(s.name, s.points) for s in axle.springs]
    sides: tuple[Side | None, ...] = SIDES if corner.joined else (None,)
    if not named or (axle.spring is None and axle.torsion is not None):
        return [_by_torque(corner, seen, side) for side in sides]
    name, points = next((s for s in named if not all(map(linkage.across.once, s[1]))), named[0])
    if corner.joined and all(map(linkage.across.once, points)):
        return _once(corner, seen, statics, named)
    return [_by_spring(seen, f"{side} {name}" if side else name, _names(linkage, points, side)) for side in sides]


def _once(
    corner: Corner, seen: Corner, statics: Statics, named: Sequence[tuple[str, tuple[str, str]]]
) -> list[_Holding]:
    """What holds both wheels where every spring stands once: the first, and that which resists roll most beside it."""
    axle = corner.axle
    holding = [_by_spring(seen, name, points) for name, points in named]
    if axle.roll_spring is not None:
        ends = zip(axle.roll_spring.points, SIDES, strict=True)
        holding.append(_by_spring(seen, "roll_spring", [point_on(corner.linkage, p, side) for p, side in ends]))
    first, *others = (statics.at_wheels(generalised(statics, unit.pushes)) for unit in holding)
    beside = [
        np.nanmin(np.abs(first[0] * one[1] - first[1] * one[0]) / np.linalg.norm(first, axis=0)) for one in others
    ]
    if not beside or max(beside) < LEAST_ROLL:
        text = (
            f'"{named[0][0]}" stands once and holds both wheels alike: nothing holds the axle in roll; give a spring '
            f"that resists roll ([[{axle.name}.springs]] between two points of it, or roll_spring), or take a case of "
            "the settled car (braking_g, lateral_g, vertical_g)"
        )
        raise RequestError(Finding("spring-once", text, f"[{axle.name}]"))
    return [holding[0], holding[1 + int(np.argmax(beside))]]


def _names(linkage: Linkage, points: Sequence[str], side: Side | None) -> tuple[str, ...]:
    return tuple(points if side is None else (point_on(linkage, p, side) for p in points))


def _by_spring(seen: Corner, name: str, points: Sequence[str]) -> _Holding:
    count = seen.lanes.count
    first, second = ((carrier(seen.linkage, p), p, over_lanes(seen.place(p), count)) for p in points)
    acting = between(name, (first, second), np.ones(count))
    return _Holding(acting, tuple(push for one in acting for push in one.pushes()))


def _by_torque(corner: Corner, seen: Corner, side: Side | None) -> _Holding:
    rocker, axle, count = corner.linkage.rocker, corner.axle, corner.lanes.count
    if axle.torsion is None or rocker is None:
        text = "nothing holds the wheel up: the layout has no spring with the points and keys given"
        raise RequestError(Finding("spring-missing", text, f"[{axle.name}]"))
    start, end = (over_lanes(seen.place(p), count) for p in _names(corner.linkage, rocker.axis, side))
    body = rocker.body if side is None else body_on(corner.linkage, rocker.body, side)
    return _Holding((), Push.couple(body, start, (end - start) / np.linalg.norm(end - start, axis=0)))


def generalised(statics: Statics, pushes: Sequence[Push]) -> Array:
    """Generalised load of forces on bodies, shape (unknowns, lanes)."""
    total: Any = 0.0
    for push in pushes:
        where, force = ((v[0], v[1], v[2]) for v in (push.place, push.force))
        total = total + statics.load(statics.on_body(push.body, where), force)
    return np.asarray(total)
