"""Where the points of the other rod may go: starting layouts and the boxes around them.

The start keeps the shape of rocker, spring and bar and sets the whole down where the other kind of rod wants it, turned
about the car's x so that the rod drives the rocker the same way round as before: a push-rod along itself, a pull-rod
against itself.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kin3d.linkage.car import Axle
from kin3d.linkage.layout import Linkage
from kin3d.studies.inboard import inboard_points

Array = NDArray[np.float64]
PointPlaces = dict[str, Array]
Boxes = dict[str, tuple[Array, Array]]
OUTER_MM = np.array([30.0, 40.0, 30.0])  # half the default box of rod_outer
INBOARD_MM = np.array([90.0, 90.0, 90.0])  # and of every other point
OVER_LOW_JOINTS_MM = 50.0  # default height of a pull-rod's rocker over the lowest arm's chassis joints
OVER_HIGH_JOINTS_MM = 160.0  # and of a push-rod's over the highest arm's
GROUND_MM = 40.0  # nothing goes nearer to the ground than this by default
SIDE_MM = 10.0  # nothing goes nearer to the centre plane than this by default
ON_ARM = 0.9  # where rod_outer starts on an arm: share of the way from the hinge line to the ball joint


@dataclass(frozen=True, slots=True)
class StartLayout:
    """A starting layout and the boxes.

    Attributes
    ----------
    start : dict of str to ndarray, shape (3,)
        Movable points, mm, on the side of the point table.
    boxes : dict of str to (ndarray, ndarray)
        Lower and upper corner for each of them.
    stated : tuple of str
        Points whose box is the default one.
    """

    start: PointPlaces
    boxes: Boxes
    stated: tuple[str, ...]


def movable_points(axle: Axle, linkage: Linkage) -> tuple[str, ...]:
    """Points that a swap may move: rod, rocker, and all that hangs on the rocker."""
    names = [p for p in inboard_points(linkage) if p in axle.points]
    rocker = linkage.rocker
    on_rocker = linkage.bodies[rocker.body] if rocker else ()
    for spring in axle.springs:
        if spring.points and any(p in on_rocker for p in spring.points):
            names += [p for p in spring.points if p in linkage.fixed]
    return tuple(dict.fromkeys(names))


def start_layouts(
    axle: Axle, linkage: Linkage, kinds: tuple[str, str], mount: str, given: Mapping[str, tuple[Array, Array]]
) -> list[StartLayout]:
    """Starting layouts with their boxes, the likelier first.

    Parameters
    ----------
    kinds : (str, str)
        The rod's kind now and then, ``"push"`` or ``"pull"``.
    mount : str
        Body that is to carry the rod.
    given : mapping
        Boxes of the user, by point.
    """
    at = {p: axle.points[p] for p in axle.points.names}
    movable = movable_points(axle, linkage)
    layouts = []
    for down in (1.0, -1.0):
        start = _start(at, linkage, kinds, mount, given, down)
        start = {p: start[p] for p in movable}
        boxes = {p: given.get(p) or _default_box(p, start[p], axle, linkage, at[p]) for p in movable}
        inside = {p: np.clip(start[p], *boxes[p]) for p in movable}
        layouts.append(StartLayout(inside, boxes, tuple(p for p in movable if p not in given)))
    return layouts if linkage.bar is not None else layouts[:1]


def _default_box(point: str, place: Array, axle: Axle, linkage: Linkage, before: Array) -> tuple[Array, Array]:
    half = OUTER_MM if linkage.rocker and point == linkage.rocker.rod[0] else INBOARD_MM
    low, high = place - half, place + half
    if axle.loaded_radius_mm is not None:
        floor = axle.points["wheel_centre"][2] - axle.loaded_radius_mm + GROUND_MM
        low[2], high[2] = max(low[2], floor), max(high[2], floor + 1.0)
    sign = 1.0 if axle.side == "left" else -1.0
    if sign * before[1] > SIDE_MM:  # a point of this side stays on it
        bound = sign * SIDE_MM
        low[1], high[1] = (max(low[1], bound), max(high[1], bound + 1.0)) if sign > 0 else (
            min(low[1], bound - 1.0), min(high[1], bound)
        )  # fmt: skip
    return low, high


def _start(
    at: PointPlaces,
    linkage: Linkage,
    kinds: tuple[str, str],
    mount: str,
    given: Mapping[str, tuple[Array, Array]],
    down: float,
) -> PointPlaces:
    """The inboard parts set down in their new place."""
    rocker = linkage.rocker
    if rocker is None:
        raise ValueError("the linkage has no rocker")
    outer_name, inner_name = rocker.rod
    centre = 0.5 * (at[rocker.axis[0]] + at[rocker.axis[1]])
    outer = _outer(at, linkage, mount, kinds[1])
    if outer_name in given:
        outer = np.clip(outer, *given[outer_name])
    target = centre.copy()
    if kinds[0] != kinds[1]:
        target[2] = _height(at, linkage, kinds[1])
    drive = _unit(at[inner_name] - at[outer_name]) * (1.0 if kinds[0] == "push" else -1.0)
    turn = np.eye(3)
    for _ in range(3):
        inner = target + turn @ (at[inner_name] - centre)
        wanted = _unit(inner - outer) * (1.0 if kinds[1] == "push" else -1.0)
        turn = _about_x(drive, wanted)
        target = target + _toward_boxes(at, centre, target, turn, given, linkage)
    moved = {p: target + turn @ (at[p] - centre) for p in at}
    moved[outer_name] = outer
    return moved | _bar(at, moved, linkage, down)


def _outer(at: PointPlaces, linkage: Linkage, mount: str, kind: str) -> Array:
    """A place for the rod's outer end on the body that is to carry it."""
    wheel = linkage.bodies[linkage.wheel_body]
    points = linkage.bodies[mount]
    lift = np.array([0.0, 0.0, 15.0 if kind == "push" else -15.0])
    hinge = [at[p] for p in points if p in linkage.fixed]
    joint = [at[p] for p in points if p in wheel and p in at]
    if not hinge:
        shared = {p for b, names in linkage.bodies.items() if b != mount for p in names if p in points and p in at}
        joints = sorted((at[p] for p in shared), key=lambda p: float(p[2]))
        ball = joints[0] if kind == "push" else joints[-1]
        return np.asarray(ball * np.array([1.0, 0.95, 1.0]) + lift)
    middle = np.mean(hinge, axis=0)
    return np.asarray(middle + ON_ARM * (joint[0] - middle) + lift)


def _height(at: PointPlaces, linkage: Linkage, kind: str) -> float:
    """Default height of the rocker's pivot: near the lowest or over the highest arm's chassis joints."""
    heights = []
    for points in linkage.bodies.values():
        hinge = [float(at[p][2]) for p in points if p in linkage.fixed]
        if len(hinge) >= 2 and any(p in linkage.bodies[linkage.wheel_body] for p in points):
            heights.append(float(np.mean(hinge)))
    return min(heights) + OVER_LOW_JOINTS_MM if kind == "pull" else max(heights) + OVER_HIGH_JOINTS_MM


def _toward_boxes(
    at: PointPlaces,
    centre: Array,
    target: Array,
    turn: Array,
    given: Mapping[str, tuple[Array, Array]],
    linkage: Linkage,
) -> Array:
    """How far to shift the whole so that it stands in the middle of the boxes that are given."""
    outer = linkage.rocker.rod[0] if linkage.rocker else ""
    gaps = [0.5 * (low + high) - (target + turn @ (at[p] - centre)) for p, (low, high) in given.items() if p != outer]
    return np.asarray(np.mean(gaps, axis=0) if gaps else np.zeros(3))


def _bar(at: PointPlaces, moved: PointPlaces, linkage: Linkage, down: float) -> PointPlaces:
    """The bar's axis stays across the car; its arm goes over or under where its link now stands."""
    bar = linkage.bar
    if bar is None:
        return {}
    driven, end = bar.link
    link = at[end] - at[driven]
    new_end = moved[driven] + link * np.array([1.0, 1.0, down])
    shift = (new_end - at[end]) * np.array([1.0, 0.0, 1.0])
    out = {p: at[p] + shift for p in bar.axis}
    out[end] = new_end
    return out


def _unit(v: Array) -> Array:
    return np.asarray(v / np.linalg.norm(v))


def _about_x(a: Array, b: Array) -> Array:
    """Turn about x that brings the y-z part of one direction onto that of another."""
    angle = np.arctan2(b[2], b[1]) - np.arctan2(a[2], a[1])
    c, s = np.cos(angle), np.sin(angle)
    return np.array([[1.0, 0.0, 0.0], [0.0, c, -s], [0.0, s, c]])
