"""The front view of an axle: arms, instant centres, the lines from them to the contact points, the roll centre."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import product

import numpy as np
from numpy.typing import NDArray

from kin3d.studies.construction import AxleConstruction
from kin3d.studies.view_parts import (
    SMALL,
    STEP_MM,
    AxleOnPlane,
    arm_lines,
    body_colours,
    draw_chassis,
    draw_ground,
    draw_linkage,
    draw_mass_centre,
    place_words,
    signed,
    words,
)
from kin3d.studies.wheel_construction import DrawnBody, DrawnWheel, WheelLines
from kin3d.writing.drawing import Drawing, Frame, Plane, TextLevel, Words
from kin3d.writing.placing import Placer, words_box

Array = NDArray[np.float64]
TYRE_SHARE = 0.72  # width of a drawn tyre over its radius; nothing is measured from it
LIFTS_MM = (1.1, 4.2, -1.1, -4.2, 7.3, -7.3)  # of names over their lines, on paper
SPREAD = 1.7  # instant centres within so many half widths of the axle are on the view


def front_frame(seen: Sequence[AxleOnPlane], scale: float) -> Frame:
    """What the front view shows: the wheels with some room, and the instant centres when they are not far out."""
    room = 36.0 * scale  # for the words beside an instant centre
    chassis = np.concatenate([s.plane.flat(s.axle.chassis) for s in seen])
    lines = [(s, w.lines) for s in seen for w in s.axle.wheels if w.lines is not None]
    if not lines:
        every = np.concatenate([s.plane.flat(np.stack([*w.points.values()])) for s in seen for w in s.axle.wheels])
        return Frame(every.min(axis=0) - 100.0, every.max(axis=0) + 100.0)
    radius = float(seen[0].axle.radius_mm or 0.0)
    ground = min(s.ground_mm for s in seen)
    half = max(abs(float(s.plane.flat(w.contact)[0])) for s, w in lines) + 0.9 * radius
    places = [s.plane.flat(w.front.place) for s, w in lines]
    near = [p for p in places if np.isfinite(p).all() and abs(float(p[0])) < SPREAD * half]
    wide = max([half + room * (len(near) < len(places)), *(abs(float(p[0])) + room for p in near)])
    usual = max(2.45 * radius, float(chassis[:, 1].max()) - ground + 0.35 * radius)
    top = min(max([usual, *(float(p[1]) - ground + 0.3 * radius for p in near)]), 2.0 * usual)
    low = min([-0.28 * radius, *(float(p[1]) - ground - 0.3 * radius for p in near)])
    return Frame(np.array([-wide, ground + max(low, -1.2 * radius)]), np.array([wide, ground + top]))


def front_view(drawing: Drawing, seen: AxleOnPlane, frame: Frame, detailed: bool = False) -> None:
    """Draw the roll-centre construction of one axle."""
    axle, plane = seen.axle, seen.plane
    if axle.ground is None:
        for wheel in axle.wheels:
            draw_linkage(drawing, plane, wheel)
        return
    draw_ground(drawing, frame, seen.ground_mm)
    _body(drawing, seen, frame)
    for wheel in axle.wheels:
        _tyre(drawing, seen, wheel)
        draw_linkage(drawing, plane, wheel)
    for wheel in axle.wheels:
        if wheel.lines is not None:
            _front_lines(drawing, seen, frame, wheel, wheel.lines)
    _roll_centre(drawing, seen, frame)
    _say_centres(drawing, seen, frame)
    if axle.ground.mass_centre is not None:
        at = plane.flat(axle.ground.mass_centre)
        draw_mass_centre(drawing, frame, at, seen.ground_mm, "mass centre of the body")
    _names(drawing, plane, axle.wheels[0])
    if detailed:
        _front_dimensions(drawing, seen, frame)


def _body(drawing: Drawing, seen: AxleOnPlane, frame: Frame) -> None:
    """The chassis, its own middle line and the roll angle."""
    draw_chassis(drawing, seen)
    level, roll = seen.ground_mm, seen.axle.roll_deg
    up = seen.plane.turned(np.array([0.0, 0.0, 1.0]))
    foot = seen.plane.flat(np.zeros(3))
    foot = foot - up * (foot[1] - level) / up[1]
    reach = frame.high[1] - level - 3 * drawing.scale
    drawing.line("base", foot, foot + up * reach / up[1])
    if abs(roll) < 1e-9:
        return
    drawing.line("base", foot, foot + np.array([0.0, reach]), dash="dotted", width=0.6)
    size, turn = 0.9 * reach, np.arctan2(up[1], up[0])
    arc = np.linspace(np.pi / 2.0, turn, 13)[:, None]
    drawing.path("base", foot + size * np.concatenate([np.cos(arc), np.sin(arc)], axis=1), colour="ink", dash="solid")
    right = up[0] > 0
    text = f"roll {signed(roll, 2)}°"
    words(drawing, foot + up * size / up[1], text, (2.0 if right else -2.0, 0.0), align="left" if right else "right")


def _tyre(drawing: Drawing, seen: AxleOnPlane, wheel: DrawnWheel) -> None:
    """A tyre that leans as it does, its centre line, its camber."""
    radius, plane = float(seen.axle.radius_mm or 0.0), seen.plane
    axis = plane.turned(wheel.spin)
    axis = axis / np.linalg.norm(axis) * np.sign(axis[0])
    down = np.array([axis[1], -axis[0]])
    wide, corner = TYRE_SHARE * radius / 2.0, 0.16 * radius
    around = []
    for u, v, first in ((1, 1, 0), (-1, 1, 1), (-1, -1, 2), (1, -1, 3)):
        turn = (first + np.linspace(0.0, 1.0, 9)) * np.pi / 2.0
        middle = np.array([u * (wide - corner), v * (radius - corner)])
        around += list(middle + corner * np.stack([np.cos(turn), np.sin(turn)], axis=1))
    centre = plane.flat(wheel.centre)
    drawing.path("links", centre + np.array(around) @ np.stack([axis, -down]), closed=True, fill="tyre", width=1.1)
    if wheel.lines is None:
        return
    top = centre - 1.12 * radius * down
    drawing.line("base", top, plane.flat(wheel.lines.contact))
    text = f"camber to the ground\n{signed(wheel.lines.camber_deg, 2)}°"
    words(drawing, top, text, (0.0, 2.4), align="center", level="bottom", size=0.94)


def _names(drawing: Drawing, plane: Plane, wheel: DrawnWheel) -> None:
    """Names of the bodies along their lines, where no other words stand."""
    shade = body_colours(wheel.bodies)
    for body in wheel.bodies:
        if body.role != "rod" and body.joint is None:
            continue
        p = plane.flat(body.places)
        if len(p) >= 2:
            drawing.items.append(_name(drawing, body, p[:-1].mean(axis=0), p[-1], shade[body.name]))


def _name(drawing: Drawing, body: DrawnBody, inner: Array, outer: Array, colour: str) -> Words:
    """The name over or under its line, at the free place with the fewest lines under it; else at the first."""
    placer = Placer(drawing, Frame(inner, outer))
    placer.learn()
    way = outer - inner
    turn = (np.degrees(np.arctan2(way[1], way[0])) + 90.0) % 180.0 - 90.0
    up = np.array([-np.sin(np.radians(turn)), np.cos(np.radians(turn))]) * drawing.scale
    taken = [words_box(i, drawing.scale) for i in drawing.items if isinstance(i, Words)]
    usual = 0.24 if body.role == "rod" else 0.55
    tried, free = [], []
    for lift, share in product(LIFTS_MM, (usual, 0.3, 0.75, 0.15, 0.9)):
        level: TextLevel = "bottom" if lift > 0.0 else "top"
        at = inner + share * way + lift * up
        tried.append(Words("text", at, (body.name,), "center", level, SMALL, float(turn), colour))
        low, high = words_box(tried[-1], drawing.scale)
        if not any((low < t[1]).all() and (high > t[0]).all() for t in taken):
            free.append((placer.lines_under(low, high), tried[-1]))
    return min(free, key=lambda f: f[0])[1] if free else tried[0]


def _front_lines(drawing: Drawing, seen: AxleOnPlane, frame: Frame, wheel: DrawnWheel, lines: WheelLines) -> None:
    """Lines of the arms, and the line of the instant centre through the contact point."""
    plane = seen.plane
    foot, centre = plane.flat(lines.contact), plane.flat(lines.front.place)
    arm_lines(drawing, plane, frame, lines.front, body_colours(wheel.bodies))
    # the line stands square to the path of the contact point, whether the instant centre is near or far
    near = frame.holds(centre)
    end = centre if near else frame.cut(foot, foot + 1e6 * plane.turned(lines.front.direction))
    drawing.line("lines", foot, end)
    crossing = _crossing(seen, frame)
    if crossing is not None:
        share = (crossing - foot) @ (end - foot) / ((end - foot) @ (end - foot))
        if not 0.0 <= share <= 1.0 + 1e-9:  # the roll centre lies beyond the instant centre, or outside the wheel
            drawing.line("lines", foot, crossing)
    drawing.mark("lines", foot, "dot", 0.45, colour="construction")
    if near:
        drawing.mark("lines", centre, "square", 0.5, colour="construction")


def _say_centres(drawing: Drawing, seen: AxleOnPlane, frame: Frame) -> None:
    """Where the instant centres are; once for both where they are one."""
    placer = Placer(drawing, frame)
    placer.learn()
    said = [(w.side, w.lines, seen.plane.flat(w.lines.front.place)) for w in seen.axle.wheels if w.lines is not None]
    one = len(said) == 2 and float(np.hypot(*(said[1][2] - said[0][2]))) < 1.5 * drawing.scale
    for side, lines, centre in said[: 1 if one else 2]:
        told = place_words("yz", seen.plane.coordinates(lines.front.place)[1:])
        whose = "of both wheels" if one else f"of the {side} wheel"
        if frame.holds(centre):
            at, aim, text = centre, 60.0 if centre[0] > 0 else 120.0, f"instant centre\n{whose}\n{told}"
        else:
            foot = seen.plane.flat(lines.contact)
            end = frame.cut(foot, foot + 1e6 * seen.plane.turned(lines.front.direction))
            at, aim, text = foot + 0.86 * (end - foot), 90.0, f"to the instant centre {whose}\n{told}"
        placer.words("text", at, text, aim=aim, colour="construction")


def _crossing(seen: AxleOnPlane, frame: Frame) -> Array | None:
    """The roll centre on the plane, where it is drawn."""
    ground = seen.axle.ground
    place = None if ground is None else ground.roll_centre_place
    flat = None if place is None else seen.plane.flat(place)
    return flat if flat is not None and frame.holds(flat) else None


def _roll_centre(drawing: Drawing, seen: AxleOnPlane, frame: Frame) -> None:
    """The mark where both lines cross and its height, or where it is in words."""
    ground = seen.axle.ground
    if ground is None:
        return
    offset, height = (float(c) for c in ground.roll_centre)
    at = _crossing(seen, frame)
    if at is not None:
        drawing.mark("lines", at, "target", 1.3, colour="roll centre")
        x = at[0] + (9.0 if at[0] >= 0.0 else -9.0) * drawing.scale
        low = np.array([x, seen.ground_mm])
        drawing.line("dims", at, (x, at[1]), colour="roll centre", width=0.7)
        drawing.dimension("dims", low, np.array([x, at[1]]), low, upright=True, text=" ", colour="roll centre")
        text = f"roll centre {signed(height)} mm over the ground"
        _aside(drawing, frame, np.array([x, min(seen.ground_mm, at[1])]), text)
        return
    why = "the lines are nearly parallel" if ground.parallel else "it lies off the sheet"
    text = f"roll centre at y {signed(offset, 0)}, z {signed(height, 0)} mm: {why}"
    text += f"\nheight from jacking forces {signed(ground.force_height_mm)} mm"
    _aside(drawing, frame, np.array([0.0, seen.ground_mm]), text)


def _aside(drawing: Drawing, frame: Frame, at: Array, text: str) -> None:
    """Words on the roll centre under a place, or where there is room."""
    placer = Placer(drawing, frame)
    placer.learn()
    placer.words("text", at, text, aim=-90.0, colour="roll centre", bold=True)


def _front_dimensions(drawing: Drawing, seen: AxleOnPlane, frame: Frame) -> None:
    """Track and the place of the given wheel's instant centre."""
    left, right = (seen.plane.flat(w.lines.contact) for w in seen.axle.wheels if w.lines is not None)
    low, mm = min(float(frame.low[1]), seen.ground_mm), drawing.scale
    drawing.dimension("dims", right, left, np.array([0.0, low - 2.2 * STEP_MM * mm]), text="track <>")
    lines = seen.axle.wheels[0].lines
    centre = None if lines is None else seen.plane.flat(lines.front.place)
    if centre is None or not frame.holds(centre):
        return
    foot = np.array([centre[0], seen.ground_mm])
    drawing.dimension("dims", left, centre, np.array([centre[0], low - 1.2 * STEP_MM * mm]))
    drawing.dimension("dims", foot, centre, centre - np.array([34.0 * mm, 0.0]), upright=True)


def front_notes(axle: AxleConstruction) -> list[str]:
    """The figures of the construction, also of what is too far away to be drawn."""
    ground = axle.ground
    lines = [w.lines for w in axle.wheels if w.lines is not None]
    if ground is None or not lines:
        return ["no construction: loaded_radius_mm is not given"]
    track = float(ground.over(lines[0].contact - lines[1].contact + ground.middle)[1])
    offset, height = (float(c) for c in ground.roll_centre)
    out = [
        f"roll centre: height {signed(height)} mm, {signed(offset)} mm to the left",
        f"height from jacking forces {signed(ground.force_height_mm)} mm",
        f"track {track:.1f} mm",
        f"jacking coefficient: left {signed(lines[0].jacking, 3)}, right {signed(lines[1].jacking, 3)}",
    ]
    if ground.parallel:
        out.insert(1, "its lines are nearly parallel: the crossing says little")
    apart = lines[0].front.arms_miss_mm
    if apart is not None:
        out.append(f"lines of the left arms cross {apart:.1f} mm from the instant centre")
    elif not lines[0].front.arms:
        out.append("no arms in this layout: the instant centre follows from the motion alone")
    return [*out, "solid lines: square to the paths of the contact points"]
