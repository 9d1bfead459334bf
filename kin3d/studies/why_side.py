"""Why the links hold the nose down, or the tail, as they do: both cars' side views, nose to the left."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from kin3d.studies.compared import CarPair
from kin3d.studies.significance import THRESHOLD, Difference
from kin3d.studies.told import GroupMove
from kin3d.studies.wheel_construction import Support
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
from kin3d.writing.drawing import circle
from kin3d.writing.numbers import fixed, percent

Array = NDArray[np.float64]
Reading = tuple[float, float, float] | None  # across the paper, height of 100 %, height of the line there
# the measure that an axle's view speaks of: the first that both cars have
ORDER = {"front": ("anti_dive_pct", "anti_lift_pct"), "rear": ("anti_squat_pct", "anti_lift_pct")}
BARE_SHARE = 0.55  # how far the line is drawn without figures of the car, over eight wheel radii


def side_view(pair: CarPair, cars: Sequence[OneCar], width_mm: float) -> WhyView:
    """Draw the view for paper of a width."""
    x = _chosen(pair)
    level = THRESHOLD if x is None else x.threshold
    supports = [_support(c, x) for c in cars]
    reads = [_reading(pair, k, s) if x is not None else None for k, s in enumerate(supports)]
    sheet = WhySheet.laid_out("side", _reach(cars, reads), _levels(cars, reads), width_mm)
    for car in cars:
        _wheel(sheet, car)
    sheet.ground()
    for car in cars:
        _arms(sheet, car)
    moves = told_moves(pair, x)
    spots = [_move(sheet, cars, m, colour_of(m, x)) for m in moves] if x is not None else []
    for k, (car, support, read) in enumerate(zip(cars, supports, reads, strict=True)):
        _line(sheet, car, support, read)
        if read is not None and x is not None:
            half = bar_of((x.sigma_a, x.sigma_b)[k], level) / 100.0 * read[1]
            sheet.bar(car, sheet.at(read[0], read[2]), sheet.taller * half, -1.2 if k == 0 else 1.2)
    sheet.placer.learn()
    _full(sheet, cars, reads)
    _say(sheet, cars, supports, reads, x, level)
    sheet.say_moves(moves, spots, x, aim=60.0)
    if not sheet.slim:
        _names(sheet, cars, moves)
    caption = (_caption(x, arrows_said(x, moves)),)
    return sheet.finished(pair, x, moves, caption, missing=_missing(cars), shown="with their support lines")


def _chosen(pair: CarPair) -> Difference | None:
    found = (difference_of(pair, m) for m in ORDER[pair.axle])
    return next((x for x in found if x is not None), None)


def _support(car: OneCar, x: Difference | None) -> Support | None:
    """The support line of the measure; without one the first that the wheel has."""
    there = {s.measure: s for s in car.lines.supports}
    return there.get(x.measure.name) if x is not None else next(iter(there.values()), None)


def _reading(pair: CarPair, k: int, support: Support | None) -> Reading:
    """Where the line is read; None where figures of the car are missing."""
    data = (pair.a, pair.b)[k].fitted.car.data
    if support is None or data.wheelbase_mm is None or data.cg_height_mm is None:
        return None
    ahead, rise, _ = support.reading(pair.axle, data.wheelbase_mm, data.cg_height_mm)
    return -ahead, data.cg_height_mm, rise


def _slope(car: OneCar, support: Support | None) -> float:
    """Rise of the line to the right of the paper, without exaggeration."""
    if support is not None:
        return -support.slope
    along = car.lines.side.direction
    return float(-along[2] / along[0]) if along[0] else 0.0


def _reach(cars: Sequence[OneCar], reads: Sequence[Reading]) -> tuple[float, float]:
    """What the picture shows along the car, mm behind the contact point."""
    radius = max(c.radius_mm for c in cars)
    inward = cars[0].inward
    ends = [-1.15 * radius, 1.15 * radius]
    ends += [r[0] + inward * 0.75 * radius for r in reads if r is not None] or [inward * 8.0 * BARE_SHARE * radius]
    for car in cars:
        across = np.concatenate([-(b.places[:, 0] - car.foot[0]) for b in car.wheel.holding])
        ends += [float(across.min()) - 30.0, float(across.max()) + 30.0]
    return min(ends), max(ends)


def _levels(cars: Sequence[OneCar], reads: Sequence[Reading]) -> tuple[float, float]:
    """The lowest and the highest place that is shown, mm over the ground."""
    joints = [float(b.places[:, 2].max() - c.foot[2]) for c in cars for b in c.wheel.holding]
    there = [r for r in reads if r is not None]
    return min([0.0, *(r[2] for r in there)]) - 10.0, max([*joints, *(r[1] for r in there)]) + 22.0


def _wheel(sheet: WhySheet, car: OneCar) -> None:
    ring = circle((0.0, 0.0), car.radius_mm) * [1.0, sheet.taller]
    middle = sheet.on(car, car.wheel.centre)
    sheet.drawing.path("base", middle + ring, closed=True, width=0.0, fill="pale", tint=0.6)


def _arms(sheet: WhySheet, car: OneCar) -> None:
    """Arms and links with their joints, and the wheel's centre."""
    drawing = sheet.drawing
    drawing.mark("base", sheet.on(car, car.wheel.centre), "dot", 0.25, colour=car.layer)
    for body in car.wheel.holding:
        flat_places = sheet.on(car, body.places)
        if len(flat_places) > 2:
            for inner in flat_places[:-1]:
                drawing.line(car.layer, inner, flat_places[-1], width=2.2 * car.wide)
        else:
            drawing.path(car.layer, flat_places, width=1.2 * car.wide)
        for place in flat_places:
            drawing.mark(car.layer, place, "joint", 0.3, colour=car.layer)


def _line(sheet: WhySheet, car: OneCar, support: Support | None, read: Reading) -> None:
    """The support line from the contact point, to where it is read or to the edge."""
    drawing, frame = sheet.drawing, sheet.inner
    foot = sheet.on(car, car.foot)
    drawing.mark(car.layer, foot, "dot", 0.4, colour=car.layer)
    if read is not None:
        end = sheet.at(read[0], read[2])
        drawing.line(car.layer, foot, end, width=1.5 * car.wide)
        drawing.mark(car.layer, end, "target", 0.85, colour=car.layer)
        return
    edge = frame.high[0] if car.inward > 0.0 else frame.low[0]
    end = np.array([edge, sheet.taller * _slope(car, support) * edge])
    drawing.line(car.layer, foot, frame.cut(foot, end), width=1.5 * car.wide, arrows="end")


def _move(sheet: WhySheet, cars: Sequence[OneCar], move: GroupMove, colour: str) -> Array | None:
    """Draw the arrows of a group on its points; where its words belong."""
    spots = []
    for point in move.points:
        if not all(point in c.wheel.points for c in cars):
            continue
        start, end = (sheet.on(c, c.wheel.points[point]) for c in cars)
        sheet.arrow(start, end, colour)
        spots.append((start + end) / 2.0)
    return np.asarray(spots[0]) if spots else None


# --- words ----------------------------------------------------------------------------------------------------------


def _full(sheet: WhySheet, cars: Sequence[OneCar], reads: Sequence[Reading]) -> None:
    """The mark of 100 % at the height of the mass centre, of each car or of both."""
    drawing, placer = sheet.drawing, sheet.placer
    tick = np.array([1.1 * drawing.height, 0.0])
    marks: dict[tuple[float, float], list[int]] = {}
    for k, read in enumerate(reads):
        if read is not None:
            marks.setdefault((round(read[0], 1), round(read[1], 1)), []).append(k)
    highest = max((height for _, height in marks), default=0.0)
    for (across, height), owners in marks.items():
        colour = "ink" if len(owners) > 1 else cars[owners[0]].layer
        drawing.line("axis", sheet.at(0.0, height), sheet.at(across, height), colour=colour, width=0.7, dash="chain")
        low, high = sheet.at(across, 0.0), sheet.at(across, height)
        drawing.line("axis", low, high, colour="mid", width=0.8, dash="dotted")
        placer.avoid(np.stack([sheet.at(0.0, height), high]))
        drawing.line("axis", high - tick, high + tick, colour=colour, width=1.8)
        placer.avoid(np.stack([low, high]))
        who = "" if len(owners) > 1 else f"{cars[owners[0]].label}: "
        placer.words(
            "text",
            high,
            f"{who}100 %, height of the mass centre\n{fixed(height, 0)} mm",
            size=SMALL,
            aim=180.0 if len(marks) < 2 else 120.0 if height == highest else -120.0,
            colour=colour,
        )


def _say(
    sheet: WhySheet,
    cars: Sequence[OneCar],
    supports: Sequence[Support | None],
    reads: Sequence[Reading],
    x: Difference | None,
    level: float,
) -> None:
    for k, car in enumerate(cars):
        read, support = reads[k], supports[k]
        if x is not None and read is not None:
            half = bar_of((x.sigma_a, x.sigma_b)[k], level)
            said = f"{car.label}  {x.measure.label.lower()} {figure_words((x.a, x.b)[k], half, '%')}"
            said += f" ({percent(level)})" if half > 0.0 else ""
            at = sheet.at(read[0], read[2])
        else:
            angle = float(np.degrees(np.arctan(_slope(car, support) * car.inward)))
            said = f"{car.label}  support angle {fixed(angle, 1)}°"
            edge = sheet.frame.high[0] if car.inward > 0.0 else sheet.frame.low[0]
            at = np.array([0.6 * edge, 0.6 * sheet.taller * _slope(car, support) * edge])
        mine = 0.0 if read is None else read[2]
        theirs = 0.0 if reads[1 - k] is None else (reads[1 - k] or (0.0, 0.0, 0.0))[2]
        sheet.placer.words("text", at, said, aim=150.0 if mine > theirs else -150.0, colour=car.layer, bold=True)


def _names(sheet: WhySheet, cars: Sequence[OneCar], moves: Sequence[GroupMove]) -> None:
    for car, body in unnamed_bodies(cars, moves):
        if len(body.places) > 2:
            at, aim = sheet.on(car, body.places[-1]), 90.0
        else:
            at = sheet.on(car, body.places.mean(axis=0))
            aim = 90.0 if at[1] > sheet.on(car, car.wheel.centre)[1] else -90.0
        sheet.placer.words("text", at, body.name, size=SMALL, aim=aim, colour="soft")
    car = cars[0]
    sheet.placer.words("text", sheet.on(car, car.wheel.centre), "wheel centre", size=SMALL, aim=0.0, colour="soft")


def _missing(cars: Sequence[OneCar]) -> str:
    angles = [float(np.degrees(np.arctan(_slope(c, next(iter(c.lines.supports), None)) * c.inward))) for c in cars]
    told = " and ".join(f"{fixed(a, 1)}° in {c.label}" for a, c in zip(angles, cars, strict=True))
    return f"Support angle {told}; wheelbase and mass centre are not known, so there is no percentage"


_WHAT = {
    "anti_dive_pct": "Braking loads the front wheels. The part of it that the links carry does not press the springs: "
    "that is anti-dive.",
    "anti_lift_pct": "Braking or drive unloads this axle. The part of it that the links carry does not stretch the "
    "springs: that is anti-lift.",
    "anti_squat_pct": "Drive loads the rear wheels. The part of it that the links carry does not press the springs: "
    "that is anti-squat.",
}


def _caption(x: Difference | None, arrows: str) -> str:
    line = (
        "The line rises from where the tyre meets the ground towards the centre about which the wheel swings, seen "
        "from the side."
    )
    if x is None:
        return f"How to read it: {line} The steeper it is, the more of a braking or driving force the links carry."
    bars = " Bars: how well the points let it be known." if not x.exact and np.isfinite(x.sigma) else ""
    return (
        f"How to read it: {_WHAT[x.measure.name]} {line} Where it is read, as far along the wheelbase as the axle's "
        f"share of the force, its height over that of the mass centre is the figure.{bars}{arrows}"
    )
