"""What is shown of a comparison: points, planes, differences with verdicts and causes; pictures."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from kin3d.measures.entry import Measure
from kin3d.studies import tolerance_view
from kin3d.studies.attribution import Attribution
from kin3d.studies.case import Case
from kin3d.studies.compared import CarPair, ComparedCar
from kin3d.studies.first_order import NOTHING
from kin3d.studies.point_changes import PLANE_ANGLES
from kin3d.studies.significance import EXACT, HIDDEN, KINDS, SAID, UNSAID, Difference, FigureKind
from kin3d.studies.told import finding
from kin3d.writing.numbers import percent, signed
from kin3d.writing.panels import draw_panels
from kin3d.writing.tables import Cell, Column, Form, Quantity, Table

if TYPE_CHECKING:
    import xarray

    from kin3d.studies.compare import Comparison

Array = NDArray[np.float64]
MOST_CAUSES = 6
WORTH_NAMING = 0.005  # part of the greatest cause under which none is named
# verdicts as a table tells them, under the head "can be said"
ANSWERS = {SAID: "yes", UNSAID: "no", HIDDEN: "no", "no difference": "same", EXACT: "exact"}


def pair_tables(result: Comparison, pair: CarPair, measures: Sequence[Measure]) -> Iterator[Table]:
    """All tables of a pair in the order in which they are read."""
    there = [m for m in measures if m in pair.measures]
    yield points_table(result, pair)
    if pair.a.planes.planes and pair.b.planes.planes:
        yield planes_table((pair.a, pair.b))
    for kind in result.kinds:
        yield differences_table(result, pair, kind, there)
    if pair.attribution.measures:
        yield groups_table(pair, "design", there)
        yield coordinates_table(pair, there)


def points_table(result: Comparison, pair: CarPair) -> Table:
    """Points that moved, by group, with the standard deviation of each movement's largest component."""
    columns = (
        Column("group", text=True),
        Column("point", text=True),
        *(Column(f"change_{axis}_mm", head=f"Δ{axis}\nmm") for axis in "xyz"),
        Column("moved_mm", head="moved\nmm"),
        Column("sigma_mm", "mm", head="σ\nmm"),
        Column("way", text=True),
    )
    rows: list[tuple[Cell, ...]] = []
    breaks = []
    for m in pair.moves:
        if not rows or m.group != rows[-1][0]:
            breaks.append(len(rows))
        parts = [Quantity(float(v), "mm", "signed") for v in m.change]
        sigma = float(m.sigma_mm.max()) if m.sigma_mm.any() else None
        rows.append((m.group, m.point, *parts, Quantity(m.distance_mm, "mm"), sigma, m.direction))
    cars = f"A: {pair.a.title} → {pair.b.label}: {pair.b.title}"
    title = f"{cars}, {result.axle} axle, {result.side} side: points"
    notes = ["Vehicle frame: x forward, y left, z up."]
    notes += [f"Fitted: {sentence}." for sentence in pair.b.fitted.sentences]
    if pair.lone:
        notes.append(f"Only in one of the two: {', '.join(pair.lone)}.")
    return Table.of(f"points-{pair.b.label}", columns, rows, title, notes, breaks)


def planes_table(cars: Sequence[ComparedCar]) -> Table:
    """Inclination of the wishbones' planes in both views, and their mutual angle; two cars with their difference."""
    columns = [Column("wishbone", text=True), Column("angle", head="angle, deg", text=True)]
    columns += [Column(c.label, places=2) for c in cars]
    rows: list[list[Cell]] = []
    bodies = [p.body for p in cars[0].planes.planes if all(p.body in [x.body for x in c.planes.planes] for c in cars)]
    for body in bodies:
        planes = [next(p for p in c.planes.planes if p.body == body) for c in cars]
        rows += [[body, head, *(float(getattr(p, name)) for p in planes)] for name, head in PLANE_ANGLES]
    rows.append(["both", "between the planes", *(c.planes.mutual_deg for c in cars)])
    if len(cars) == 2:
        columns.append(Column("difference"))
        for row in rows:
            change = float(row[3]) - float(row[2])  # type: ignore[arg-type]
            row.append(Quantity(change, "mm", "signed"))  # two places, as the angles
    key = "planes-" + "".join(c.label for c in cars)
    return Table.of(key, columns, rows, "Planes of the wishbones", breaks=range(0, len(rows), len(PLANE_ANGLES)))


def differences_title(case: Case, kind: FigureKind) -> str:
    """What a table of differences is of."""
    if kind == "design":
        return f"Measures {case.start}"
    if kind == "rate":
        return f"Gradients: change per {case.drive.unit} of {case.drive.label}, {case.start}"
    return f"Ranges: greatest less smallest value over the {case.drive.name}"


def differences_table(result: Comparison, pair: CarPair, kind: FigureKind, measures: Sequence[Measure]) -> Table:
    """Measures of a pair in one kind of figure, with verdicts."""
    columns = (
        Column("measure", text=True),
        Column("a", head="A ± σ"),
        Column("b", head=f"{pair.b.label} ± σ"),
        Column("difference", head=f"difference\n± {percent(result.threshold)}"),
        Column("said", head="can be\nsaid", text=True),
    )
    rows = [_difference(pair.difference(m.name, kind)) for m in measures]
    return Table.of(f"{kind}-{pair.b.label}", columns, rows, differences_title(result.case, kind))


def _difference(x: Difference) -> tuple[Cell, ...]:
    form: Form = "rate" if x.kind == "rate" else "number"
    change: Form = "signed rate" if x.kind == "rate" else "signed"
    unit = x.measure.unit
    return (
        x.measure.name,
        Quantity(x.a, unit, form, _worth_telling(x.sigma_a, x.a)),
        Quantity(x.b, unit, form, _worth_telling(x.sigma_b, x.b)),
        Quantity(0.0 if x.same else x.difference, unit, change, np.nan if x.exact else x.half_width),
        ANSWERS.get(x.verdict, "–"),
    )


def _worth_telling(sigma: float, value: float) -> float:
    """The deviation; NaN where it is rounding, because no point matters to the figure."""
    return sigma if sigma > NOTHING * (1.0 + abs(value)) else np.nan


def groups_table(pair: CarPair, kind: FigureKind, measures: Sequence[Measure]) -> Table:
    """Parts of the differences by group of points, in the design position or of the rates there."""
    found = pair.attribution
    parts, difference, _ = found.of(kind)
    grouped = found.grouped(parts)
    form: Form = "signed rate" if kind == "rate" else "signed"
    rows: list[tuple[Cell, ...]] = []
    for k, m in found.shown(measures):
        shown = [Quantity(float(v[k]), m.unit, form) for v in (*grouped.values(), difference)]
        rows.append((m.name, *shown))
    heads = [Column(g, head="\n".join(g.split())) for g in (*grouped, "difference")]
    case = pair.a.tolerance.case
    title = "What makes the difference, by group of points, "
    title += f"per {case.drive.unit} of {case.drive.label}" if kind == "rate" else case.start
    return Table.of(f"groups-{kind}-{pair.b.label}", (Column("measure", text=True), *heads), rows, title)


def coordinates_table(pair: CarPair, measures: Sequence[Measure]) -> Table:
    """The coordinates that make most of each difference in the design position."""
    found = pair.attribution
    rows = [(m.name, _greatest(found, k, m)) for k, m in found.shown(measures)]
    start = pair.a.tolerance.case.start
    title = f"What makes the difference {start}, by coordinate, the greatest first"
    columns = (Column("measure", text=True), Column("causes", long=True))
    notes = [causes_reason(pair), found.sentence()]
    return Table.of(f"coordinates-{pair.b.label}", columns, rows, title, [n for n in notes if n])


def _greatest(found: Attribution, k: int, m: Measure) -> str:
    own = found.start_parts[k]
    size = float(np.abs(own).max(initial=0.0))
    top = [c for c in np.argsort(-np.abs(own), kind="stable")[:MOST_CAUSES] if abs(own[c]) > WORTH_NAMING * size]
    told = ", ".join(f"{found.causes[c]} {signed(float(own[c]), m.unit)}" for c in top)
    return told if size > NOTHING else "none"


def causes_reason(pair: CarPair) -> str:
    """Why not everything could be attributed; empty when it could."""
    found = pair.attribution
    if not found.reason:
        return ""
    rest = "only the upright's linkage is attributed" if found.measures else "nothing can be attributed"
    return f"Causes: {found.reason}; {rest}."


def differences_record(result: Comparison) -> Table:
    """One row a pair of cars, measure and kind of figure."""
    names = (
        "car_a", "car_b", "measure", "unit", "figure", "a", "b", "difference", "sigma_a", "sigma_b",
        "sigma_difference", "half_width", "level", "chance_if_none", "verdict",
    )  # fmt: skip
    rows = (
        (
            pair.a.title, pair.b.title, x.measure.name, x.unit, x.kind, x.a, x.b, x.difference, x.sigma_a, x.sigma_b,
            x.sigma, x.half_width, x.threshold, x.chance, x.verdict,
        )
        for pair in result.pairs
        for x in pair.differences
    )  # fmt: skip
    return Table.of("differences", names, rows)


def parts_record(result: Comparison) -> Table:
    """One row a pair of cars, measure, position and cause; the remainder of the quadrature is the last cause."""
    names = (
        "car_a", "car_b", "measure", "unit", "figure", result.case.drive.column, "cause", "axis", "group", "moved_mm",
        "part",
    )  # fmt: skip
    rows = ((p.a.title, p.b.title, *row) for p in result.pairs for row in _parts(p.attribution, result.case))
    return Table.of("parts", names, rows)


def _parts(found: Attribution, case: Case) -> Iterator[tuple[Cell, ...]]:
    for k, m in enumerate(found.measures):
        figures = [
            ("design", case.origin, found.start_parts[k], float(found.start_remainder[k])),
            ("rate", case.origin, found.rate_parts[k], float(found.rate_remainder[k])),
        ]
        for t, at in enumerate(found.at):
            figures.append(("value", float(at), found.parts[k, :, t], float(found.remainder[k, t])))
        for figure, at, parts, remainder in figures:
            unit = m.unit if figure != "rate" else f"{m.unit}/{case.drive.unit}"
            for cause, part in zip(found.causes, parts, strict=True):
                moved = None if np.isnan(cause.change_mm) else cause.change_mm
                yield m.name, unit, figure, at, cause.name, cause.axis, cause.group, moved, float(part)
            yield m.name, unit, figure, at, "remainder", "", "", None, remainder


def dataset(result: Comparison) -> xarray.Dataset:
    """See `Comparison.dataset`."""
    import xarray

    names = list(dict.fromkeys(m.name for c in result.cars for m in c.tolerance.measures))
    units = {m.name: m.unit for c in result.cars for m in c.tolerance.measures}
    causes = list(dict.fromkeys(str(c) for p in result.pairs for c in p.attribution.causes))
    value, sigma = np.full((2, len(result.cars), len(names), len(result.case.at)), np.nan)
    for c, car in enumerate(result.cars):
        rows = [names.index(m.name) for m in car.tolerance.measures]
        value[c, rows], sigma[c, rows] = car.tolerance.first.value, car.tolerance.first.sigma
    fields = {
        "difference": "Second car less first",
        "sigma": "Its standard deviation",
        "half_width": "What doubt alone stays under, at the threshold",
        "chance": "That doubt alone makes a difference as large",
    }
    found = {f: np.full((len(result.pairs), len(names), len(KINDS)), np.nan) for f in fields}
    part = np.full((len(result.pairs), len(names), 2, len(causes)), np.nan)
    for p, pair in enumerate(result.pairs):
        for x in pair.differences:
            for f, array in found.items():
                array[p, names.index(x.measure.name), KINDS.index(x.kind)] = getattr(x, f)
        places = [causes.index(str(c)) for c in pair.attribution.causes]
        for k, m in enumerate(pair.attribution.measures):
            found_parts = pair.attribution.start_parts[k], pair.attribution.rate_parts[k]
            if pair.attribution.adds_up()[k]:
                part[p, names.index(m.name)][:, places] = found_parts
    drive = result.case.drive
    over, per = ("car", "measure", drive.column), ("pair", "measure", "figure")
    variables: dict[str, Any] = {
        "value": (over, value, {"long_name": "Value of the points as given"}),
        "sigma_first_order": (over, sigma, {"long_name": "Standard deviation, first order"}),
        **{f: (per, found[f], {"long_name": said}) for f, said in fields.items()},
        "part": (("pair", "measure", "of", "cause"), part, {"long_name": "Part of the difference"}),
    }
    coordinates: dict[str, Any] = {
        "car": [f"{c.label} {c.title}" for c in result.cars],
        "measure": names,
        "unit": ("measure", [units[n] for n in names]),
        drive.column: drive.coordinate(result.case.at),
        "pair": [f"{p.a.label} to {p.b.label}" for p in result.pairs],
        "figure": list(KINDS),
        "of": list(KINDS[:2]),
        "cause": causes,
    }
    about = {"axle": result.axle, "side": result.side, "notes": "\n".join(result.notes())}
    return xarray.Dataset(variables, coordinates, about)


def draw_curves(result: Comparison, measures: Sequence[Measure], path: Path) -> None:
    """Draw measures of all cars over the drive with bands."""
    bands = tolerance_view.BANDS if any(c.known for c in result.cars) else ()
    draw_panels(_curves_title(result, measures), curves(result, measures), path, bands)


def _curves_title(result: Comparison, measures: Sequence[Measure]) -> str:
    """What is found of the first figure of which anything can be said, the roll centre first; of which axle."""
    where = f"{result.axle} axle, {result.side} side"
    if len(result.pairs) == 1 and not result.case.origin and result.case.drive.name != "lateral":
        shown = sorted((m.name for m in measures), key=lambda n: n != "roll_centre_height_mm")
        pair = result.pairs[0]
        said = {x.measure.name: x for x in pair.differences if x.kind == "design" and x.verdict == SAID}
        if any(n in said for n in shown):
            return f"{finding(next(said[n] for n in shown if n in said), pair)}; {where}"
    names = ", ".join(f"{c.label} {c.title}" for c in result.cars)
    return f"{names}: {where}"


def curves(result: Comparison, measures: Sequence[Measure]) -> list[Any]:
    """A panel a measure, all cars in each."""
    return tolerance_view.curves([(c.title, c.tolerance) for c in result.cars], measures)
