"""What the two views of a why-figure have in common: the two cars on one ground, heights drawn taller, axes, bars.

Across the paper a millimetre is a millimetre to scale; heights are drawn so much taller that the cars can be told
apart, and the axis says how much.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kin3d.studies.compared import CarPair, ComparedCar
from kin3d.studies.construction import AxleConstruction, construct_at
from kin3d.studies.significance import UNSAID, Difference
from kin3d.studies.told import GroupMove, finding, moves_of, places_of, worth_telling
from kin3d.studies.uncertainty import half_width
from kin3d.studies.wheel_construction import DrawnWheel, ViewName, WheelLines
from kin3d.writing.drawing import Drawing, Frame, Layer
from kin3d.writing.lettering import block_size, type_size
from kin3d.writing.numbers import fixed
from kin3d.writing.placing import Placer
from kin3d.writing.style import CAR_NAMES

Array = NDArray[np.float64]
TALLER = (1.0, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 8.0)
SLIM_MM = 120.0  # a narrower picture is drawn as tall as it is wide, and leaves out the names of the parts
STEPS_MM = (10.0, 20.0, 50.0, 100.0, 200.0, 500.0, 1000.0, 2000.0)
LAYERS = {
    **{n: Layer(n, "solid", 1.4 if k else 2.4) for k, n in enumerate(CAR_NAMES)},
    "base": Layer("mid", "solid", 0.8),
    "axis": Layer("soft", "solid", 0.8),
    "arrows": Layer("ink", "solid", 1.3),
    "text": Layer("ink"),
}
SMALL = 0.9
# heights of capitals: left of one axis, under the other, under what is drawn
AXIS_LEFT, AXIS_FOOT, AXIS_ROOM = 4.2, 4.2, 7.4


@dataclass(frozen=True, slots=True)
class OneCar:
    """One of the two cars, its contact point at the origin of heights.

    Attributes
    ----------
    layer : str
        Its colour.
    label, title : str
    wheel : DrawnWheel
    lines : WheelLines
    radius_mm : float
    inward : float
        +1 where the rest of the car lies to the right of the wheel in the side view: for a front wheel.
    """

    layer: str
    label: str
    title: str
    wheel: DrawnWheel
    lines: WheelLines
    radius_mm: float
    inward: float

    @property
    def wide(self) -> float:
        """How much wider its lines are: where both cars agree, the first shows under the second."""
        return 1.65 if self.layer == "car a" else 1.0

    @property
    def foot(self) -> Array:
        """The contact point, vehicle frame."""
        return self.lines.contact


@dataclass(frozen=True, slots=True)
class Flat:
    """From a car's places to the paper.

    Attributes
    ----------
    view : {"front", "side"}
    side : float
        +1 for a left wheel.
    taller : float
        How many times taller heights are drawn.
    """

    view: ViewName
    taller: float

    def on(self, car: OneCar, places: Array) -> Array:
        """Places (…, 3) on the paper, (…, 2): y to the right, or x to the left from the contact point; over ground."""
        p = np.asarray(places, dtype=float)
        across = p[..., 1] if self.view == "front" else -(p[..., 0] - car.foot[0])
        return np.stack([across, self.taller * (p[..., 2] - car.foot[2])], axis=-1)

    def at(self, across: float, height: float) -> Array:
        """A place on the paper by its two figures."""
        return np.array([across, self.taller * height])


@dataclass(frozen=True, slots=True)
class WhyView:
    """One view of a why-figure, drawn.

    Attributes
    ----------
    title : str
        The finding.
    seen : str
        What is seen, and from where.
    scale : str
        How much taller heights are drawn.
    caption : tuple of str
        How the picture is to be read, in words for everybody; a paragraph each.
    described : str
        What it shows, for those who cannot see it.
    moves : bool
        Whether arrows say what raises and lowers the figure.
    """

    title: str
    seen: str
    scale: str
    caption: tuple[str, ...]
    described: str
    drawing: Drawing
    frame: Frame
    moves: bool

    @property
    def subtitle(self) -> str:
        """What is seen, and how much taller heights are drawn."""
        return f"{self.seen} {self.scale}"


def car_colour(car: ComparedCar) -> str:
    """Name of the colour that a car has everywhere, by its letter."""
    return CAR_NAMES[(ord(car.label) - ord("A")) % len(CAR_NAMES)]


def two_cars(pair: CarPair, constructions: Sequence[AxleConstruction]) -> list[OneCar]:
    """The cars of a pair as they are drawn; empty where one has no loaded radius.

    Parameters
    ----------
    constructions : sequence of AxleConstruction
        Of the pair's cars in the design position.
    """
    out, inward = [], 1.0 if pair.axle == "front" else -1.0
    for car, one in zip((pair.a, pair.b), constructions, strict=True):
        wheel = one.wheel(pair.side)
        if wheel.lines is None or one.radius_mm is None:
            return []
        out.append(OneCar(car_colour(car), car.label, car.title, wheel, wheel.lines, one.radius_mm, inward))
    return out


def constructions_of(pair: CarPair) -> list[AxleConstruction]:
    """Both cars of a pair in the design position."""
    return [construct_at(c.fitted.car, pair.axle, [0.0])[0] for c in (pair.a, pair.b)]


def difference_of(pair: CarPair, measure: str) -> Difference | None:
    """The difference of a measure in the design position; None where a car lacks it."""
    return next((x for x in pair.differences if x.measure.name == measure and x.kind == "design"), None)


# --- figures --------------------------------------------------------------------------------------------------------


def bar_of(sigma: float, threshold: float) -> float:
    """Half width of the band about one car's figure; 0 where nothing is known of its doubt."""
    return half_width(threshold) * sigma if np.isfinite(sigma) else 0.0


def figure_words(value: float, bar: float, unit: str) -> str:
    """``24 ± 5 mm``; without a bar one decimal place."""
    after = f" {unit}" if unit else ""
    if bar <= 1e-9 * (1.0 + abs(value)):
        return f"{fixed(value, 1)}{after}"
    places = places_of(bar)
    return f"{fixed(value, places)} ± {fixed(bar, places)}{after}"


def told_moves(pair: CarPair, x: Difference | None) -> list[GroupMove]:
    """The causes that are drawn: none where the difference is none."""
    if x is None or x.same or x.hidden or not np.isfinite(x.difference):
        return []
    return worth_telling(moves_of(pair, x.measure.name), x.difference)


def title_of(pair: CarPair, x: Difference | None, missing: str) -> str:
    """The finding, or what is missing for one."""
    return missing if x is None else finding(x, pair)


def share_words(move: GroupMove, x: Difference) -> str:
    """``lower arm's inboard pivots, 14 mm up: +37 mm``, in two lines; without its share where nothing may be said."""
    who = move.who.removeprefix("the ").removeprefix("The ")
    way = move.did.removeprefix("went ")
    far = f"{fixed(move.moved_mm, 0 if move.moved_mm >= 1.0 else 1)} mm {way}" if np.isfinite(move.moved_mm) else way
    if x.verdict == UNSAID:
        return f"{who}\n{far or 'differ'}"
    places = places_of(x.half_width) if np.isfinite(x.half_width) and not x.exact else 1
    after = {"%": " points", "1": ""}.get(x.measure.unit, f" {x.measure.unit}")
    return f"{who}\n{far or 'differ'}: {'+' if move.part > 0.0 else ''}{fixed(move.part, places)}{after}"


def arrows_said(x: Difference | None, moves: Sequence[GroupMove]) -> str:
    """What the arrows mean, and what may not be read from them."""
    if x is None or not moves:
        return ""
    if x.verdict == UNSAID:
        return (
            " Grey: how pivots moved from A to B. What each move does is not told, because the whole difference may be "
            "doubt."
        )
    return " Arrows: how pivots moved from A to B, with what each move does to the figure."


# --- what is drawn --------------------------------------------------------------------------------------------------


def taller_for(high_mm: float, scale: float, room_mm: float) -> float:
    """How many times taller heights are drawn so that they fill the paper's room."""
    return max([1.0, *(t for t in TALLER if t * high_mm / scale <= room_mm)])


def step_for(span: float, most: int) -> float:
    """Distance of ticks on an axis."""
    return next((s for s in STEPS_MM if span / s <= most), STEPS_MM[-1])


def framed(across: tuple[float, float], low: float, high: float, taller: float, h: float) -> Frame:
    """The frame with room for both axes; `h` is the height of capitals."""
    edge = np.array([(AXIS_LEFT + 1.2) * h, AXIS_ROOM * h]), np.array([1.0 * h, 3.2 * h])
    return Frame(np.array([across[0], taller * low]) - edge[0], np.array([across[1], taller * high]) + edge[1])


def inner(drawing: Drawing, frame: Frame) -> Frame:
    """The part of the frame between the axes."""
    h = drawing.height
    return Frame(frame.low + np.array([AXIS_LEFT * h, AXIS_FOOT * h]), frame.high)


def height_axis(drawing: Drawing, frame: Frame, flat: Flat, placer: Placer) -> None:
    """Heights over the ground on the left edge, and how much taller they are drawn."""
    h, x = drawing.height, float(frame.low[0]) + AXIS_LEFT * drawing.height
    low, high = float(frame.low[1]) / flat.taller, float(frame.high[1]) / flat.taller
    step = step_for(high - low, 6)
    drawing.line("axis", (x, frame.low[1]), (x, frame.high[1]))
    for z in np.arange(np.ceil(low / step), np.floor(high / step) + 1) * step:
        at = flat.at(x, z)
        if not frame.low[1] + 0.7 * h < at[1] < frame.high[1] - 0.7 * h:
            continue
        drawing.line("axis", at - (0.5 * h, 0.0), at)
        drawing.words("text", at, fixed(float(z), 0), (-1.6, 0.0), align="right", level="middle", size=SMALL)
    taller = "" if flat.taller == 1.0 else f", drawn {flat.taller:g} times as tall"
    said, top = f"mm over the ground{taller}", np.array([x, frame.high[1]])
    drawing.words("text", top, said, (1.4, -0.6), level="top", size=SMALL, colour="soft", ground=False)
    wide, high_mm = block_size([said], type_size(SMALL))
    placer.keep(top - (0.0, (high_mm + 1.2) * drawing.scale), top + np.array([(wide + 3.0) * drawing.scale, 0.0]))
    placer.keep(frame.low, np.array([x, frame.high[1]]))


def across_axis(drawing: Drawing, frame: Frame, placer: Placer, said: str) -> None:
    """Distances under the drawing, and what from."""
    h, y = drawing.height, float(frame.low[1]) + AXIS_FOOT * drawing.height
    left, right = float(frame.low[0]) + AXIS_LEFT * h, float(frame.high[0])
    step = step_for(right - left, max(3, int((right - left) / drawing.scale / 24.0)))
    drawing.line("axis", (left, y), (right, y))
    for x in np.arange(np.ceil(left / step), np.floor(right / step) + 1) * step:
        drawing.line("axis", (x, y - 0.5 * h), (x, y))
        if left + 1.5 * h < x < right - 2.5 * h:
            drawing.words("text", (x, y - 0.8 * h), fixed(float(x), 0), align="center", level="top", size=SMALL)
    drawing.words(
        "text", (right, frame.low[1]), said, align="right", level="bottom", size=SMALL, colour="soft", ground=False
    )
    placer.keep(frame.low, np.array([frame.high[0], y]))


def bar(placer: Placer, car: OneCar, at: Array, half: float, aside: float) -> None:
    """An upright bar of the band, beside its mark by so many heights of capitals; no words on either."""
    drawing, h = placer.drawing, placer.drawing.height
    reach = np.array([abs(aside) + 0.6, max(half / h, 1.0) + 0.2]) * h
    placer.keep(at - reach, at + reach)
    if half <= 0.05 * h:
        return
    middle = at + np.array([aside * h, 0.0])
    up, cap = np.array([0.0, half]), np.array([0.45 * h, 0.0])
    drawing.line(car.layer, middle - up, middle + up, width=1.6)
    for foot in (middle - up, middle + up):
        drawing.line(car.layer, foot - cap, foot + cap, width=1.6)


def colour_of(move: GroupMove, x: Difference) -> str:
    """By whether a move raises the figure or lowers it; grey where nothing may be said of it."""
    return "soft" if x.verdict == UNSAID else "raises" if move.part > 0.0 else "lowers"


def arrow(drawing: Drawing, start: Array, end: Array, colour: str) -> None:
    """From where a point was to where it is."""
    if float(np.hypot(*(end - start))) > 1.3 * drawing.height:  # a shorter one would be all head
        drawing.line("arrows", start, end, colour=colour, width=2.0, arrows="end")
