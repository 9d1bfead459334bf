"""All measures at a glance: one row each, the difference over its own band of doubt against zero."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from kin3d.report.markup import row_picture, verdict_sign
from kin3d.studies.compare_view import ANSWERS
from kin3d.studies.compared import CarPair
from kin3d.studies.significance import Difference
from kin3d.studies.told import places_of, with_doubt
from kin3d.writing.html import prose, tag, text
from kin3d.writing.numbers import fixed, number, percent, rate

# figures that place or describe something and answer no question by themselves: they stand in the tables alone
NO_ANSWERS = ("isa_", "contact_x", "contact_y", "contact_z", "wheel_x", "wheel_y", "wheel_z", "front_ic", "side_ic")
GRADIENTS = (
    "camber_deg",
    "toe_deg",
    "caster_deg",
    "roll_centre_height_mm",
    "anti_dive_pct",
    "anti_squat_pct",
    "motion_ratio",
    "wheel_rate_n_per_mm",
)
WIDE, HIGH, HALF = 150.0, 18.0, 22.0  # of a row's picture, and half its band, px
REACH = 3.1  # half bands that are shown; what lies beyond has an arrow


def glance(pair: CarPair) -> str:
    """The rows of a pair: the usual measures, what changes with travel, and folded all others."""
    design = [x for x in pair.differences if x.kind == "design" and not x.measure.name.startswith(NO_ANSWERS)]
    usual = [x for x in design if x.measure.usual]
    others = [x for x in design if not x.measure.usual]
    rates = [x for x in pair.differences if x.kind == "rate" and x.measure.name in GRADIENTS]
    level = percent(pair.differences[0].threshold) if pair.differences else ""
    note = (
        f"Grey: what doubt alone can make of two equal cars ({level}). A full mark lies outside of it: the difference "
        "can be said. An open mark cannot; a square is set by figures taken as exact."
    )
    out = rows_table(pair, [("", usual), ("change per mm of wheel travel", rates)], "All at a glance, design position")
    out += tag("p", prose(note), class_="note")
    if others:
        more = rows_table(pair, [("", others)], "More measures, design position")
        out += tag("details", tag("summary", f"{len(others)} more measures") + more)
    return out


def rows_table(pair: CarPair, groups: Sequence[tuple[str, Sequence[Difference]]], title: str) -> str:
    """Rows in groups, each with its heading."""
    heads = (("measure", ""), ("A", "n"), ("", "arrow"), (pair.b.label, "n"), ("difference", "n"), ("", ""))
    head = tag("tr", "".join(tag("th", h, scope="col", class_=c) for h, c in heads))
    bodies = ""
    for name, rows in groups:
        first = f'<tr class="group"><th colspan="{len(heads)}" scope="rowgroup">{text(name)}</th></tr>' if name else ""
        bodies += tag("tbody", first + "".join(tag("tr", "".join(_cells(x))) for x in rows)) if rows else ""
    return tag("table", tag("caption", text(title)) + tag("thead", head) + bodies, class_="glance")


def _cells(x: Difference) -> Iterator[str]:
    unit = "" if x.unit == "1" else f", {x.unit}"
    yield tag("th", text(x.measure.label) + tag("small", text(unit)), scope="row")
    yield tag("td", text(_value(x, x.a)), class_="n")
    yield tag("td", "→", class_="arrow")
    yield tag("td", text(_value(x, x.b)), class_="n")
    told = "0" if x.same else with_doubt(x.difference, x, with_sign=True)
    yield tag("td", text(told.replace("± ", "±\N{NO-BREAK SPACE}")), class_="n")  # on a phone the doubt has a line
    yield tag("td", bar_picture(x) + verdict_sign(ANSWERS.get(x.verdict, "–")), class_="bar")


def _value(x: Difference, value: float) -> str:
    """A car's figure with the places of the difference's doubt."""
    if not math.isfinite(value) or x.exact or not math.isfinite(x.half_width):
        return (rate if x.kind == "rate" else number)(value, x.measure.unit)
    return fixed(value, places_of(x.half_width))


def bar_picture(x: Difference) -> str:
    """The difference over half its band, from the middle; the band is what doubt alone makes."""
    middle = WIDE / 2.0
    parts = [f'<line x1="{middle:g}" y1="1" x2="{middle:g}" y2="{HIGH - 1:g}" class="zero"/>']
    judged = math.isfinite(x.half_width) and not x.exact and not x.same
    if judged:
        band = f'<rect x="{middle - HALF:g}" y="4" width="{2 * HALF:g}" height="{HIGH - 8:g}" class="doubt"/>'
        parts.insert(0, band)
    at = _place(x) if judged else (0.0 if x.same else math.copysign(1.6, x.difference))
    if math.isfinite(at):
        parts.append(_mark(x, at, middle, judged))
    return row_picture("".join(parts), WIDE, HIGH)


def _place(x: Difference) -> float:
    if not math.isfinite(x.difference):
        return math.nan
    return x.difference / x.half_width if x.half_width > 0.0 else math.copysign(2 * REACH, x.difference)


def _mark(x: Difference, at: float, middle: float, judged: bool) -> str:
    said = ANSWERS.get(x.verdict) == "yes"
    class_ = "full" if said else "open"
    y = HIGH / 2.0
    if abs(at) > REACH:
        tip, back = (middle + math.copysign(k * HALF, at) for k in (REACH + 0.25, REACH - 0.2))
        return f'<path d="M{tip:.1f} {y:g} L{back:.1f} {y - 5:g} L{back:.1f} {y + 5:g} Z" class="{class_}"/>'
    px = middle + at * HALF
    if not judged and not x.same:
        return f'<rect x="{px - 4:.1f}" y="{y - 4:g}" width="8" height="8" class="open"/>'
    return f'<circle cx="{px:.1f}" cy="{y:g}" r="4.5" class="{class_}"/>'
