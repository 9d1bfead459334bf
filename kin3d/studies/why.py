"""The why-figure of a comparison: what changed, by how much, how sure, and which points did it, in one look."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from kin3d.errors import Finding, RequestError
from kin3d.studies.compared import CarPair
from kin3d.studies.construction import AxleConstruction
from kin3d.studies.why_front import front_view
from kin3d.studies.why_parts import WhyView, car_colour, constructions_of, two_cars
from kin3d.studies.why_side import side_view
from kin3d.writing.drawing_page import Exhibit, write_exhibits
from kin3d.writing.style import are_narrow

WIDTH_MM, NARROW_MM = 210.0, 96.0  # the narrow one as on the report's page


def why_views(
    pair: CarPair,
    constructions: Sequence[AxleConstruction] | None = None,
    width_mm: float = WIDTH_MM,
) -> tuple[WhyView, ...]:
    """Both views of a pair; none where a car has no loaded radius, so that nothing can be constructed.

    Parameters
    ----------
    constructions : sequence of AxleConstruction, optional
        Of the pair's cars in the design position, where they are at hand.
    """
    cars = two_cars(pair, constructions or constructions_of(pair))
    if not cars:
        return ()
    return front_view(pair, cars, width_mm), side_view(pair, cars, width_mm)


def exhibit(view: WhyView, pair: CarPair) -> Exhibit:
    """A view with its words, for a page of drawings."""
    key = [(car_colour(c), f"{c.label}  {c.title}") for c in (pair.a, pair.b)]
    if view.moves:
        key += [("raises", "move raises it"), ("lowers", "move lowers it")]
    return Exhibit(view.title, view.subtitle, key, view.drawing, view.frame, view.caption)


def draw_why(pairs: Sequence[CarPair], path: Path) -> None:
    """Draw the why-figure: ``.svg``, ``.pdf`` (text stays text) or ``.png``; every pair below the other.

    Raises
    ------
    RequestError
        Where a car has no loaded radius, or the cars are not compared in the design position; for another ending, or a
        place that cannot be written to.
    """
    exhibits = []
    case = pairs[0].a.tolerance.case
    if case.origin or any(case.held.values()):
        text = f"--figure draws the design position, and the cars are compared {case.start}: leave those drives out"
        raise RequestError(Finding("drives-mixed", text))
    for pair in pairs:
        views = why_views(pair, width_mm=NARROW_MM if are_narrow() else WIDTH_MM)
        if not views:
            text = "the figure needs loaded_radius_mm of both cars: without it there is no contact point to draw from"
            raise RequestError(Finding("radius-missing", text))
        exhibits += [exhibit(v, pair) for v in views]
    write_exhibits(exhibits, path, "--figure")
