"""What turns about a line of the chassis and follows the upright: arms with more than their joints, rod and rocker.

Each such body has one angle, which one point gives: a joint that it shares with what is placed already, or the end of
a link of constant length. Both are closed formulas, and so are their derivatives along every design coordinate.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Hinged:
    """A body that turns about two points of the chassis.

    Attributes
    ----------
    axis : (int, int)
        Its points on the chassis.
    own, leader : int
        Its point that gives the angle, and the point that leads it: the same where both are one joint, else the far
        end of the link between them.
    carried : tuple of int
        Points that it places.
    """

    axis: tuple[int, int]
    own: int
    leader: int
    carried: tuple[int, ...]


def hinged_of(
    bodies: Mapping[str, Sequence[str]], fixed: Sequence[str], placed: Sequence[str], order: Sequence[str]
) -> tuple[tuple[Hinged, ...], tuple[str, ...]]:
    """The bodies that follow, in the order in which they can be placed, and names of points that none of them places.

    Parameters
    ----------
    bodies : mapping
        Moving bodies and their points.
    fixed : sequence of str
        Points of the chassis.
    placed : sequence of str
        Points whose places are known: chassis, rack, upright.
    order : sequence of str
        Points in the order of coordinate arrays.
    """
    known = set(placed)
    out: list[Hinged] = []
    row = list(order).index
    while True:
        before = len(known)
        for points in bodies.values():
            axis = [p for p in points if p in fixed]
            rest = tuple(p for p in points if p not in known)
            led = _leader(points, axis, bodies, known) if len(axis) >= 2 and rest else None
            if led is not None:
                own, leader = led
                out.append(Hinged((row(axis[0]), row(axis[1])), row(own), row(leader), tuple(map(row, rest))))
                known |= set(rest)
        if len(known) == before:
            return tuple(out), tuple(n for n in order if n not in known)


def _leader(
    points: Sequence[str], axis: Sequence[str], bodies: Mapping[str, Sequence[str]], known: set[str]
) -> tuple[str, str] | None:
    """The point that gives a body its angle, and the one that leads it."""
    shared = [p for p in points if p in known and p not in axis]
    if shared:
        return shared[0], shared[0]
    for link in bodies.values():
        ends = [p for p in link if p in points and p not in known]
        far = [p for p in link if p not in points and p in known]
        if len(link) == 2 and ends and far:
            return ends[0], far[0]
    return None


def place(body: Hinged, design: Array, places: Array) -> NDArray[np.bool_]:
    """Fill in the places of a body's points; False for lanes in which its link cannot reach.

    Parameters
    ----------
    body : Hinged
    design, places : ndarray, shape (lanes, points, 3)
        Design coordinates; places, in which those of axis and leader are right.
    """
    turn, reached = turn_of(body, design, places)
    start = design[:, body.axis[0]]
    for k in body.carried:
        places[:, k] = start + (turn @ (design[:, k] - start)[..., None])[..., 0]
    return reached


def turn_of(body: Hinged, design: Array, places: Array) -> tuple[Array, NDArray[np.bool_]]:
    """Rotation of a body from its design position, shape (lanes, 3, 3), and whether its link reaches."""
    start = design[:, body.axis[0]]
    unit = _unit(design[:, body.axis[1]] - start)
    own, far = design[:, body.own] - start, places[:, body.leader] - start
    along = (own * unit).sum(axis=-1)
    radial = own - along[:, None] * unit
    ahead = np.cross(unit, radial)
    if body.own == body.leader:
        # numbers in proportion to the cosine and the sine
        return _about(unit, (far * radial).sum(axis=-1), (far * ahead).sum(axis=-1)), np.ones(len(design), dtype=bool)
    length = ((design[:, body.own] - design[:, body.leader]) ** 2).sum(axis=-1)
    first = design[:, body.leader] - start
    # |own|² + |far|² − length² = 2 far·own, and own turns: a cos + b sin = c
    a, b = (far * radial).sum(axis=-1), (far * ahead).sum(axis=-1)
    c = 0.5 * ((own**2).sum(axis=-1) + (far**2).sum(axis=-1) - length) - along * (far * unit).sum(axis=-1)
    size = np.hypot(a, b)
    with np.errstate(all="ignore"):
        cosine = c / size
        reached = np.abs(cosine) < 1.0
        sine = np.sqrt(np.maximum(1.0 - cosine**2, 0.0))
    # of the two places at which the link closes, the one on the design position's side
    side = np.where((first * ahead).sum(axis=-1) > 0.0, -1.0, 1.0)
    cosine, sine = np.clip(cosine, -1.0, 1.0), side * sine
    return _about(unit, cosine * a - sine * b, cosine * b + sine * a), reached


def follow(body: Hinged, design: Array, places: Array, slopes: Array) -> None:
    """Fill in the derivatives of a body's points.

    Parameters
    ----------
    body : Hinged
    design, places : ndarray, shape (lanes, points, 3)
    slopes : ndarray, shape (lanes, points, 3, directions)
        Derivatives of places; the first directions are the design coordinates, point by point.
    """
    turn, _ = turn_of(body, design, places)
    a, b = body.axis
    line = design[:, b] - design[:, a]
    start, by_start = design[:, a], slopes[:, a]
    # the turning that keeps the line of the chassis in the body: across it
    lost = slopes[:, b] - by_start
    lost = lost - turn @ lost
    spin = _crossed(line, lost) / (line**2).sum(axis=-1)[:, None, None]

    def carried(k: int) -> Array:
        """Derivative of a point of the body but for the turn about the line."""
        out: Array = by_start - turn @ by_start - _crossed(places[:, k] - start, spin)
        out[:, :, 3 * k : 3 * k + 3] += turn
        return out

    unit = _unit(line)
    held = carried(body.own)
    way = np.cross(unit, places[:, body.own] - start)
    if body.own == body.leader:
        pull, misses = way, slopes[:, body.own] - held
        wanted = (pull[:, None] @ misses)[:, 0]
    else:
        pull = places[:, body.own] - places[:, body.leader]
        then = design[:, body.own] - design[:, body.leader]
        wanted = (pull[:, None] @ (slopes[:, body.leader] - held))[:, 0]
        for k, sign in ((body.own, 1.0), (body.leader, -1.0)):
            wanted[:, 3 * k : 3 * k + 3] += sign * then
    with np.errstate(all="ignore"):
        angle = wanted / (pull * way).sum(axis=-1)[:, None]
    for k in body.carried:
        slopes[:, k] = carried(k) + np.cross(unit, places[:, k] - start)[:, :, None] * angle[:, None]


def _unit(x: Array) -> Array:
    out: Array = x / np.linalg.norm(x, axis=-1, keepdims=True)
    return out


def _about(unit: Array, cosine: Array, sine: Array) -> Array:
    """Rotations about unit vectors; the two numbers are in proportion to cosine and sine of the angle."""
    size = np.hypot(cosine, sine)
    c, s = (cosine / size)[:, None, None], (sine / size)[:, None, None]
    k = np.zeros((len(unit), 3, 3))
    k[:, 0, 1], k[:, 0, 2], k[:, 1, 2] = -unit[:, 2], unit[:, 1], -unit[:, 0]
    k -= k.transpose(0, 2, 1)
    out: Array = np.eye(3) + s * k + (1.0 - c) * (k @ k)
    return out


def _crossed(v: Array, columns: Array) -> Array:
    """V × each column, shapes (lanes, 3) and (lanes, 3, directions)."""
    out: Array = np.cross(v[:, :, None], columns, axis=1)
    return out
