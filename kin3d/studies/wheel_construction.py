"""One wheel as it is drawn: the bodies of its linkage, its contact point, instant centres, support lines.

Places are in space and in the vehicle frame, mm. The front view's plane stands at x = p_x of the wheel's contact point
p, the side view's at y = p_y, both square to the vehicle's axes.

The centres are those of the true motion. The line of an arm is where the plane through its two chassis joints and its
outer joint cuts the view's plane; the lines of two arms cross exactly in the instant centre only where the upright
does not steer with travel, which is why both are given.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from kin3d.linkage.across import spanning
from kin3d.linkage.design import SIDES
from kin3d.linkage.layout import WHEEL_AXIS, WHEEL_CENTRE, Linkage
from kin3d.linkage.names import AxleName, Side
from kin3d.linkage.parts import PartName, part_of
from kin3d.measures import anti
from kin3d.measures.corner_pair import CornerPair
from kin3d.measures.entry import available
from kin3d.measures.instant_centres import front_centre, side_centre
from kin3d.solve.model import SIGNS
from kin3d.spatial.jets import value
from kin3d.spatial.vectors import cross

Array = NDArray[np.float64]
Role = Literal["arm", "link", "rod", "rocker", "spring", "upright"]
ViewName = Literal["front", "side"]
ROUND = 72  # corners of a wheel
MANY = 5  # points of a body from which not every two of them are joined by a line


@dataclass(frozen=True, slots=True)
class DrawnBody:
    """One body as it is drawn.

    Attributes
    ----------
    name : str
    role : {"arm", "link", "rod", "rocker", "spring", "upright"}
    places : ndarray, shape (n, 3)
        Its corners; of an arm its chassis joints, then where it holds the upright.
    joint : ndarray, shape (3,), or None
        Where an arm or a link holds the upright; the wheel centre of an arm that carries the wheel itself.
    part : str
        What it is, of `kin3d.linkage.parts`.
    lines : ndarray, shape (m, 2, 3)
        Straight lines that stand for it: a link, an arm's legs, an upright's spokes, a rocker's edges.
    """

    name: str
    role: Role
    places: Array
    joint: Array | None
    part: PartName
    lines: Array


@dataclass(frozen=True, slots=True)
class ArmLine:
    """The line of one arm in a view's plane.

    Attributes
    ----------
    body : str
    start : ndarray, shape (3,)
        The point of the line straight above or below the outer joint.
    direction : ndarray, shape (3,)
        Unit vector along the line, inboard in the front view, towards the instant centre in the side view.
    """

    body: str
    start: Array
    direction: Array


@dataclass(frozen=True, slots=True)
class Centre:
    """The instant centre of one wheel in one view.

    Attributes
    ----------
    place : ndarray, shape (3,)
        In the view's plane; not finite where the upright does not turn there.
    direction : ndarray, shape (3,)
        Unit vector from the contact point to it, or to where it lies at infinity.
    arms : tuple of ArmLine
        Empty in a layout without arms.
    crossing : ndarray, shape (3,), or None
        Where the lines of the first two arms cross; None without two arms, or where they are parallel.
    """

    place: Array
    direction: Array
    arms: tuple[ArmLine, ...]
    crossing: Array | None

    @property
    def arms_miss_mm(self) -> float | None:
        """How far from the instant centre the lines of the arms cross."""
        if self.crossing is None or not np.isfinite(self.place).all():
            return None
        return float(np.linalg.norm(self.crossing - self.place))


@dataclass(frozen=True, slots=True)
class Support:
    """The support line of one anti measure, in the side view from the contact point.

    Attributes
    ----------
    measure, label : str
    driving : bool
        For driving, else for braking.
    from_centre : bool
        The line is square to the path of the wheel centre (the chassis takes the torque), else of the contact point.
    share : float
        The axle's part of the force.
    slope : float
        Rise of the line along the ground, forward.
    """

    measure: str
    label: str
    driving: bool
    from_centre: bool
    share: float
    slope: float

    def reading(self, axle: AxleName, wheelbase_mm: float, level_mm: float) -> tuple[float, float, float]:
        """How far ahead of the contact point it is read, its height over the ground there, that in % of the level."""
        ahead = (-1.0 if axle == "front" else 1.0) * self.share * wheelbase_mm
        return ahead, self.slope * ahead, 100.0 * self.slope * ahead / level_mm


@dataclass(frozen=True, slots=True)
class WheelLines:
    """What is constructed at one wheel's contact point.

    Attributes
    ----------
    contact : ndarray, shape (3,)
    velocity, hub_velocity : ndarray, shape (3,)
        Of the upright's material point there and of the wheel centre, mm per mm of travel.
    front, side : Centre
    camber_deg : float
        To the ground.
    jacking : float
        Jacking coefficient.
    supports : tuple of Support
    left_out : dict of str to str
        Measures without a support line, and why.
    """

    contact: Array
    velocity: Array
    hub_velocity: Array
    front: Centre
    side: Centre
    camber_deg: float
    jacking: float
    supports: tuple[Support, ...]
    left_out: dict[str, str]


@dataclass(frozen=True, slots=True)
class DrawnWheel:
    """One wheel with its linkage; `sign` is +1 on the left; `lines` is None where no loaded radius is given."""

    side: Side
    sign: float
    travel_mm: float
    points: dict[str, Array]
    bodies: tuple[DrawnBody, ...]
    spin: Array
    lines: WheelLines | None

    @property
    def centre(self) -> Array:
        """Wheel centre, shape (3,)."""
        return self.points[WHEEL_CENTRE]

    @property
    def holding(self) -> tuple[DrawnBody, ...]:
        """Arms and links that hold the upright; all bodies where none does."""
        return tuple(b for b in self.bodies if b.joint is not None) or self.bodies

    def rim(self, radius_mm: float) -> Array:
        """Corners of the wheel's disc, from the top on, shape (n, 3)."""
        up = np.array([0.0, 0.0, 1.0]) - self.spin[2] * self.spin
        up /= np.linalg.norm(up)
        turn = np.linspace(0.0, 2.0 * np.pi, ROUND, endpoint=False)[:, None]
        around = np.cos(turn) * up + np.sin(turn) * np.cross(self.spin, up)
        return np.asarray(self.centre + radius_mm * around)


def drawn_wheel(
    linkage: Linkage, places: Array, opposite: Array, side: Side, travel: float, lines: WheelLines | None
) -> DrawnWheel:
    """One wheel of a solved position; `places` of its side and of the opposite one in the order of ``linkage.points``.

    What no side sees whole (`kin3d.linkage.across.spanning`) goes with the left wheel.
    """
    at = dict(zip(linkage.points, places, strict=True))
    spin = at[WHEEL_AXIS] - at[WHEEL_CENTRE]
    sign = float(SIGNS[SIDES.index(side)])
    bodies = _bodies(linkage, at)
    if side == SIDES[0]:
        other = dict(zip(linkage.points, opposite, strict=True))
        for body, ends in spanning(linkage).items():
            line = np.stack([(at if s == side else other)[p] for s, p in ends])
            bodies.append(DrawnBody(body, "link", line, None, part_of(linkage, body, at), line[None]))
    return DrawnWheel(side, sign, travel, at, tuple(bodies), spin / np.linalg.norm(spin), lines)


def _bodies(linkage: Linkage, at: dict[str, Array]) -> list[DrawnBody]:
    """Every body with its part in the drawing, and the spring."""
    upright = set(linkage.bodies[linkage.wheel_body])
    out = []
    whole = spanning(linkage)
    for name, points in linkage.bodies.items():
        if name in whole:
            continue
        shared = [p for p in points if p in upright]
        ends = [p for p in points if p in linkage.fixed or p in linkage.rack]
        role = _role(linkage, name, len(ends), bool(shared))
        carries = [WHEEL_CENTRE] if name == linkage.wheel_body else shared
        kept = [*ends, *carries] if role == "arm" else [p for p in points if p != WHEEL_AXIS]
        joint = at[carries[0]] if len(carries) == 1 and ends and role in ("arm", "link") else None
        part = part_of(linkage, name, at)
        lines = [(at[a], at[b]) for a, b in _segments(linkage, name, at)]
        out.append(
            DrawnBody(name, role, np.stack([at[p] for p in kept]), joint, part, np.array(lines).reshape(-1, 2, 3))
        )
    if linkage.spring is not None:
        ends_of = np.stack([at[p] for p in linkage.spring])
        out.append(DrawnBody("spring", "spring", ends_of, None, "spring", ends_of[None]))
    return out


def _role(linkage: Linkage, name: str, ends: int, shared: bool) -> Role:
    if name == linkage.wheel_body:
        return "arm" if ends >= 2 else "upright"  # hinged on the chassis it is an arm itself
    if linkage.rocker is not None and name == linkage.rocker.body:
        return "rocker"
    if linkage.rocker is not None and set(linkage.bodies[name]) == set(linkage.rocker.rod):
        return "rod"
    return "arm" if ends >= 2 and shared else "link"


def _segments(linkage: Linkage, body: str, at: dict[str, Array]) -> list[tuple[str, str]]:
    points = linkage.bodies[body]
    held = [p for p in points if p in linkage.fixed]
    free = [p for p in points if p not in linkage.fixed and p not in (WHEEL_CENTRE, WHEEL_AXIS)]
    if body == linkage.wheel_body:
        return [(WHEEL_CENTRE, p) for p in (*held, *free)]
    if len(held) >= 2 and free:
        return [(h, f) for f in free for h in held] + list(combinations(free, 2))
    return list(combinations(points, 2)) if len(points) < MANY else list(_tree(points, at))


def _tree(points: Sequence[str], at: dict[str, Array]) -> Iterator[tuple[str, str]]:
    """The shortest lines that join all points of a body, an axle's say; every line between two would be a tangle."""
    inside, left = [points[0]], [*points[1:]]
    while left:
        pairs = [(float(np.linalg.norm(at[a] - at[b])), a, b) for a in inside for b in left]
        _, a, b = min(pairs)
        inside.append(b)
        left.remove(b)
        yield a, b


def vectors(components: Sequence[object], count: int) -> Array:
    """Values of a vector's components over lanes, shape (count, components)."""
    return np.stack([np.broadcast_to(value(c), count) for c in components], axis=-1).astype(float)


def wheel_lines(linkage: Linkage, pair: CornerPair, places: Array, axes: Sequence[Array]) -> list[WheelLines]:
    """Constructions of all left wheels, then of all right ones; `axes` are the ground's in each position."""
    count = len(places)
    contact, velocity = vectors(pair.contact, count), vectors(pair.contact_velocity, count)
    rolled = vectors(pair.rolling_velocity, count)  # the front view is that of a car in roll
    hub, spin = vectors(pair.centre_velocity, count), vectors(pair.spin, count)
    with np.errstate(all="ignore"):
        yz, xz = vectors(front_centre(pair, rolling=True), count), vectors(side_centre(pair), count)
    supports, left_out = _supports(pair, count)
    out = []
    for k in range(count):
        p, v, sign = contact[k], velocity[k], 1.0 if k < count // 2 else -1.0
        front = _centre(linkage, "front", places[k], p, rolled[k], np.array([p[0], *yz[k]]), sign)
        side = _centre(linkage, "side", places[k], p, v, np.array([xz[k][0], p[1], xz[k][1]]), sign)
        ground = axes[k % len(axes)]
        lift = ground @ v  # both wheels alike
        camber = float(np.degrees(-np.arcsin(ground[2] @ spin[k])))
        out.append(WheelLines(p, v, hub[k], front, side, camber, sign * lift[1] / lift[2], supports[k], left_out))
    return out


def _centre(
    linkage: Linkage, view: ViewName, places: Array, contact: Array, velocity: Array, place: Array, sign: float
) -> Centre:
    across = 1 if view == "front" else 0  # the axis that runs across in this view
    along = np.zeros(3)
    along[across], along[2] = -velocity[2], velocity[across]
    along /= np.linalg.norm(along)
    if view == "front" and sign < 0.0:
        along = -along  # inboard, where the centre is at infinity
    if np.isfinite(place).all() and (place - contact) @ along < 0.0:
        along = -along
    arms = arm_lines(linkage, view, places, contact, place)
    return Centre(place, along, arms, _crossing(arms, across) if len(arms) > 1 else None)


def arm_lines(linkage: Linkage, view: ViewName, places: Array, contact: Array, place: Array) -> tuple[ArmLine, ...]:
    """The lines of a corner's arms in a view's plane.

    Parameters
    ----------
    places : ndarray, shape (points, 3)
        In the order of ``linkage.points``.
    contact, place : ndarray, shape (3,)
        Contact point, through which the plane goes, and instant centre; the latter may be NaN.
    """
    return tuple(_arm_line(b, view, places[list(rows)], contact, place) for b, rows in _arm_rows(linkage).items())


def _arm_rows(linkage: Linkage) -> dict[str, tuple[int, int, int]]:
    """Bodies hinged on two chassis points that carry the upright: rows of the hinge's points and the outer joint."""
    out = {}
    upright = set(linkage.bodies[linkage.wheel_body])
    for body, points in linkage.bodies.items():
        hinge = [p for p in points if p in linkage.fixed]
        outer = [p for p in points if p in upright]
        if body != linkage.wheel_body and len(hinge) == 2 and len(outer) == 1:
            out[body] = (linkage.index(hinge[0]), linkage.index(hinge[1]), linkage.index(outer[0]))
    return out


def _arm_line(body: str, view: ViewName, corners: Array, contact: Array, place: Array) -> ArmLine:
    first, second, outer = corners
    across, through = (1, 0) if view == "front" else (0, 1)
    normal = cross((first - outer).tolist(), (second - outer).tolist())
    along = np.zeros(3)
    along[across], along[2] = normal[2], -normal[across]
    along /= np.linalg.norm(along)
    start = outer.copy()
    start[through] = contact[through]
    start[2] -= normal[through] * (contact[through] - outer[through]) / normal[2]
    if view == "side" and np.isfinite(place).all():
        inward = bool((place - start) @ along >= 0.0)
    else:
        inward = bool(-outer[1] * along[1] >= 0.0) if view == "front" else bool(along[0] <= 0.0)
    return ArmLine(body, start, along if inward else -along)


def _crossing(arms: Sequence[ArmLine], across: int) -> Array | None:
    first, second = arms[:2]
    flat = [across, 2]
    matrix = np.stack([first.direction[flat], -second.direction[flat]], axis=1)
    if abs(np.linalg.det(matrix)) < 1e-12:
        return None
    steps = np.linalg.solve(matrix, (second.start - first.start)[flat])
    return np.asarray(first.start + steps[0] * first.direction)


def _supports(pair: CornerPair, count: int) -> tuple[list[tuple[Support, ...]], dict[str, str]]:
    """Support lines of every lane, and the measures that the car file lacks figures for."""
    front = pair.axle.name == "front"
    there, left_out = available(pair, [m for m in anti.MEASURES if m.axle == pair.axle.name])
    columns = []
    for measure in there:
        # the line is that of the contact point where the upright takes the torque, else of the wheel centre
        driving = measure.name == ("anti_lift_pct" if front else "anti_squat_pct")
        slope = (anti.drive_slope if driving else anti.brake_slope)(pair)
        share = (anti.drive_share if driving else anti.brake_share)(pair)
        rise = -np.broadcast_to(value(slope), count)
        from_centre = not anti.outboard_drive(pair) if driving else anti.inboard_brakes(pair)
        columns.append(
            [Support(measure.name, measure.label, driving, from_centre, share, float(r)) for r in rise]
        )  # fmt: skip
    return [tuple(column[k] for column in columns) for k in range(count)], left_out
