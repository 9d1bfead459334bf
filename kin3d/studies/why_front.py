"""Why the roll centre is where it is: both cars' front views over each other, from ahead."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from kin3d.studies.compared import CarPair
from kin3d.studies.significance import THRESHOLD, Difference
from kin3d.studies.told import GroupMove
from kin3d.studies.why_parts import (
    AXIS_FOOT,
    AXIS_LEFT,
    LAYERS,
    SLIM_MM,
    SMALL,
    Flat,
    OneCar,
    WhyView,
    across_axis,
    arrow,
    arrows_said,
    bar,
    bar_of,
    colour_of,
    difference_of,
    figure_words,
    framed,
    height_axis,
    inner,
    share_words,
    taller_for,
    title_of,
    told_moves,
)
from kin3d.writing.drawing import Drawing, Frame
from kin3d.writing.numbers import fixed, percent
from kin3d.writing.placing import Placer

Array = NDArray[np.float64]
MEASURE = "roll_centre_height_mm"
FAR = 1.95  # instant centres within so many half tracks beyond the centre line are on the picture
TALL = 0.5  # height of the picture over its width, about
TYRE = 0.72  # width of a drawn tyre over its radius; nothing is measured from it


def front_view(pair: CarPair, cars: Sequence[OneCar], width_mm: float) -> WhyView:
    """Draw the view for paper of a width."""
    x = difference_of(pair, MEASURE)
    level = THRESHOLD if x is None else x.threshold
    heights = _heights(cars, x)
    near, room = _reach(cars)
    scale = (near[1] - near[0]) / (width_mm - 14.0)
    low, high = _levels(cars, heights, room)
    slim = width_mm < SLIM_MM
    taller = taller_for(high - low, scale, (1.05 if slim else TALL) * width_mm)
    h = Drawing(scale, LAYERS).height
    frame = framed(near, low, high, taller, h)
    drawing = Drawing(float(frame.size[0]) / width_mm, LAYERS)
    flat, placer = Flat("front", taller), Placer(drawing, frame)
    height_axis(drawing, frame, flat, placer)
    across_axis(
        drawing, frame, placer, "mm from the car's middle" if slim else "mm from the car's middle, its left is right"
    )
    _ground(drawing, frame, cars)
    for car in cars:
        _linkage(drawing, inner(drawing, frame), flat, car)
    moves = told_moves(pair, x)
    spots = [_move(drawing, flat, cars, m, colour_of(m, x)) for m in moves] if x is not None else []
    for k, (car, height) in enumerate(zip(cars, heights, strict=True)):
        _roll_centre(placer, flat, car, height, bar_of(_sigma(x, k), level), -1.2 if k == 0 else 1.2)
    placer.learn()
    _say(placer, flat, cars, heights, x, level)
    for move, spot in zip(moves, spots, strict=True):
        if spot is not None and x is not None:
            placer.words("text", spot, share_words(move, x), aim=200.0, colour=colour_of(move, x), bold=True)
    if not slim:
        _names(placer, flat, cars)
    return WhyView(
        title=title_of(pair, x, "The roll centres cannot be compared"),
        seen=f"{pair.axle.capitalize()} axle from ahead, {pair.side} wheel.",
        scale=_taller(taller),
        caption=_caption(cars, x is not None and not x.exact and np.isfinite(x.sigma), arrows_said(x, moves)),
        described=f"Front views of {cars[0].title} and {cars[1].title} over each other, with both roll centres",
        drawing=drawing,
        frame=frame,
        moves=any(colour_of(m, x) != "soft" for m in moves) if x is not None else False,
    )


def _taller(taller: float) -> str:
    return "True scale." if taller == 1.0 else f"Heights are drawn {taller:g} times as tall as widths."


def _sigma(x: Difference | None, k: int) -> float:
    return float("nan") if x is None else (x.sigma_a, x.sigma_b)[k]


def _heights(cars: Sequence[OneCar], x: Difference | None) -> list[float]:
    """Where each car's line crosses its middle."""
    if x is not None:
        return [x.a, x.b]
    out = []
    for car in cars:
        along = car.lines.front.direction
        out.append(float(-car.foot[1] * along[2] / along[1]) if along[1] else float("inf"))
    return out


def _reach(cars: Sequence[OneCar]) -> tuple[tuple[float, float], float]:
    """What the picture shows across, mm to the left, and how high an instant centre may be to be on it."""
    sign = cars[0].wheel.sign
    outer = max(abs(float(c.foot[1])) + TYRE * c.radius_mm / 2.0 for c in cars) + 25.0
    half = max(abs(float(c.foot[1])) for c in cars)
    tall = 1.5 * max(float(c.wheel.centre[2] - c.foot[2]) for c in cars)
    inner = -0.55 * half
    for car in cars:
        y, z = sign * car.lines.front.place[1], car.lines.front.place[2] - car.foot[2]
        if np.isfinite([y, z]).all() and -FAR * half <= y <= outer and abs(z) <= tall:
            inner = min(inner, y - 0.16 * half)
        else:
            inner = min(inner, -0.9 * half)
    ends = sorted((sign * outer, sign * inner))
    return (ends[0], ends[1]), tall


def _levels(cars: Sequence[OneCar], heights: Sequence[float], room: float) -> tuple[float, float]:
    """The lowest and the highest place that is shown, mm over the ground."""
    low, high = [0.0], []
    for car in cars:
        high += [float(b.places[:, 2].max() - car.foot[2]) for b in car.wheel.holding]
        z = float(car.lines.front.place[2] - car.foot[2])
        if np.isfinite(z) and abs(z) <= room:
            low, high = [*low, z], [*high, z]
    near = [z for z in heights if abs(z) <= room]
    return min([*low, *near]) - 12.0, max([*high, *near]) + 18.0


def _ground(drawing: Drawing, frame: Frame, cars: Sequence[OneCar]) -> None:
    h = drawing.height
    left = float(frame.low[0]) + AXIS_LEFT * h
    drawing.line("base", (left, 0.0), (frame.high[0], 0.0), colour="ink", width=1.6)
    if frame.low[0] < 0.0 < frame.high[0]:
        low = float(frame.low[1]) + AXIS_FOOT * h
        drawing.line("base", (0.0, low), (0.0, frame.high[1]), dash="chain", width=0.8)
    for car in cars:
        half = TYRE * car.radius_mm / 2.0
        y = float(car.foot[1])
        corners = np.array([(y - half, 0.0), (y + half, 0.0), (y + half, frame.high[1]), (y - half, frame.high[1])])
        drawing.path("base", corners, closed=True, width=0.0, fill="pale", tint=0.6)


def _linkage(drawing: Drawing, frame: Frame, flat: Flat, car: OneCar) -> None:
    """Arms or links, the arms' lines produced to where they meet, the line of the contact point."""
    centre, foot = flat.on(car, car.lines.front.place), flat.on(car, car.foot)
    meeting = car.lines.front.crossing
    arms = {arm.body: arm for arm in car.lines.front.arms}
    for body in car.wheel.holding:
        if body.name not in arms:
            drawing.path(car.layer, flat.on(car, body.places), width=(1.1 if arms else 2.0) * car.wide)
            for end in flat.on(car, body.places):
                drawing.mark(car.layer, end, "joint", 0.24, colour=car.layer)
            continue
        arm = arms[body.name]
        outer = flat.on(car, arm.start)
        pivot = flat.on(car, pivot_in_plane(body.places, arm.start[0], 0))
        drawing.line(car.layer, outer, pivot, width=2.8 * car.wide)
        for end in (outer, pivot):
            drawing.mark(car.layer, end, "joint", 0.36, colour=car.layer)
        aim = meeting if meeting is not None else arm.start + 1e6 * arm.direction
        aim_flat = flat.on(car, aim)
        if (aim_flat - pivot) @ (pivot - outer) > 0.0:
            drawing.line(car.layer, pivot, frame.cut(pivot, aim_flat), dash="dashed", width=0.8 * car.wide)
    near = frame.holds(centre)
    along = car.lines.front.direction
    end = centre if near else frame.cut(foot, foot + 1e6 * np.array([along[1], flat.taller * along[2]]))
    drawing.line(car.layer, foot, end, width=1.5 * car.wide, arrows="" if near else "end")
    drawing.mark(car.layer, foot, "dot", 0.4, colour=car.layer)
    if near:
        drawing.mark(car.layer, centre, "square", 0.5, colour=car.layer)


def pivot_in_plane(places: Array, at: float, axis: int) -> Array:
    """Where the line through an arm's two chassis joints (its first two places) passes a plane square to an axis.

    Their middle where the line is along the plane, or passes it far from both.
    """
    first, second = places[0], places[1]
    way = second - first
    share = (at - first[axis]) / way[axis] if abs(way[axis]) > 1e-9 else 0.5
    return np.asarray(first + (share if -1.0 <= share <= 2.0 else 0.5) * way)


def _roll_centre(placer: Placer, flat: Flat, car: OneCar, height: float, half: float, aside: float) -> None:
    drawing, frame, at = placer.drawing, placer.frame, flat.at(0.0, height)
    if not frame.holds(at):
        return
    foot = flat.on(car, car.foot)
    centre = flat.on(car, car.lines.front.place)
    if frame.holds(centre) and not min(foot[0], centre[0]) <= 0.0 <= max(foot[0], centre[0]):
        drawing.line(car.layer, foot, at, width=1.5 * car.wide)
    bar(placer, car, at, flat.taller * half, aside)
    drawing.mark(car.layer, at, "target", 0.85, colour=car.layer, filled=False)


def _move(drawing: Drawing, flat: Flat, cars: Sequence[OneCar], move: GroupMove, colour: str) -> Array | None:
    """Draw the arrow of a group on its pivot; where its words belong."""
    ends = _ends(flat, cars, move)
    if ends is None:
        return None
    start, end = ends
    arrow(drawing, start, end, colour)
    return np.asarray((start + end) / 2.0)


def _ends(flat: Flat, cars: Sequence[OneCar], move: GroupMove) -> tuple[Array, Array] | None:
    """Where the points of a group were and are, on the paper: their middle, of an arm its pivot in the view's plane."""
    out = []
    for car in cars:
        places = [car.wheel.points[p] for p in move.points if p in car.wheel.points]
        if not places:
            return None
        arm = next((a for a in car.lines.front.arms if _holds(car, a.body, move)), None)
        if arm is not None:
            body = next(b for b in car.wheel.bodies if b.name == arm.body)
            out.append(flat.on(car, pivot_in_plane(body.places, arm.start[0], 0)))
        else:
            out.append(flat.on(car, np.mean(places, axis=0)))
    return out[0], out[1]


def _holds(car: OneCar, body: str, move: GroupMove) -> bool:
    """Whether a group's points are the chassis joints of an arm."""
    arm = next((b for b in car.wheel.bodies if b.name == body), None)
    inner = [] if arm is None else list(arm.places[:2])
    return all(any(np.array_equal(car.wheel.points[p], q) for q in inner) for p in move.points)


# --- words ----------------------------------------------------------------------------------------------------------


def _say(
    placer: Placer, flat: Flat, cars: Sequence[OneCar], heights: Sequence[float], x: Difference | None, level: float
) -> None:
    order = sorted(range(2), key=lambda k: heights[k])
    for n, k in enumerate(order):
        car, height = cars[k], heights[k]
        half = bar_of(_sigma(x, k), level)
        said = f"{car.label}  roll centre {figure_words(height, half, 'mm')}"
        said += f" ({percent(level)})" if half > 0.0 else ""
        at = flat.at(0.0, height)
        if not placer.frame.holds(at):
            at = flat.at(0.0, 0.0)
            said += "\n(not on the picture)"
        placer.words("text", at, said, aim=-35.0 if n == 0 else 35.0, colour=car.layer, bold=True)
    _say_centres(placer, flat, [cars[k] for k in order])


def _say_centres(placer: Placer, flat: Flat, rising: Sequence[OneCar]) -> None:
    """The instant centres, or where they lie; the lower line's words under it."""
    within = inner(placer.drawing, placer.frame)
    for car, aim in zip(rising, (-90.0, 90.0), strict=True):
        place = car.lines.front.place
        at, said = flat.on(car, place), f"instant centre {car.label}"
        if not within.holds(at):
            foot, along = flat.on(car, car.foot), car.lines.front.direction
            end = within.cut(foot, foot + 1e6 * np.array([along[1], flat.taller * along[2]]))
            at, away = foot + 0.93 * (end - foot), abs(float(place[1])) / 1000.0
            told = f"{fixed(away, 1)} m from the car's middle" if np.isfinite(away) else "lines are parallel"
            said = f"to the instant centre {car.label},\n{told}"
        placer.words("text", at, said, size=SMALL, aim=aim, colour=car.layer)


def _names(placer: Placer, flat: Flat, cars: Sequence[OneCar]) -> None:
    """What the parts are, for readers who do not know."""
    car = cars[0]
    for body in (b for b in car.wheel.bodies if b.joint is not None and b.part in ("upper arm", "lower arm")):
        if len(body.places) > 2:
            middle = flat.on(car, body.places.mean(axis=0))
            placer.words("text", middle, body.name, size=SMALL, aim=90.0, colour="soft")
    high = float(placer.frame.high[1])
    y = float(np.mean([c.foot[1] for c in cars]))
    placer.words("text", np.array([y, high - placer.drawing.height]), "wheel", size=SMALL, aim=0.0, colour="soft")
    if placer.frame.holds(np.zeros(2)):
        middle = np.array([0.0, high - placer.drawing.height])
        placer.words("text", middle, "middle of the car", size=SMALL, aim=0.0, colour="soft")


def _caption(cars: Sequence[OneCar], bars: bool, arrows: str) -> tuple[str, ...]:
    has_arms = any(c.lines.front.arms for c in cars)
    how = (
        "each arm is drawn on, dashed, until both meet: the instant centre, about which the wheel swings as it rises."
        if has_arms
        else "the wheel hangs on separate links; the instant centre, about which it swings as it rises, follows from "
        "its motion."
    )
    said = " Bars: where the roll centre lies, given how well the points are known." if bars else ""
    return (
        f"How to read it: {how} The line from where the tyre meets the ground to there crosses the middle of the car "
        f"in the roll centre, at the height about which the body leans in a corner.{said}{arrows}",
    )
