"""The tables of a report: those of its results, with marks of the cars, and what was read and defined."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Sequence
from pathlib import Path

from kin3d.linkage.car import Axle, Car
from kin3d.measures.entry import Measure
from kin3d.report.markup import listed, mark, verdict
from kin3d.studies.compared import ComparedCar
from kin3d.writing.html import html_table, tag, text
from kin3d.writing.tables import Cell, Column, Table


def of_result(table: Table, measures: Iterable[Measure] = (), cars: Sequence[ComparedCar] = ()) -> str:
    """A table of a result: measures by their labels, cars with their marks, verdicts with their signs.

    Parameters
    ----------
    measures : iterable of Measure
        Those that the table may speak of.
    cars : sequence of ComparedCar
        Every car of the page, in order; a column that stands for one of them has its mark.
    """
    labels = {m.name: m.label if m.unit == "1" else f"{m.label}, {m.unit}" for m in measures}
    show = {"measure": lambda name: text(labels.get(name, name)), "said": verdict}
    marks = {c.label: mark(k) for k, c in enumerate(cars)}
    labelled = {c.name: (c.head or c.name).split(" ")[0] for c in table.columns}
    ours = {name: marks[label] for name, label in labelled.items() if label in marks}
    return html_table(table, show=show, marks=ours)


def inputs(cars: Sequence[Car], labels: Sequence[str]) -> str:
    """Where everything was read from, with the sum by which a file is known again."""
    rows: list[tuple[Cell, ...]] = []
    for car, label in zip(cars, labels, strict=True):
        rows.append((label, car.title, _file(car.source), None, ""))
        for axle in car.axles():
            for points in (axle.points, axle.other_points):
                if points is not None:
                    what = f"{axle.name} axle, {axle.side if points is axle.points else 'other side'}"
                    rows.append(("", what, _file(points.source), len(points.names), _layout(axle)))
    columns = (
        Column("car", text=True),
        Column("what", text=True),
        Column("file", head="file and the start of its SHA-256", text=True),
        Column("points"),
        Column("layout", text=True),
    )
    marks = {label: f"{mark(k)} {text(label)}" for k, label in enumerate(labels)}
    return html_table(Table.of("inputs", columns, rows), show={"car": lambda name: marks.get(name, "")})


def _layout(axle: Axle) -> str:
    keys = ", ".join(f'{k} "{v}"' for k, v in axle.layout_keys.items())
    return f"{axle.layout.name}; {keys}" if keys else axle.layout.name


def _file(path: Path) -> str:
    try:
        digest = hashlib.sha256(path.read_bytes()).hexdigest()[:16]
    except OSError:
        digest = "not there any more"
    return f"{path.name}\n{digest}"


def findings(items: Iterable[object]) -> str:
    """Findings as a list, each once; a sentence when there are none."""
    lines = list(dict.fromkeys(str(f) for f in items))
    return listed((text(f) for f in lines), "findings") or tag("p", "Nothing was found to be amiss.")


def points(car: ComparedCar) -> str:
    """The points of one car with their deviations."""
    corner = car.corner
    columns = (
        Column("point", text=True),
        *(Column(f"{axis}_mm", "mm", head=f"{axis} mm") for axis in "xyz"),
        *(Column(f"sigma_{axis}_mm", head=f"σ{axis}", places=2) for axis in "xyz"),
    )
    rows = [
        (name, *(float(v) for v in corner.places_mm[k]), *(float(s) or "–" for s in corner.sigma_mm[k]))
        for k, name in enumerate(corner.names)
    ]
    return html_table(Table.of("points", columns, rows, car.title))


def definitions(measures: Iterable[Measure]) -> str:
    """Definition, sign and source of every measure shown."""
    columns = (
        Column("measure", text=True),
        Column("unit", text=True),
        *(Column(c, long=True) for c in ("sign", "definition", "source")),
    )
    rows = [(f"{m.label}\n{m.name}", m.unit, m.sign, m.definition, m.source) for m in measures]
    return html_table(Table.of("definitions", columns, rows))
