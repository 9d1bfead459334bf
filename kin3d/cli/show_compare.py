"""Tables of a comparison on the terminal."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from rich.box import SIMPLE_HEAD
from rich.console import Console
from rich.table import Table
from rich.text import Text

from kin3d.cli.show import USUAL
from kin3d.measures.table import Measure
from kin3d.studies.comparison import Comparison, Entry, Pair
from kin3d.studies.first_order import NOTHING
from kin3d.studies.significance import KINDS, Line
from kin3d.writing.numbers import fixed, number, percent, probability, rate, signed
from kin3d.writing.wording import FIGURE_HEADS, remainder_sentence, turned

Array = NDArray[np.float64]
MOST_CAUSES = 5
WIDE, MOST_WIDE = 104, 10_000  # columns from which on verdicts are written out; more than any terminal has
_NARROW = {
    "can be said": "can",
    "cannot be said from these points": "cannot",
    "no difference": "same",
    "not judged: no deviations": "–",
}
_SHORT = '"can" stands for "can be said", "cannot" for "cannot be said from these points"'
SMALL = 0.005  # part of the greatest cause that is not named


def show_comparison(console: Console, result: Comparison, chosen: bool) -> None:
    """Print every pair: points, planes, measures with verdicts, causes, cautions."""
    for pair in result.pairs:
        title = f"A: {pair.a.title}    {pair.b.label}: {pair.b.title}    ({result.axle} axle, {result.side} side)"
        console.print(title, style="bold", highlight=False, markup=False)
        for sentence in pair.b.fit.sentences:
            console.print(f"Fitted: {sentence}.", highlight=False, markup=False)
        _moves(console, pair)
        _planes(console, pair.a, pair.b)
        shown = [m for m in dict.fromkeys(x.measure for x in pair.lines) if chosen or m.name in USUAL]
        _lines(console, pair, shown, result.threshold)
        _causes(console, pair, shown)
        for name, reason in pair.not_compared.items():
            console.print(f"left out: {name}: {reason}", highlight=False, markup=False, style="dim")
        for caution in pair.cautions:
            console.print(caution, highlight=False, markup=False, style="dim")


def _table(title: str, left: tuple[str, ...], right: tuple[str, ...]) -> Table:
    table = Table(
        title=title,
        title_justify="left",
        title_style="bold",
        header_style="bold",
        box=SIMPLE_HEAD,
        pad_edge=False,
        collapse_padding=True,
    )
    for head in left:
        table.add_column(head, no_wrap=True)
    for head in right:
        table.add_column(head, justify="right", no_wrap=True)
    return table


def _moves(console: Console, pair: Pair) -> None:
    table = _table(f"Points, A to {pair.b.label}, mm", ("group", "point"), ("Δx", "Δy", "Δz", "moved"))
    table.add_column("way")
    group = ""
    for move in pair.moves:
        if move.group != group and group:
            table.add_section()
        parts = [signed(float(v), "mm") for v in move.change]
        first = move.group if move.group != group else ""
        table.add_row(first, move.point, *parts, number(move.distance_mm, "mm"), move.direction)
        group = move.group
    console.print(table)
    if pair.lone:
        console.print(f"Only in one of the two: {', '.join(pair.lone)}", highlight=False)


def _planes(console: Console, a: Entry, b: Entry) -> None:
    if not a.planes.planes or not b.planes.planes:
        return
    table = _table("Planes of the wishbones, deg", ("wishbone", "angle"), ("A", b.label, "difference"))
    theirs = {p.body: p for p in b.planes.planes}
    for plane in a.planes.planes:
        other = theirs.get(plane.body)
        if other is not None:
            for name, head in turned():
                x, y = float(getattr(plane, name)), float(getattr(other, name))
                table.add_row(plane.body, head, fixed(x, 2), fixed(y, 2), signed(y - x, "mm"))
            table.add_section()
    x, y = a.planes.mutual_deg, b.planes.mutual_deg
    table.add_row("both", "between the planes", fixed(x, 2), fixed(y, 2), signed(y - x, "mm"))
    console.print(table)


def _lines(console: Console, pair: Pair, shown: list[Measure], threshold: float) -> None:
    narrow = console.width < WIDE
    for kind in KINDS:
        table = _table(
            FIGURE_HEADS[kind],
            ("measure",),
            ("A", pair.b.label, "change" if narrow else "difference", "± σ", "sure" if narrow else "sign sure to"),
        )
        table.add_column("verdict", no_wrap=True)
        for m in shown:
            table.add_row(*_cells(pair.line(m.name, kind), narrow))
        console.print(table)
    console.print(f"Verdicts at a threshold of {percent(threshold)}{': ' + _SHORT if narrow else ''}.", highlight=False)


def _cells(x: Line, narrow: bool) -> list[str | Text]:
    plain = rate if x.kind == "rate" else number
    unit = x.measure.unit
    difference = plain(x.difference, unit)
    colour = "green" if x.verdict == "can be said" else "yellow" if "cannot" in x.verdict else "dim"
    said = Text(_NARROW.get(x.verdict, x.verdict) if narrow else x.verdict, colour)
    sure = "exact" if x.exact else probability(x.probability)
    sign = "+" if x.difference > 0.0 and any(c in "123456789" for c in difference) else ""
    cells = [plain(x.a, unit), plain(x.b, unit), sign + difference, plain(x.sigma, unit), "" if x.same else sure]
    return [x.measure.name, *cells, said]


def _causes(console: Console, pair: Pair, shown: list[Measure]) -> None:
    found = pair.attribution
    if found.reason:
        rest = "only the upright's linkage is attributed" if found.measures else "nothing can be attributed"
        console.print(f"Causes: {found.reason}; {rest}.", highlight=False, markup=False)
    if not found.measures:
        return
    names = [m.name for m in found.measures]
    grouped = found.grouped(found.start_parts)
    shown = [m for m in shown if m.name in names]
    heads = tuple("\n".join(g.split()) for g in grouped)
    table = _table("What makes the difference in the design position, by group", ("measure",), heads)
    table.add_column("sum", justify="right", no_wrap=True)
    for m in shown:
        k = names.index(m.name)
        parts = [signed(float(v[k]), m.unit) for v in grouped.values()]
        table.add_row(m.name, *parts, signed(float(found.start_difference[k]), m.unit))
    if console.measure(table, options=console.options.update(width=MOST_WIDE)).maximum <= console.width:
        console.print(table)
    else:
        console.print("What makes the difference in the design position, by group:", style="bold", highlight=False)
        _listed(console, shown, {g: v[[names.index(m.name) for m in shown]] for g, v in grouped.items()})
    _coordinates(console, pair, shown)
    console.print(remainder_sentence(found), highlight=False, markup=False)


def _coordinates(console: Console, pair: Pair, shown: list[Measure]) -> None:
    found = pair.attribution
    rows = [[x.name for x in found.measures].index(m.name) for m in shown]
    console.print("By coordinate, the greatest first:", style="bold")
    _listed(console, shown, {str(c): found.start_parts[rows, k] for k, c in enumerate(found.causes)})


def _listed(console: Console, shown: list[Measure], parts: dict[str, Array]) -> None:
    """Print a line a measure: its greatest causes with their parts; `parts` has a row a measure."""
    for k, m in enumerate(shown):
        own = {name: float(v[k]) for name, v in parts.items()}
        size = max(map(abs, own.values()), default=0.0)
        top = sorted(own, key=lambda name: -abs(own[name]))[:MOST_CAUSES]
        told = [f"{n} {signed(own[n], m.unit)}" for n in top if abs(own[n]) > SMALL * size]
        text = ", ".join(told) if size > NOTHING else "none"
        console.print(f"  {m.name:<24} {text}", highlight=False, markup=False)
