"""What the two views of a why-figure speak of: the two cars, what moved, and the words for it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kin3d.studies.compared import CarPair, ComparedCar
from kin3d.studies.construction import AxleConstruction, construct_at
from kin3d.studies.significance import UNSAID, Difference
from kin3d.studies.told import GroupMove, finding, moves_of, places_of, worth_telling
from kin3d.studies.uncertainty import half_width
from kin3d.studies.wheel_construction import DrawnBody, DrawnWheel, WheelLines
from kin3d.writing.drawing import Drawing, Frame
from kin3d.writing.numbers import fixed
from kin3d.writing.style import CAR_NAMES

Array = NDArray[np.float64]


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


def unnamed_bodies(cars: Sequence[OneCar], moves: Sequence[GroupMove]) -> Iterator[tuple[OneCar, DrawnBody]]:
    """The parts that hold the wheel and that no move has named, each name once: of the first car that has it."""
    named: set[str] = set()
    for car in cars:
        for body in car.wheel.holding:
            if body.name not in named and not any(f"{body.name}'s" in m.who for m in moves):
                yield car, body
            named.add(body.name)


def finding_or(pair: CarPair, x: Difference | None, missing: str) -> str:
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


def colour_of(move: GroupMove, x: Difference) -> str:
    """By whether a move raises the figure or lowers it; grey where nothing may be said of it."""
    return "soft" if x.verdict == UNSAID else "raises" if move.part > 0.0 else "lowers"
