"""Why the roll centre is where it is: both cars' front views over each other, from ahead."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from kin3d.studies.compared import CarPair
from kin3d.studies.significance import THRESHOLD, Difference
from kin3d.studies.told import GroupMove
from kin3d.studies.why_parts import (
    OneCar,
    WhyView,
    arrows_said,
    bar_of,
    colour_of,
    difference_of,
    figure_words,
    told_moves,
    unnamed_bodies,
)
from kin3d.studies.why_sheet import SMALL, WhySheet
from kin3d.writing.numbers import fixed, percent

Array = NDArray[np.float64]
MEASURE = "roll_centre_height_mm"
FAR = 1.95  # instant centres within so many half tracks beyond the centre line are on the picture
TYRE = 0.72  # width of a drawn tyre over its radius; nothing is measured from it


def front_view(pair: CarPair, cars: Sequence[OneCar], width_mm: float) -> WhyView:
    """Draw the view for paper of a width."""
    x = difference_of(pair, MEASURE)
    level = THRESHOLD if x is None else x.threshold
    heights = _heights(cars, x)
    near, room = _reach(cars)
    sheet = WhySheet.laid_out("front", near, _levels(cars, heights, room), width_mm)
    _ground(sheet, cars)
    for car in cars:
        _linkage(sheet, car)
    moves = told_moves(pair, x)
    spots = [_move(sheet, cars, m, colour_of(m, x)) for m in moves] if x is not None else []
    for k, (car, height) in enumerate(zip(cars, heights, strict=True)):
        _roll_centre(sheet, car, height, bar_of(_sigma(x, k), level), -1.2 if k == 0 else 1.2)
    sheet.placer.learn()
    _say(sheet, cars, heights, x, level)
    sheet.say_moves(moves, spots, x, aim=200.0)
    if not sheet.slim:
        _names(sheet, cars, moves)
    bars = x is not None and not x.exact and bool(np.isfinite(x.sigma))
    caption = _caption(cars, bars, arrows_said(x, moves))
    missing = "The roll centres cannot be compared"
    return sheet.finished(pair, x, moves, caption, missing=missing, shown="with both roll centres")


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
    # a rod across a beam axle reaches over to the other side
    joined = [sign * b.places[:, 1] for c in cars for b in c.wheel.holding]
    inner = min([-0.55 * half, *(float(y.min()) - 25.0 for y in joined)])
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


def _ground(sheet: WhySheet, cars: Sequence[OneCar]) -> None:
    drawing, top = sheet.drawing, float(sheet.frame.high[1])
    for car in cars:
        half = TYRE * car.radius_mm / 2.0
        y = float(car.foot[1])
        corners = np.array([(y - half, 0.0), (y + half, 0.0), (y + half, top), (y - half, top)])
        drawing.path("base", corners, closed=True, width=0.0, fill="pale", tint=0.6)
    sheet.ground()
    if sheet.inner.low[0] < 0.0 < sheet.frame.high[0]:
        drawing.line("base", (0.0, float(sheet.inner.low[1])), (0.0, top), dash="chain", width=0.8)


def _linkage(sheet: WhySheet, car: OneCar) -> None:
    """Arms or links, the arms' lines produced to where they meet, the line of the contact point."""
    drawing, frame = sheet.drawing, sheet.inner
    centre, foot = sheet.on(car, car.lines.front.place), sheet.on(car, car.foot)
    meeting = car.lines.front.crossing
    arms = {arm.body: arm for arm in car.lines.front.arms}
    for body in car.wheel.holding:
        if body.name not in arms:
            drawing.path(car.layer, sheet.on(car, body.places), width=(1.1 if arms else 2.0) * car.wide)
            for end in sheet.on(car, body.places):
                drawing.mark(car.layer, end, "joint", 0.24, colour=car.layer)
            continue
        arm = arms[body.name]
        outer = sheet.on(car, arm.start)
        pivot = sheet.on(car, pivot_in_plane(body.places, arm.start[0], 0))
        drawing.line(car.layer, outer, pivot, width=2.8 * car.wide)
        for end in (outer, pivot):
            drawing.mark(car.layer, end, "joint", 0.36, colour=car.layer)
        aim = meeting if meeting is not None else arm.start + 1e6 * arm.direction
        aim_flat = sheet.on(car, aim)
        if (aim_flat - pivot) @ (pivot - outer) > 0.0:
            drawing.line(car.layer, pivot, frame.cut(pivot, aim_flat), dash="dashed", width=0.8 * car.wide)
    near = frame.holds(centre)
    along = car.lines.front.direction
    end = centre if near else frame.cut(foot, foot + 1e6 * np.array([along[1], sheet.taller * along[2]]))
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


def _roll_centre(sheet: WhySheet, car: OneCar, height: float, half: float, aside: float) -> None:
    drawing, frame, at = sheet.drawing, sheet.frame, sheet.at(0.0, height)
    if not frame.holds(at):
        return
    foot = sheet.on(car, car.foot)
    centre = sheet.on(car, car.lines.front.place)
    if frame.holds(centre) and not min(foot[0], centre[0]) <= 0.0 <= max(foot[0], centre[0]):
        drawing.line(car.layer, foot, at, width=1.5 * car.wide)
    sheet.bar(car, at, sheet.taller * half, aside)
    drawing.mark(car.layer, at, "target", 0.85, colour=car.layer, filled=False)


def _move(sheet: WhySheet, cars: Sequence[OneCar], move: GroupMove, colour: str) -> Array | None:
    """Draw the arrow of a group on its pivot; where its words belong."""
    ends = _ends(sheet, cars, move)
    if ends is None:
        return None
    start, end = ends
    sheet.arrow(start, end, colour)
    return np.asarray((start + end) / 2.0)


def _ends(sheet: WhySheet, cars: Sequence[OneCar], move: GroupMove) -> tuple[Array, Array] | None:
    """Where the points of a group were and are, on the paper: their middle, of an arm its pivot in the view's plane."""
    out = []
    for car in cars:
        places = [car.wheel.points[p] for p in move.points if p in car.wheel.points]
        if not places:
            return None
        arm = next((a for a in car.lines.front.arms if _holds(car, a.body, move)), None)
        if arm is not None:
            body = next(b for b in car.wheel.bodies if b.name == arm.body)
            out.append(sheet.on(car, pivot_in_plane(body.places, arm.start[0], 0)))
        else:
            out.append(sheet.on(car, np.mean(places, axis=0)))
    return out[0], out[1]


def _holds(car: OneCar, body: str, move: GroupMove) -> bool:
    """Whether a group's points are the chassis joints of an arm."""
    arm = next((b for b in car.wheel.bodies if b.name == body), None)
    inner = [] if arm is None else list(arm.places[:2])
    return all(any(np.array_equal(car.wheel.points[p], q) for q in inner) for p in move.points)


# --- words ----------------------------------------------------------------------------------------------------------


def _say(
    sheet: WhySheet, cars: Sequence[OneCar], heights: Sequence[float], x: Difference | None, level: float
) -> None:
    order = sorted(range(2), key=lambda k: heights[k])
    for n, k in enumerate(order):
        car, height = cars[k], heights[k]
        half = bar_of(_sigma(x, k), level)
        said = f"{car.label}  roll centre {figure_words(height, half, 'mm')}"
        said += f" ({percent(level)})" if half > 0.0 else ""
        at = sheet.at(0.0, height)
        if not sheet.frame.holds(at):
            at = sheet.at(0.0, 0.0)
            said += "\n(not on the picture)"
        sheet.placer.words("text", at, said, aim=-35.0 if n == 0 else 35.0, colour=car.layer, bold=True)
    _say_centres(sheet, [cars[k] for k in order])


def _say_centres(sheet: WhySheet, rising: Sequence[OneCar]) -> None:
    """The instant centres, or where they lie; the lower line's words under it."""
    within = sheet.inner
    for car, aim in zip(rising, (-90.0, 90.0), strict=True):
        place = car.lines.front.place
        at, said = sheet.on(car, place), f"instant centre {car.label}"
        if not within.holds(at):
            foot, along = sheet.on(car, car.foot), car.lines.front.direction
            end = within.cut(foot, foot + 1e6 * np.array([along[1], sheet.taller * along[2]]))
            at, away = foot + 0.93 * (end - foot), abs(float(place[1])) / 1000.0
            told = f"{fixed(away, 1)} m from the car's middle" if np.isfinite(away) else "lines are parallel"
            said = f"to the instant centre {car.label},\n{told}"
        sheet.placer.words("text", at, said, size=SMALL, aim=aim, colour=car.layer)


def _names(sheet: WhySheet, cars: Sequence[OneCar], moves: Sequence[GroupMove]) -> None:
    """What the parts are that no move has named, for readers who do not know."""
    for car, body in unnamed_bodies(cars, moves):
        aim = -90.0 if body.part == "lower arm" else 90.0  # away from the link between the arms
        middle = sheet.on(car, body.places.mean(axis=0))
        sheet.placer.words("text", middle, body.name, size=SMALL, aim=aim, colour="soft")
    high = float(sheet.frame.high[1])
    y = float(np.mean([c.foot[1] for c in cars]))
    sheet.placer.words("text", np.array([y, high - sheet.drawing.height]), "wheel", size=SMALL, aim=0.0, colour="soft")
    if sheet.frame.holds(np.zeros(2)):
        middle = np.array([0.0, high - sheet.drawing.height])
        sheet.placer.words("text", middle, "middle of the car", size=SMALL, aim=0.0, colour="soft")


def _caption(cars: Sequence[OneCar], bars: bool, arrows: str) -> tuple[str, ...]:
    arms = max(len(c.lines.front.arms) for c in cars)
    swings = "the instant centre, about which the wheel swings as it rises"
    how = (
        f"there are no arms to be drawn on; {swings}, follows from its motion.",
        f"the arm is drawn on, dashed; it leads to {swings}.",
        f"each arm is drawn on, dashed, until both meet: {swings}.",
    )[min(arms, 2)]
    said = " Bars: where the roll centre lies, given how well the points are known." if bars else ""
    return (
        f"How to read it: {how} The line from where the tyre meets the ground to there crosses the middle of the car "
        f"in the roll centre, at the height about which the body leans in a corner.{said}{arrows}",
    )
