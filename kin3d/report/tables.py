"""The tables of a report: points, planes, measures, causes, variances, inputs, definitions."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path

import numpy as np

from kin3d.linkage.car import Axle, Car
from kin3d.measures.table import Measure
from kin3d.report.markup import listed, mark, table, tag, text, verdict
from kin3d.studies.comparison import Comparison, Entry, Pair
from kin3d.studies.significance import Kind
from kin3d.studies.tolerance import Tolerance, half_width
from kin3d.writing.numbers import fixed, number, percent, probability, rate, signed
from kin3d.writing.wording import FIGURE_HEADS, turned

MOST_SOURCES = 5


def inputs(cars: Sequence[Car], labels: Sequence[str]) -> str:
    """Where everything was read from, with the sum by which a file is known again."""
    rows = []
    for k, (car, label) in enumerate(zip(cars, labels, strict=True)):
        rows.append([f"{mark(k)} {text(label)}", text(car.title), _file(car.source), "", ""])
        for axle in car.axles():
            for points in (axle.points, axle.other_points):
                if points is not None:
                    what = f"{axle.name} axle, {axle.side if points is axle.points else 'other side'}"
                    rows.append(["", text(what), _file(points.source), str(len(points.names)), text(_layout(axle))])
    return table(["", "what", "file and the start of its SHA-256", "points", "layout"], rows, [3])


def _layout(axle: Axle) -> str:
    keys = ", ".join(f'{k} "{v}"' for k, v in axle.layout_keys.items())
    return f"{axle.layout.name}; {keys}" if keys else axle.layout.name


def _file(path: Path) -> str:
    try:
        digest = hashlib.sha256(path.read_bytes()).hexdigest()
    except OSError:
        digest = "not there any more"
    return f"{text(path.name)}<br><code>{digest[:16]}</code>"


def findings(items: Iterable[object]) -> str:
    """Findings as a list, each once; a sentence when there are none."""
    lines = list(dict.fromkeys(str(f) for f in items))
    return listed((text(f) for f in lines), "findings") or tag("p", "Nothing was found to be amiss.")


def moves(pair: Pair) -> str:
    """Points that moved, by group."""
    rows: list[list[str]] = []
    group = ""
    for m in pair.moves:
        parts = [signed(float(v), "mm") for v in m.change]
        sigma = number(float(np.max(m.sigma_mm)), "mm") if m.sigma_mm.any() else "–"
        first = text(m.group) if m.group != group else ""
        rows.append([first, text(m.point), *parts, number(m.distance_mm, "mm"), sigma, text(m.direction)])
        group = m.group
    head = ["group", "point", "Δx mm", "Δy mm", "Δz mm", "moved mm", "σ mm", "way"]
    caption = text(f"From {pair.a.title} to {pair.b.title}, vehicle frame (x forward, y left, z up)")
    lone = tag("p", text(f"Only in one of the two: {', '.join(pair.lone)}.")) if pair.lone else ""
    return table(head, rows, [2, 3, 4, 5, 6], caption) + lone


def points(entry: Entry) -> str:
    """The points of one car with their deviations."""
    corner = entry.corner
    rows = [
        [text(n), *(number(float(v), "mm") for v in corner.places_mm[k]), *(_sigma(s) for s in corner.sigma_mm[k])]
        for k, n in enumerate(corner.names)
    ]
    return table(["point", "x mm", "y mm", "z mm", "σx", "σy", "σz"], rows, [1, 2, 3, 4, 5, 6], text(entry.title))


def _sigma(value: float) -> str:
    return fixed(float(value), 2) if value else "–"


def planes(entries: Sequence[Entry]) -> str:
    """Inclination of the wishbones' planes in both views, and their mutual angle; nothing for links."""
    first = entries[0].planes
    if not all(e.planes.planes for e in entries):
        return ""
    rows = []
    for k, plane in enumerate(first.planes):
        for name, head in turned():
            values = [fixed(float(getattr(e.planes.planes[k], name)), 2) for e in entries]
            rows.append([text(plane.body), text(head), *values])
    rows.append(["both", "between the planes", *(fixed(e.planes.mutual_deg, 2) for e in entries)])
    heads = [f"{mark(k)} {text(e.label)}" for k, e in enumerate(entries)]
    numbers = list(range(2, 2 + len(entries)))
    return table(["wishbone", "angle, deg", *heads], rows, numbers, "Planes of the wishbones")


def lines(result: Comparison, pair: Pair, names: Sequence[str] | None, kind: Kind) -> str:
    """Measures of a pair in one kind of figure, with verdicts; all measures without `names`."""
    figure = rate if kind == "rate" else number
    rows = []
    for x in pair.lines:
        if x.kind != kind or (names is not None and x.measure.name not in names):
            continue
        unit = x.measure.unit
        sign = "+" if x.difference > 0.0 and not x.same else ""
        sure = "" if x.same else ("exact" if x.exact else probability(x.probability))
        values = [_with(x.a, x.sigma_a, unit, kind), _with(x.b, x.sigma_b, unit, kind)]
        difference = f"{sign}{figure(x.difference, unit)}"
        rows.append(
            [text(x.measure.label), text(x.unit), *values, difference, figure(x.sigma, unit), sure, verdict(x.verdict)]
        )
    ours = [f"{mark(k)} {text(label)} ± σ" for k, label in ((0, pair.a.label), (_index(result, pair.b), pair.b.label))]
    head = ["measure", "unit", *ours, "difference", "± σ", "sign sure to", f"at {percent(result.threshold)}"]
    return table(head, rows, [2, 3, 4, 5, 6], text(FIGURE_HEADS[kind]))


def _index(result: Comparison, entry: Entry) -> int:
    return [e.label for e in result.entries].index(entry.label)


def _with(value: float, sigma: float, unit: str, kind: Kind) -> str:
    figure = rate if kind == "rate" else number
    uncertainty = tag("small", f" ± {figure(sigma, unit)}") if np.isfinite(sigma) else ""
    return figure(value, unit) + uncertainty


def design(entry: Entry) -> str:
    """Measures of one car in the design position with gradient and uncertainty."""
    study = entry.tolerance
    known, wide = study.uncertainty.known, half_width(0.95)
    rows = []
    sigma = np.sqrt((study.first.start_slope**2).sum(axis=1))
    slope = np.sqrt((study.first.rate_slope**2).sum(axis=1))
    for k, m in enumerate(study.measures):
        value, s = float(study.first.start[k]), float(sigma[k])
        band = f"{number(value - wide * s, m.unit)} … {number(value + wide * s, m.unit)}" if known else "–"
        gradient = _with(float(study.first.rate[k]), float(slope[k]) if known else float("nan"), m.unit, "rate")
        both = _with(value, s if known else float("nan"), m.unit, "design")
        rows.append([text(m.label), text(m.unit), both, band, gradient, text(m.sign)])
    head = ["measure", "unit", "value ± σ", "95 % band", "per mm of travel ± σ", "sign"]
    return table(head, rows, [2, 3, 4], text(f"{entry.title}, design position, bands of first order"), [5])


def parts(pair: Pair, measures: Sequence[str], kind: Kind) -> str:
    """Parts of the differences by group of points, with the remainder of the quadrature."""
    found = pair.attribution
    figures = {
        "design": (found.start_parts, found.start_difference, found.start_remainder),
        "rate": (found.rate_parts, found.rate_difference, found.rate_remainder),
    }[kind]
    grouped = found.grouped(figures[0])
    rows = []
    for k, m in enumerate(found.measures):
        if m.name in measures:
            shown = [_part(float(v[k]), m.unit, kind) for v in grouped.values()]
            total = _part(float(figures[1][k]), m.unit, kind)
            rows.append([text(m.label), text(m.unit), *shown, tag("b", total), f"{abs(float(figures[2][k])):.0e}"])
    title = "Parts of the differences by group" + (", per mm of travel" if kind == "rate" else ", design position")
    head = ["measure", "unit", *(text(g) for g in grouped), "difference", "remainder"]
    return table(head, rows, range(2, len(head)), title)


def _part(value: float, unit: str, kind: Kind) -> str:
    if kind == "design":
        return signed(value, unit)
    shown = rate(value, unit)
    return f"+{shown}" if value > 0.0 and any(c in "123456789" for c in shown) else shown


def coordinates(pair: Pair, measures: Sequence[str], most: int = 6) -> str:
    """The coordinates that make most of each difference in the design position."""
    found = pair.attribution
    rows = []
    for k, m in enumerate(found.measures):
        if m.name not in measures:
            continue
        own = found.start_parts[k]
        size = float(np.abs(own).max(initial=0.0))
        top = [c for c in np.argsort(-np.abs(own), kind="stable")[:most] if abs(own[c]) > 0.01 * size]
        if size > 1e-9:
            told = ", ".join(f"{found.causes[c]} {signed(float(own[c]), m.unit)}" for c in top)
            rows.append([text(m.label), text(m.unit), text(told)])
    head = ["measure", "unit", "coordinates, the greatest first"]
    return table(head, rows, (), "By coordinate, design position", [2])


def sources(entries: Sequence[Entry], measures: Sequence[str]) -> str:
    """Which coordinates cause most of each variance, car by car."""
    rows = []
    for k, e in enumerate(entries):
        for m, told in _sources(e.tolerance, measures):
            rows.append([f"{mark(k)} {text(e.label)}", text(m.label), told])
    caption = "Parts of the variance in the design position, first order"
    return table(["car", "measure", "causes"], rows, (), caption, [2])


def _sources(study: Tolerance, measures: Sequence[str]) -> Iterator[tuple[Measure, str]]:
    share = study.first.start_share
    for k, m in enumerate(study.measures):
        if m.name not in measures or not study.uncertainty.known:
            continue
        top = [s for s in np.argsort(-share[k], kind="stable")[:MOST_SOURCES] if share[k, s] >= 0.02]
        told = ", ".join(f"{study.uncertainty.sources[s]} {percent(float(share[k, s]))}" for s in top)
        yield m, text(told or "no uncertainty: set by figures of the car file")


def definitions(measures: Iterable[Measure]) -> str:
    """Definition, sign and source of every measure shown."""
    rows = [
        [f"{text(m.label)}<br><code>{m.name}</code>", *(text(v) for v in (m.unit, m.sign, m.definition, m.source))]
        for m in measures
    ]
    return table(["measure", "unit", "sign", "definition", "source"], rows, (), "", [2, 3, 4])

