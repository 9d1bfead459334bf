"""The mechanism: what each body of a linkage looks like follows from its points alone, for every layout."""

from __future__ import annotations

import itertools
from collections.abc import Iterator

import numpy as np

from kin3d.linkage.across import spanning
from kin3d.linkage.layout import WHEEL_AXIS, WHEEL_CENTRE, Linkage
from kin3d.linkage.parts import part_of
from kin3d.spatial.hull import outline
from kin3d_viewer.primitives import Array, Ball, Coil, Label, MarkerShape, Plate, Primitive, Rod
from kin3d_viewer.scene_forces import CORE_MM, force_radius
from kin3d_viewer.snapshot import SIDES, Snapshot
from kin3d_viewer.style import WEBS

CAGE_MM = 5.0
BAR_MM, LINK_MM, ROD_MM, JOINT_MM = 8.0, 7.0, 6.0, 10.0
STUB_MM, COIL_MM = 38.0, 24.0


def mechanism(now: Snapshot, *, labels: bool = True) -> list[Primitive]:
    """Bodies, joints, springs, chassis stubs and rack of both sides."""
    out: list[Primitive] = []
    at = dict(zip(now.linkage.points, now.design[0], strict=True))
    parts = {body: part_of(now.linkage, body, at) for body in now.linkage.bodies}
    whole = spanning(now.linkage)
    for body, ends in whole.items():
        (first, p), (second, q) = ends
        places = now.at(SIDES.index(first), p), now.at(SIDES.index(second), q)
        out.append(Rod(f"across/{body}", parts[body], *places, LINK_MM))
        if labels:
            out.append(Label(f"across/{body}/label", "label", body, 0.5 * (places[0] + places[1]), 10))
    for side in (0, 1):
        for body, part in parts.items():
            out += [] if body in whole else _body(now, side, body, part)
        out += [*_spring(now, side), *_sliders(now, side), *_joints(now, side), *_stubs(now, side)]
        if labels and side == 0:
            out += [*_part_labels(now, side), *_point_names(now, side)]
    return [*out, *_rack(now), *_bar(now), *_cross(now)]


def _body(now: Snapshot, side: int, body: str, role: str) -> list[Primitive]:
    points = [p for p in now.linkage.bodies[body] if p != WHEEL_AXIS]
    if len(points) == 2:
        return [_link(now, side, body, role)]
    if role == "upright":
        return _web(now, side, body, role, WHEEL_CENTRE)
    if role == "bar":
        return _bar_arm(now, side, body)
    anchors = [p for p in points if p in now.linkage.fixed]
    if role == "rocker" or len(anchors) < 2:
        return _web(now, side, body, role, "")
    return _arm(now, side, body, role, anchors)


def _bar_arm(now: Snapshot, side: int, body: str) -> list[Primitive]:
    """The arm of an anti-roll bar: from its pivot line to its other points."""
    foot = bar_foot(now, side)
    free = [p for p in now.linkage.bodies[body] if p not in now.linkage.fixed]
    return [Rod(f"{SIDES[side]}/{body}/{p}", "bar", foot, now.at(side, p), 0.8 * BAR_MM) for p in free]


def bar_foot(now: Snapshot, side: int) -> Array:
    """Where the arm of the bar stands on its pivot line: the nearest place to its first moving point."""
    bar = now.linkage.bar
    assert bar is not None
    start, end = (now.at(side, p) for p in bar.axis)
    free = [p for p in now.linkage.bodies[bar.body] if p not in now.linkage.fixed]
    along = (end - start) / np.linalg.norm(end - start)
    foot: Array = start + (now.at(side, free[0]) - start) @ along * along
    return foot


def _bar(now: Snapshot) -> Iterator[Primitive]:
    """The torsion bar between the arms of both sides."""
    if now.linkage.bar is not None:
        yield Rod("across/anti-roll bar", "bar", bar_foot(now, 0), bar_foot(now, 1), 9.0)


def _link(now: Snapshot, side: int, body: str, role: str) -> Rod:
    start, end = (now.at(side, p) for p in now.linkage.bodies[body])
    radius = ROD_MM if role == "rod" else LINK_MM
    if body in now.forces_n:
        radius = max(3.0, force_radius(float(now.forces_n[body][side])))
    if now.loaded(side, body):
        radius = CORE_MM
    return Rod(f"{SIDES[side]}/{body}", role, start, end, radius)


def _arm(now: Snapshot, side: int, body: str, role: str, anchors: list[str]) -> list[Primitive]:
    """An arm: a bar from each chassis joint to its outer joint, a web between, a bracket to what stands on it."""
    stem = f"{SIDES[side]}/{body}"
    free = [p for p in now.linkage.bodies[body] if p not in anchors]
    tip = _tip(now, body, free)
    place = now.at(side, tip)
    out: list[Primitive] = [Rod(f"{stem}/{a}", role, now.at(side, a), place, BAR_MM) for a in anchors]
    corners = np.array([place, *(now.at(side, a) for a in anchors)])
    if role in WEBS:
        out.append(Plate(f"{stem}/web", f"{role} web", corners))
    middle = np.mean([now.at(side, a) for a in anchors], axis=0)
    for p in free:
        if p != tip:
            out.append(Rod(f"{stem}/{p}", role, _nearest(now.at(side, p), middle, place), now.at(side, p), BAR_MM))
    return out


def _tip(now: Snapshot, body: str, free: list[str]) -> str:
    """The outer joint of an arm: the point that it shares with the upright, else the one farthest from the chassis."""
    shared = [p for p in free if p in now.linkage.bodies[now.linkage.wheel_body]]
    if shared:
        return shared[0]
    anchors = [p for p in now.linkage.bodies[body] if p in now.linkage.fixed]
    middle = np.mean([now.design[0, now.linkage.index(a)] for a in anchors], axis=0)
    return max(free, key=lambda p: float(np.linalg.norm(now.design[0, now.linkage.index(p)] - middle)))


def _nearest(place: Array, start: Array, end: Array) -> Array:
    along = end - start
    share = float(np.clip((place - start) @ along / (along @ along), 0.0, 1.0))
    found: Array = start + share * along
    return found


def _web(now: Snapshot, side: int, body: str, role: str, hub: str) -> list[Primitive]:
    """A closed frame through a body's joints in order round their middle, spokes to a hub, and a web."""
    stem = f"{SIDES[side]}/{body}"
    names = _round(now, [p for p in now.linkage.bodies[body] if p not in (hub, WHEEL_AXIS)])
    pairs = list(zip(names, names[1:] + names[:1], strict=True))
    if len(names) == 2:
        pairs = pairs[:1]
    out: list[Primitive] = [
        Rod(f"{stem}/{a}-{b}", role, now.at(side, a), now.at(side, b), 0.8 * BAR_MM) for a, b in pairs
    ]
    if hub:
        out += [Rod(f"{stem}/{p}", role, now.at(side, hub), now.at(side, p), 0.8 * BAR_MM) for p in names]
    if role in WEBS:
        centre = [hub] if hub else []
        ring = [*names, names[0]] if hub else names
        out.append(Plate(f"{stem}/web", f"{role} web", np.array([now.at(side, p) for p in centre + ring])))
    return out


def _round(now: Snapshot, names: list[str]) -> list[str]:
    """Names in the order in which they go round their middle, seen along the direction in which they are thinnest.

    Taken in the design position of the left side, so that it is the same in every position.
    """
    places = np.array([now.design[0, now.linkage.index(p)] for p in names])
    flat = places - places.mean(axis=0)
    axes = np.linalg.svd(flat, full_matrices=True)[2]
    angles = np.arctan2(flat @ axes[1], flat @ axes[0])
    return [names[k] for k in np.argsort(angles, kind="stable")]


def _spring(now: Snapshot, side: int) -> Iterator[Primitive]:
    for name, ends in springs_of(now).items():
        outer, inner = (now.at(side, p) for p in ends)
        yield Coil(f"{SIDES[side]}/{name}", "spring", outer, inner, COIL_MM)
        yield Rod(f"{SIDES[side]}/{name}/damper", "damper", outer, inner, CORE_MM if now.loaded(side, name) else 9.0)


def springs_of(now: Snapshot) -> dict[str, tuple[str, str]]:
    """Every spring of a corner: its two points by its name."""
    own = {"spring": now.linkage.spring} if now.linkage.spring else {}
    return {**own, **now.springs}


def _cross(now: Snapshot) -> Iterator[Primitive]:
    """Springs across the car."""
    for name, (on_left, on_right) in now.cross.items():
        left, right = now.at(0, on_left), now.at(1, on_right)
        yield Coil(f"across/{name}", "spring", left, right, COIL_MM)
        yield Rod(f"across/{name}/damper", "damper", left, right, 9.0)


def _sliders(now: Snapshot, side: int) -> Iterator[Primitive]:
    """A strut: its tube along the line, its piston rod from the nearer end of the tube to the sliding point."""
    for slider in now.linkage.sliders:
        start, end = (now.at(side, p) for p in slider.line)
        place = now.at(side, slider.point)
        near = min((start, end), key=lambda p: float(np.linalg.norm(p - place)))
        yield Rod(f"{SIDES[side]}/tube {slider.point}", "damper", start, end, 15.0)
        yield Rod(f"{SIDES[side]}/piston {slider.point}", "rod", near, place, 7.0)


def joint_shape(linkage: Linkage, point: str) -> tuple[MarkerShape, str]:
    """Shape and role of a point: cube on the chassis, diamond on the rack, ball elsewhere."""
    if point in linkage.fixed:
        return "cube", "chassis joint"
    if point in linkage.rack:
        return "diamond", "rack joint"
    return "ball", "wheel centre" if point == WHEEL_CENTRE else "joint"


def _joints(now: Snapshot, side: int) -> Iterator[Primitive]:
    for point in now.linkage.points:
        if point != WHEEL_AXIS:
            shape, role = joint_shape(now.linkage, point)
            yield Ball(f"{SIDES[side]}/{point}", role, now.at(side, point), JOINT_MM, shape, point)


def _stubs(now: Snapshot, side: int) -> Iterator[Primitive]:
    """Short pieces of chassis behind its joints, towards the middle of the car."""
    for point in now.linkage.fixed:
        place = now.at(side, point)
        inwards = np.array([0.0, -np.sign(place[1]) * min(STUB_MM, abs(place[1])), 0.0])
        yield Rod(f"{SIDES[side]}/chassis/{point}", "stub", place, place + inwards, 11.0)


def chassis(now: Snapshot) -> Iterator[Primitive]:
    """A cage through the chassis joints: bars across, and from joint to joint round each side as seen from there."""
    names = [p for p in now.linkage.fixed if abs(now.at(0, p)[1]) > 1.0]
    for point in names:
        yield Rod(f"cage/{point}", "cage", now.at(0, point), now.at(1, point), CAGE_MM)
    flat = np.array([now.design[0, now.linkage.index(p)][[0, 2]] for p in names])
    ring = outline(flat) if names else []
    for side in (0, 1):
        for k, j in zip(ring, ring[1:] + ring[:1], strict=True):
            ends = (now.at(side, names[k]), now.at(side, names[j]))
            yield Rod(f"{SIDES[side]}/cage/{names[k]}-{names[j]}", "cage", *ends, CAGE_MM)


def _rack(now: Snapshot) -> Iterator[Primitive]:
    for point in now.linkage.rack:
        yield Rod(f"rack/{point}", "rack", now.at(0, point), now.at(1, point), 9.0)


def _part_labels(now: Snapshot, side: int) -> Iterator[Primitive]:
    whole = spanning(now.linkage)
    for rank, (body, points) in enumerate(now.linkage.bodies.items()):
        if body in whole:
            continue
        text = f"{body}{_force(now, side, body)}"
        places = np.array([now.at(side, p) for p in points if p != WHEEL_AXIS])
        yield Label(f"{SIDES[side]}/{body}/label", "label", text, places.mean(axis=0), rank)
    for rank, (name, ends) in enumerate(springs_of(now).items()):
        middle = 0.5 * (now.at(side, ends[0]) + now.at(side, ends[1]))
        yield Label(f"{SIDES[side]}/{name}/label", "label", name, middle, 20 + rank)


def _force(now: Snapshot, side: int, body: str) -> str:
    if body not in now.forces_n:
        return ""
    force = float(now.forces_n[body][side])
    return f" {abs(force):.0f} N {'tension' if force > 0 else 'compression'}"


def _point_names(now: Snapshot, side: int) -> Iterator[Primitive]:
    named = itertools.filterfalse(lambda p: p == WHEEL_AXIS, now.linkage.points)
    for rank, point in enumerate(named):
        yield Label(f"{SIDES[side]}/{point}/name", "point name", point, now.at(side, point), 30 + rank)
