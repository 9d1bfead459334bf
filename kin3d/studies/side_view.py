"""The side view: support lines of braking and drive, mass centre, the part of the load transfer that the links carry.

The line from a contact point to the side-view instant centre reaches the vertical that stands at the axle's share of
the force at a height; that height over the mass centre's is the anti value, for braking and for drive alike.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from kin3d.linkage.keys import CarData
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
from kin3d.studies.wheel_construction import Support, WheelLines
from kin3d.writing.drawing import Drawing, Frame, Words, circle
from kin3d.writing.placing import Placer

Array = NDArray[np.float64]
LEAST_TILT_DEG = 0.02  # of the tyres' ground, from which on it is told: some tenths of a per cent in the figures


@dataclass(frozen=True, slots=True)
class Levels:
    """What the support lines are read on: wheelbase and height of the mass centre over the ground."""

    wheelbase_mm: float | None
    height_mm: float | None

    @staticmethod
    def given(data: CarData) -> Levels:
        """Those of the car file: the percentages are then those of the measures."""
        return Levels(data.wheelbase_mm, data.cg_height_mm)


def levels(axles: Sequence[AxleConstruction]) -> Levels:
    """The wheelbase between the contact points where both axles are there, else the car file's; the height likewise."""
    data = axles[0].data
    base = data.wheelbase_mm
    if len(axles) > 1:
        base = ahead_mm(axles[0]) - ahead_mm(axles[1])
    found = [
        float(a.ground.over(a.ground.mass_centre)[2])
        for a in axles
        if a.ground is not None and a.ground.mass_centre is not None
    ]
    return Levels(base, float(np.mean(found)) if found else data.cg_height_mm)


def ahead_mm(axle: AxleConstruction) -> float:
    """X of the middle of the axle's contact points along the ground, in the frame of the car."""
    if axle.ground is None:
        return 0.0
    along = axle.ground.axes[0]
    return float(axle.ground.middle @ along + axle.shift_mm * along[0])


def side_frame(seen: Sequence[AxleOnPlane], on: Levels) -> Frame:
    """What the side view shows: wheels, and the support lines to the place where each is read."""
    radius = max(s.axle.radius_mm or 0.0 for s in seen)
    if all(s.axle.ground is None for s in seen):
        every = np.concatenate([s.plane.flat(np.stack([*s.axle.wheels[0].points.values()])) for s in seen])
        return Frame(every.min(axis=0) - 100.0, every.max(axis=0) + 100.0)
    level = min(s.ground_mm for s in seen)
    high = max(s.ground_mm for s in seen)
    xs = [float(s.plane.flat(w.lines.contact)[0]) for s in seen for w in s.axle.wheels[:1] if w.lines is not None]
    if len({s.axle.axle for s in seen}) == 1:  # room for the other axle
        base = on.wheelbase_mm or 8 * radius
        ahead = -1.0 if seen[0].axle.axle == "front" else 1.0
        xs.append(xs[0] + seen[0].plane.sign * ahead * base)
    room = 1.9 * radius
    above = max(float(s.plane.flat(p)[1]) for s in seen for p in s.axle.wheels[0].points.values()) - high
    top = max(2.45 * radius, 1.35 * (on.height_mm or 0.0), above + 0.15 * radius)
    low, high_corner = (min(xs) - room, level - 0.24 * radius), (max(xs) + room, high + top)
    return Frame(np.array(low), np.array(high_corner))


def side_view(drawing: Drawing, seen: Sequence[AxleOnPlane], frame: Frame, on: Levels, detailed: bool = False) -> None:
    """Draw the support lines of one axle or of both, left wheels."""
    if all(s.axle.ground is None for s in seen):
        for one in seen:
            draw_linkage(drawing, one.plane, one.axle.wheels[0])
        return
    draw_ground(drawing, frame, seen[0].ground_mm)
    for one in seen:
        draw_chassis(drawing, one)
    for one in seen:
        _tyre_from_aside(drawing, one)
        draw_linkage(drawing, one.plane, one.axle.wheels[0], all_bodies=detailed)
    later: list[_Later] = []
    for one in seen:
        lines = one.axle.wheels[0].lines
        if lines is not None:
            later += _side_centre(drawing, one, frame, lines, detailed)
            row = 0
            for support in sorted(lines.supports, key=lambda s: s.share):
                at_wheel = len(seen) > 1 and support.share > 0.95
                said = _support(drawing, one, lines, support, on, at_wheel, row if detailed else None)
                row, later = row + bool(said), [*later, *said]
    _mass_centre(drawing, seen, frame, on)
    placer = Placer(drawing, frame)
    placer.learn()
    for one_of in later:
        placer.words("text", one_of.at, one_of.text, aim=one_of.aim, **one_of.look)


@dataclass(frozen=True, slots=True)
class _Later:
    """Words near a place, written when all lines are drawn that they should not stand on."""

    at: Array
    text: str
    aim: float
    look: dict[str, Any]


def _tyre_from_aside(drawing: Drawing, seen: AxleOnPlane) -> None:
    radius = float(seen.axle.radius_mm or 0.0)
    centre = seen.plane.flat(seen.axle.wheels[0].centre)
    drawing.path("links", circle(centre, radius), closed=True, fill="tyre", tint=0.8, width=1.1)
    drawing.path("links", circle(centre, 0.62 * radius), closed=True, colour="mid", width=0.7)
    for way in (np.array([1.0, 0.0]), np.array([0.0, 1.0])):
        reach = 0.8 * drawing.height * way
        drawing.line("links", centre - reach, centre + reach, width=1.0)


def _side_centre(
    drawing: Drawing, seen: AxleOnPlane, frame: Frame, lines: WheelLines, detailed: bool
) -> list[_Later]:
    """The side-view instant centre with its line, or a pointer to it; the lines of the arms in full drawings."""
    plane, found = seen.plane, lines.side
    centre, ground = plane.flat(found.place), seen.axle.ground
    over = found.place if ground is None else (ground.over(found.place) if not detailed else found.place)
    told = place_words("xz", np.asarray(over)[[0, 2]])
    if detailed:
        arm_lines(drawing, plane, frame, found, body_colours(seen.axle.wheels[0].bodies))
    start = plane.flat(lines.contact if detailed else seen.axle.wheels[0].centre)
    look: dict[str, Any] = {} if detailed else {"colour": "construction", "dash": "dashed", "width": 0.9}
    if frame.holds(centre):
        drawing.line("lines", start, centre, **look)
        drawing.mark("lines", centre, "square", 0.5, colour="construction")
        return [_Later(centre, f"instant centre, {seen.axle.axle}\n{told}", 0.0, {"colour": "construction"})]
    way = plane.turned(found.direction)
    aim = start + 1e6 * way if detailed or not np.isfinite(centre).all() else centre
    end = frame.cut(start, aim)
    if not detailed:
        radius = float(seen.axle.radius_mm or 0.0)
        end = start + (end - start) * min(1.0, 1.75 * radius / max(1e-9, float(np.hypot(*(end - start)))))
    drawing.line("lines", start, end, arrows="end", **look)
    look = {"colour": "construction", "size": SMALL}
    return [_Later(end, f"to the instant centre\n{told}", -90.0, look)]


def _support(
    drawing: Drawing,
    seen: AxleOnPlane,
    lines: WheelLines,
    support: Support,
    on: Levels,
    at_wheel: bool,
    row: int | None,
) -> list[_Later]:
    """One line from the ground up, the line of 100 % beside it, the height that it reaches; dimensions in that row."""
    if on.wheelbase_mm is None or on.height_mm is None:
        return []
    ahead, rise, percent = support.reading(seen.axle.axle, on.wheelbase_mm, on.height_mm)
    mm, foot = drawing.scale, seen.plane.flat(lines.contact)
    across = ahead * seen.plane.sign
    end, full = foot + np.array([across, rise]), foot + np.array([across, on.height_mm])
    colour = "soft" if support.driving else "construction"
    drawing.line("base", foot, full, colour=colour, width=0.7, dash="dotted")
    drawing.line("lines", foot, end, colour=colour, width=1.7)
    drawing.line("base", (full[0], foot[1]), full, width=0.7, dash="solid")
    for z in (end[1], full[1]):
        tick = 1.6 * mm
        drawing.line("base", (full[0] - tick, z), (full[0] + tick, z), colour=colour, width=1.2, dash="solid")
    drawing.mark("lines", end, "dot", 0.45, colour=colour)
    if not _is_said(drawing, full):
        words(drawing, full, "100 %", (0.0, 2.2), align="center", colour="soft", size=SMALL)
    # where the line ends at the other axle its words stand outside that wheel
    inward = -1.0 if across > 0 else 1.0
    outside = 1.1 * float(seen.axle.radius_mm or 0.0) * -inward if at_wheel else 0.0
    text = f"{support.label.lower()}\n{signed(percent)} %"
    aim = np.degrees(np.arctan2(0.6, -inward if at_wheel else inward))
    said = [_Later(end + np.array([outside, 0.0]), text, float(aim), {"colour": colour, "bold": True})]
    if row is None:
        return said
    low = np.array([full[0], foot[1]])
    drawing.dimension("dims", low, end, low - np.array([inward * 3.5 * mm, 0.0]), upright=True)
    drawing.dimension("dims", low, full, low - np.array([inward * 9.5 * mm, 0.0]), upright=True)
    drawing.dimension("dims", foot, low, low - np.array([0.0, (row + 1.0) * STEP_MM * mm]))
    return said


def _is_said(drawing: Drawing, place: Array) -> bool:
    """Whether 100 % already stands there: front and rear are read at one place where their shares make up the force."""
    near = 4.0 * drawing.height
    there = (i.at for i in drawing.items if isinstance(i, Words) and i.lines == ("100 %",))
    return any(abs(float(p[0] - place[0])) < near and abs(float(p[1] - place[1])) < near for p in there)


def _mass_centre(drawing: Drawing, seen: Sequence[AxleOnPlane], frame: Frame, on: Levels) -> None:
    if on.wheelbase_mm is None or on.height_mm is None:
        return
    first, share = seen[0], seen[0].axle.data.front_mass_share
    level = first.ground_mm + on.height_mm
    drawing.line("base", (frame.low[0], level), (frame.high[0], level), colour="soft", width=0.7)
    lines = first.axle.wheels[0].lines
    if share is None or lines is None:
        text = f"height of the mass centre {on.height_mm:.0f} mm"
        words(drawing, np.array([frame.low[0], level]), text, (1.0, 2.5), colour="soft", size=SMALL)
        return
    foot = float(first.plane.flat(lines.contact)[0])
    behind = (1.0 - share if first.axle.axle == "front" else -share) * on.wheelbase_mm
    at = np.array([foot - first.plane.sign * behind, level])
    draw_mass_centre(drawing, frame, at, first.ground_mm, "mass centre")


def side_notes(axles: Sequence[AxleConstruction], on: Levels) -> list[str]:
    """What the support lines say, and why one is not there."""
    out = []
    for axle in axles:
        lines = axle.wheels[0].lines
        if lines is None:
            out.append("no construction: loaded_radius_mm is not given")
            continue
        for s in lines.supports:
            if on.wheelbase_mm is not None and on.height_mm is not None:
                percent = s.reading(axle.axle, on.wheelbase_mm, on.height_mm)[2]
                out.append(f"{axle.axle}: {s.label.lower()} {signed(percent)} %, {_angle(axle, s)}")
        driving = "anti_lift_pct" if axle.axle == "front" else "anti_squat_pct"
        undriven = axle.data.drive not in (None, "all", axle.axle)
        left_out = {n: why for n, why in lines.left_out.items() if not (undriven and n == driving)}
        out += [f"{axle.axle}: no {name}: {why}" for name, why in left_out.items()]
    return [*out, "lines and percentages of the left wheels", *_tilt_told(axles)]


def _tilt_told(axles: Sequence[AxleConstruction]) -> list[str]:
    """Says that the tyres' ground is not level in the points' file: over travel alone it is taken so."""
    if axles[0].ground is None:
        return []
    x, _, z = axles[0].ground.axes[2]
    tilt = float(np.degrees(np.arctan2(x, z)))
    if axles[0].pitch_deg or abs(tilt) < LEAST_TILT_DEG:
        return []
    off = f"ground {abs(tilt):.2f}° off the file's level (wheel heights, radii)"
    return [f"{off}; kin3d sweep over travel takes it level"]


def _angle(axle: AxleConstruction, support: Support) -> str:
    """The rise of the line towards the other axle."""
    rise = -support.slope if axle.axle == "front" else support.slope
    return f"support angle {signed(float(np.degrees(np.arctan(rise))), 2)}°"
