"""The whole page: head, summary, inputs, an axle after the other, definitions, how to do it again."""

from __future__ import annotations

import os
import re
from collections.abc import Mapping, Sequence
from datetime import UTC, date, datetime
from html import escape
from importlib import resources
from pathlib import Path
from tempfile import TemporaryDirectory

from kin3d.errors import Finding, RequestError
from kin3d.measures.entry import Measure
from kin3d.measures.roll_centre import MEASURES as CROSSING
from kin3d.report import figures, tables
from kin3d.report.explain import constructions, explained
from kin3d.report.gaps import gaps
from kin3d.report.glance import glance, rows_table
from kin3d.report.kind import kind_of_car
from kin3d.report.markup import colours_css, folded, listed, mark, named, section
from kin3d.report.still import still
from kin3d.report.summary import shown_measures, summary
from kin3d.report.svg import framed, standing_svg
from kin3d.studies import compare_view, tolerance_view
from kin3d.studies.compare import AS_SETTLED, Comparison
from kin3d.studies.compared import CarPair
from kin3d.studies.monte_carlo import LEVELS
from kin3d.studies.report_data import MIGRATION, AxlePart, ReportData
from kin3d.writing.files import MARK, check_place, write_file
from kin3d.writing.html import prose, tag, text
from kin3d.writing.numbers import percent

# nothing may be fetched: the page is all there is
POLICY = "default-src 'none'; style-src 'unsafe-inline'; img-src data:; script-src 'unsafe-inline'; frame-src 'self'"
# on paper nothing stays folded
UNFOLD = 'addEventListener("beforeprint", () => document.querySelectorAll("details").forEach(d => (d.open = true)));'
CAUTIONS = (
    "Results are kinematics of rigid bodies from the points given: no compliance of bushes, links or tyres.",
    "A figure is as good as the points behind it. Bands and verdicts carry the deviations given for points and "
    "figures, and nothing else: not a wrong layout, a mistaken joint, or a point read off the wrong place.",
    "Points and figures of the car file without a deviation are taken as exact; they are named beside the verdicts.",
    "Strength, safety and the rule book are for qualified people and local codes.",
)


def write_report(data: ReportData, path: Path, command: str, scenes: Mapping[str, str] | None = None) -> None:
    """Write the page.

    Parameters
    ----------
    path : pathlib.Path
        ``.html``.
    command : str
        What was typed, so that it can be done again.
    scenes : mapping of axle to str, optional
        A whole HTML page with the moving linkage of each axle, shown in a frame; nothing in it may be fetched either.

    Raises
    ------
    RequestError
        For another ending, or a place that cannot be written to.
    """
    check_place(path, (".html",), "--out")
    write_file(path, render(data, command, scenes or {}))


def render(data: ReportData, command: str, scenes: Mapping[str, str], day: date | None = None) -> str:
    """The page's text; see `write_report`."""
    results = [p.comparison for p in data.axles]
    compared = any(r.pairs for r in results)
    names = [c.title for c in data.cars]
    title = " and ".join(names) if len(names) < 3 else "; ".join(names)
    parts = [_head(data, title, day or _today())]
    if compared:
        parts.append(section("summary", "What can be said", summary(results)))
    else:
        parts += [_photo(p) for p in data.axles if p.photo is not None]
        parts.append(section("summary", "What kind of car it is", kind_of_car(data.cars[0], data.axles)))
    parts += [_axle(p, scenes.get(p.axle, "")) for p in data.axles]
    parts.append(section("inputs", "What was read", _inputs(data)))
    parts.append(section("definitions", "Definitions", folded("Every measure", tables.definitions(_defined(results)))))
    cautions = listed(prose(c) for c in CAUTIONS) + (_cautions(results) if compared else "")
    parts.append(section("cautions", "Cautions", cautions))
    parts.append(section("again", "To do it again", _again(data, command)))
    style = (resources.files("kin3d.report") / "style.css").read_text("utf-8")
    head = (
        f'<meta charset="utf-8"><meta name="generator" content="{MARK}">'
        f'<meta name="viewport" content="width=device-width, initial-scale=1">'
        f'<meta http-equiv="Content-Security-Policy" content="{POLICY}">'
        f"<title>{text(title)}</title><style>{colours_css()}{style}</style>"
    )
    body = tag("div", "".join(parts), class_="page") + f"<script>{UNFOLD}</script>"
    return f'<!DOCTYPE html>\n<html lang="en"><head>{head}</head><body>{body}</body></html>\n'


def _today() -> date:
    """The date that the page carries: of SOURCE_DATE_EPOCH where that is set, so that the page can be made again."""
    given = os.environ.get("SOURCE_DATE_EPOCH", "")
    try:
        return datetime.fromtimestamp(int(given), UTC).date() if given else date.today()
    except (ValueError, OverflowError, OSError):
        text = f'SOURCE_DATE_EPOCH is "{given}"; seconds since 1970 as a whole number are expected'
        raise RequestError(Finding("date", text)) from None


def _head(data: ReportData, title: str, day: date) -> str:
    entries = data.axles[0].comparison.cars
    cars = tag("ul", "".join(tag("li", named(k, e.label, e.title)) for k, e in enumerate(entries)), class_="cars")
    links = {"summary": "What can be said" if len(entries) > 1 else "What kind of car it is"}
    links |= {p.axle: f"{p.axle.capitalize()} axle" for p in data.axles} | {"inputs": "What was read"}
    links |= {"definitions": "Definitions", "cautions": "Cautions", "again": "To do it again"}
    menu = tag("nav", "".join(tag("a", prose(v), href=f"#{k}") for k, v in links.items()), aria_label="Contents")
    kind = "Comparison of suspension linkages" if len(entries) > 1 else "Suspension linkage"
    meta = tag("p", f"{kind}. Kinematics from pickup points, {day:%d %B %Y}.", class_="meta")
    return tag("header", tag("h1", prose(title)) + meta + cars + menu)


def _photo(part: AxlePart) -> str:
    """The construction on a photograph: the picture that explains, before all figures."""
    found = part.photo
    assert found is not None
    with TemporaryDirectory() as folder:
        place = Path(folder) / "photo.svg"
        found.plot(place)
        drawing = standing_svg(place.read_text("utf-8"), f"photo{part.axle}", found.summary())
    return section(f"photo-{part.axle}", f"On the photograph, {part.axle} axle", framed(drawing))


def _cautions(results: Sequence[Comparison]) -> str:
    said = dict.fromkeys(c for r in results for p in r.pairs for c in p.cautions)
    return "".join(tag("p", prose(c), class_="note") for c in said)


def _inputs(data: ReportData) -> str:
    labels = [e.label for e in data.axles[0].comparison.cars]
    found = [*data.findings, *(f for c in data.cars for f in c.findings)]
    for part in data.axles:
        found += part.comparison.findings
        found += [f for car in part.cars for f in car.check.findings]
    fitted = dict.fromkeys(s for p in data.axles for e in p.comparison.cars for s in e.fitted.sentences)
    changed = tag("h3", "Fitted for this comparison") + listed(prose(f"{s}.") for s in fitted) if fitted else ""
    return tables.inputs(data.cars, labels) + changed + tag("h3", "Findings") + tables.findings(found)


def _axle(part: AxlePart, scene: str) -> str:
    """One axle: why, everything at a glance, motion, curves; the long tables are folded."""
    result = part.comparison
    measures = result.shown()
    content = [_first(part, pair) for pair in result.pairs] or [constructions(part)]
    if result.pairs and part.photo is not None:
        content.append(_photo(part))
    content.append(_asked(part))
    content += [_scene(part, scene), _curves(result, measures), _migration(part), gaps(part)]
    content.append(folded("Points", _points(part)))
    content.append(folded("All measures, with their doubt", _measures(result)))
    for pair in result.pairs:
        title = f"What makes the difference, {pair.a.title} to {pair.b.title}"
        content.append(folded(title, _causes(result, pair, measures)))
    content.append(folded("Where the uncertainty comes from", _sources(result, measures)))
    title = f"{part.axle.capitalize()} axle, {result.side} side"
    return section(part.axle, title, "".join(content))


def _first(part: AxlePart, pair: CarPair) -> str:
    """Why, beside all measures at a glance; then the side view."""
    found = explained(part, pair)
    rows = tag("div", glance(pair), class_="rows")
    if not found:
        reason = "A car has no loaded radius, so no construction: loaded_radius_mm is not given."
        return tag("p", reason, class_="note") + rows
    first = tag("div", tag("div", found["front"], class_="reason") + rows, class_="first")
    return first + tag("div", found["side"], class_="reason")


def _asked(part: AxlePart) -> str:
    """On the ground, in roll and in turns: every answer with its verdict, first order."""
    found = part.asked
    if found is None or not (found.answers or found.notes):
        return ""
    out = ""
    for k, pair in enumerate(part.comparison.pairs):
        groups = [(a.case.start, [x for x in a.pairs[k].differences if x.kind == "design"]) for a in found.answers]
        of_pair = f", {pair.a.title} to {pair.b.title}" if len(part.comparison.pairs) > 1 else ""
        out += rows_table(pair, groups, f"The wheels on the ground{of_pair}") if groups else ""
    out += listed((prose(n) for n in found.notes), "note")
    out += tag("p", prose(f"First order. {AS_SETTLED}"), class_="note")
    return tag("h3", "On the ground, in roll and in turns") + out


def _sources(result: Comparison, measures: Sequence[Measure]) -> str:
    out = ""
    for car in (c for c in result.cars if c.known):
        there = [m for m in measures if m in car.tolerance.measures]
        causes = tables.of_result(tolerance_view.causes_table(car.tolerance, there), measures)
        out += tag("p", named(result.cars.index(car), car.label, car.title)) + causes + _exact(car.tolerance.exact)
    return out


def _exact(names: Sequence[str]) -> str:
    return tag("p", prose(f"Without a deviation, taken as exact: {', '.join(names)}."), class_="note") if names else ""


def _scene(part: AxlePart, scene: str) -> str:
    """The moving linkage, and its still for paper."""
    shown = still(part.axle, [c.construction for c in part.cars])
    if not scene:
        return tag("h3", "The linkage in space") + shown
    title = f"Moving linkage, {part.axle} axle"
    frame = f'<iframe class="scene" loading="lazy" title="{title}" srcdoc="{escape(scene)}"></iframe>'
    return tag("h3", "The linkage in motion") + tag("div", frame, class_="screen") + tag("div", shown, class_="paper")


def _points(part: AxlePart) -> str:
    result = part.comparison
    moves = (tables.of_result(compare_view.points_table(result, p)) for p in result.pairs)
    first = "".join(moves) or tables.points(result.cars[0])
    planes = ""
    if all(c.planes.planes for c in result.cars):
        planes = tables.of_result(compare_view.planes_table(result.cars), (), result.cars)
    reach = "".join(
        tag("p", f"{mark(k)} {prose(e.title)}: {prose(_minus('; '.join(c.check.reach)))}.", class_="note")
        for k, (e, c) in enumerate(zip(result.cars, part.cars, strict=True))
    )
    return first + planes + tag("h3", "Reach of travel") + reach


def _minus(words: str) -> str:
    """True minus signs before figures."""
    return re.sub(r"(?<![\w-])-(?=\d)", "−", words)


def _measures(result: Comparison) -> str:
    out = ""
    if not result.pairs:
        study = result.cars[0].tolerance
        return out + tables.of_result(tolerance_view.design_table(study, study.measures), study.measures)
    for pair in result.pairs:
        usual = [m for m in result.shown() if m in pair.measures]
        for kind in result.kinds:
            there = pair.measures if kind == "design" else usual
            lines = compare_view.differences_table(result, pair, kind, there)
            out += tables.of_result(lines, pair.measures, result.cars)
        left_out = [f"{name}: {reason}" for name, reason in pair.not_compared.items()]
        out += listed((prose(x) for x in left_out), "note")
    return out


def _curves(result: Comparison, measures: Sequence[Measure]) -> str:
    key = "".join(tag("li", named(k, e.label, e.title)) for k, e in enumerate(result.cars))
    if any(e.known for e in result.cars):
        key += "".join(f'<li><span class="band b{100 * v:.0f}"></span> {prose(percent(v))} band</li>' for v in LEVELS)
    grid = tag("div", "".join(framed(s) for s in figures.curves(result, measures)), class_="grid")
    note = tag("p", prose(_ratio(measures)), class_="note") if _ratio(measures) else ""
    return tag("h3", "Curves over wheel travel") + tag("ul", key, class_="key") + grid + note


def _ratio(measures: Sequence[Measure]) -> str:
    """The definition of the motion ratio stands beside it, always: the word is used for the inverse too."""
    return next((f"{m.label} is {m.definition}." for m in measures if m.name == "motion_ratio"), "")


def _migration(part: AxlePart) -> str:
    out = ""
    if any(c.roll is not None for c in part.cars):
        caption = prose(next(m.definition for m in CROSSING if m.name == MIGRATION[0]))
        out = tag("h3", "Migration of the roll centre") + framed(figures.migration(part), caption, "middle")
    return out + listed((prose(m) for c in part.cars for m in c.missing), "note")


def _causes(result: Comparison, pair: CarPair, measures: Sequence[Measure]) -> str:
    found = pair.attribution
    if not found.measures:
        return tag("p", prose(compare_view.causes_reason(pair)))
    out = tag("div", "".join(framed(s) for s in figures.causes(result, pair, measures)), class_="grid")
    shown = (
        compare_view.groups_table(pair, "design", measures),
        compare_view.groups_table(pair, "rate", measures),
        compare_view.coordinates_table(pair, measures),
    )
    method = (
        "All points go from the one car to the other along straight lines at once; each part is the mean gradient "
        "along the way times the coordinate's change."
    )
    return out + "".join(tables.of_result(t, measures) for t in shown) + tag("p", method, class_="note")


def _defined(results: Sequence[Comparison]) -> list[Measure]:
    names = [m.name for r in results for e in r.cars for m in e.tolerance.measures]
    return [*shown_measures(results, list(dict.fromkeys(names))), *(m for m in CROSSING if m.name == MIGRATION[1])]


def _again(data: ReportData, command: str) -> str:
    from kin3d.version import __version__

    sampled = f"{data.samples} sampled cars (Latin hypercube), seed {data.seed}" if data.samples else "none"
    sigma = "none given" if data.sigma_mm is None else f"{data.sigma_mm:g} mm"
    facts = (
        f"Program: kin3d {__version__}.",
        f"Samples: {sampled}.",
        f"Deviation of coordinates without one: {sigma}.",
        f"Threshold of verdicts: {percent(data.threshold)}.",
        "The files are known again by the SHA-256 that stands beside them.",
    )
    return f"<pre><code>{text(command)}</code></pre>" + listed(prose(f) for f in facts)
