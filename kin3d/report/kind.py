"""One car alone: what kind of car it is, its figures against the ranges that are usual.

The ranges are common practice of wishbone-suspended racing cars, no source: a figure outside of one is worth a second
look, and no mistake for that.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

from kin3d.linkage.car import Axle, Car
from kin3d.measures.entry import Measure
from kin3d.report.markup import row_picture
from kin3d.studies.report_data import AxlePart
from kin3d.studies.significance import THRESHOLD
from kin3d.studies.told import places_of
from kin3d.studies.tolerance import Tolerance
from kin3d.studies.uncertainty import half_width
from kin3d.writing.html import prose, tag
from kin3d.writing.numbers import fixed, number, percent, rate

# by measure: of the value in the design position, front and rear axle alike unless two are given
RANGES: dict[str, dict[str, tuple[float, float]]] = {
    "camber_deg": {"front": (-4.0, -0.5), "rear": (-3.0, 0.0)},
    "toe_deg": {"front": (-0.5, 0.5), "rear": (-0.1, 0.5)},
    "caster_deg": {"front": (3.0, 9.0)},
    "kingpin_deg": {"front": (3.0, 14.0)},
    "scrub_radius_mm": {"front": (-10.0, 40.0)},
    "caster_trail_mm": {"front": (5.0, 30.0)},
    "roll_centre_height_mm": {"front": (0.0, 60.0), "rear": (15.0, 100.0)},
    "anti_dive_pct": {"front": (0.0, 35.0)},
    "anti_lift_pct": {"rear": (0.0, 60.0)},
    "anti_squat_pct": {"rear": (0.0, 60.0)},
    "motion_ratio": {"front": (0.5, 1.2), "rear": (0.5, 1.2)},
}
RATES: dict[str, tuple[float, float]] = {"camber_deg": (-0.05, -0.01), "toe_deg": (-0.01, 0.01)}
WIDE, HIGH = 190.0, 18.0  # of a row's picture, px
PART = 0.5  # of the picture that the usual range takes


def kind_of_car(car: Car, parts: tuple[AxlePart, ...]) -> str:
    """Sentences and a table of figures against ranges, axle by axle."""
    out = tag("p", prose(_sentence(car, parts)), class_="lead")
    for part in parts:
        out += tag("h3", prose(f"{part.axle.capitalize()} axle")) + _axle(part)
    note = "The ranges are common practice of racing cars on wishbones, no source: what lies outside of one is worth a "
    note += f"second look, and no mistake for that. Behind ±: what the points' doubt leaves open, {percent(THRESHOLD)}."
    return out + tag("p", prose(note), class_="note")


def _sentence(car: Car, parts: tuple[AxlePart, ...]) -> str:
    said = [f"{a.name} {_layout(a)}" for a in car.axles() if a.name in [p.axle for p in parts]]
    driven = f", driven at the {car.data.drive}" if car.data.drive in ("front", "rear") else ""
    driven = ", driven at all wheels" if car.data.drive == "all" else driven
    outside = [w for p in parts for w in _outside(p)]
    tail = f" Outside of what is usual: {', '.join(outside)}." if outside else " Every figure below is usual."
    return f"{car.title}: {'; '.join(said)}{driven}.{tail}"


def _layout(axle: Axle) -> str:
    keys = axle.layout_keys
    rod = f", rod on the {keys['rod_on']}" if "rod_on" in keys else ""
    return f"{axle.layout.name}{rod}"


def _rows(part: AxlePart) -> Iterator[tuple[Measure, str, float, float, tuple[float, float]]]:
    """Measure, kind of figure, value, deviation, usual range."""
    study: Tolerance = part.comparison.cars[0].tolerance
    for k, m in enumerate(study.measures):
        usual = RANGES.get(m.name, {}).get(part.axle)
        if usual:
            yield m, "design", float(study.first.start[k]), _sigma(study, study.first.start_slope[k]), usual
    for k, m in enumerate(study.measures):
        if m.name in RATES:
            yield m, "rate", float(study.first.rate[k]), _sigma(study, study.first.rate_slope[k]), RATES[m.name]


def _sigma(study: Tolerance, slope: object) -> float:
    import numpy as np

    return float(np.sqrt((np.asarray(slope) ** 2).sum())) if study.uncertainty.known else math.nan


def _outside(part: AxlePart) -> Iterator[str]:
    for m, kind, value, _, (low, high) in _rows(part):
        if math.isfinite(value) and not low <= value <= high:
            more = "over" if value > high else "under"
            yield f"{part.axle} {m.label.lower()}{' per mm of travel' if kind == 'rate' else ''} ({more} the range)"


def _axle(part: AxlePart) -> str:
    heads = (("measure", ""), ("figure", "n"), ("usual", "n"), ("", ""), ("", ""))
    head = "".join(tag("th", h, scope="col", class_=c) if c else tag("th", h, scope="col") for h, c in heads)
    body = "".join(tag("tr", "".join(_cells(*row))) for row in _rows(part))
    title = "Figures in the design position against usual ranges"
    table = f"<thead><tr>{head}</tr></thead><tbody>{body}</tbody>"
    return tag("table", tag("caption", prose(title)) + table, class_="glance kind")


def _cells(m: Measure, kind: str, value: float, sigma: float, usual: tuple[float, float]) -> Iterator[str]:
    unit = "" if m.unit == "1" else f", {m.unit}"
    per = " per mm" if kind == "rate" else ""
    half = half_width(THRESHOLD) * sigma
    known = math.isfinite(half) and half > 1e-9 * (1.0 + abs(value))
    # as many places as the doubt leaves meaning to
    shown = fixed(value, places_of(half)) if known else (rate if kind == "rate" else number)(value, m.unit)
    doubt = f" ± {fixed(half, places_of(half))}" if known else ""
    yield tag("th", prose(m.label + per) + tag("small", prose(unit)), scope="row")
    yield tag("td", prose(shown) + tag("small", prose(doubt)), class_="n")
    places = 2 if kind == "rate" else 1 if usual[1] - usual[0] < 4.0 else 0
    yield tag("td", prose(f"{fixed(usual[0], places)} … {fixed(usual[1], places)}"), class_="n")
    yield tag("td", _bar(value, usual), class_="bar")
    yield tag("td", "usual" if usual[0] <= value <= usual[1] else "over" if value > usual[1] else "under")


def _bar(value: float, usual: tuple[float, float]) -> str:
    """Where a figure lies: the usual range is the grey bar."""
    low, high = WIDE * (0.5 - PART / 2.0), WIDE * (0.5 + PART / 2.0)
    parts = f'<rect x="{low:g}" y="4" width="{high - low:g}" height="{HIGH - 8:g}" class="doubt"/>'
    if math.isfinite(value):
        share = (value - usual[0]) / (usual[1] - usual[0])
        at = min(max(low + share * (high - low), 6.0), WIDE - 6.0)
        class_ = "full" if 0.0 <= share <= 1.0 else "open"
        parts += f'<circle cx="{at:.1f}" cy="{HIGH / 2:g}" r="4.5" class="{class_}"/>'
    return row_picture(parts, WIDE, HIGH)
