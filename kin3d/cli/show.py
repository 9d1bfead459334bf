"""Readable tables on the terminal."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from rich.box import SIMPLE_HEAD
from rich.console import Console
from rich.measure import Measurement
from rich.table import Table
from rich.text import Text

from kin3d.linkage.design import SIDES
from kin3d.measures.entry import Measure
from kin3d.solve.status import Status
from kin3d.studies.result import SweepResult
from kin3d.writing.numbers import number as number

MOST_ROWS = 41


def show_sweep(console: Console, result: SweepResult, chosen: bool) -> None:
    """Print a sweep: drives, one side where both are the same, and the usual measures unless others were chosen.

    A table that is wider than the terminal goes on below: a figure is never cut.
    """
    shown = [m for m in result.measures if chosen or m.usual]
    both = not _alike(result, shown)
    driven = result.driven()
    fixed = {n: v[0] for n, v in result.drives.items() if n not in driven}
    held = [f"{n.partition('_')[0]} {v:g} {n.rpartition('_')[2]}" for n, v in fixed.items()]
    index = [i for i in np.ndindex(result.status.shape) if both or i[-1] == 0]
    title = ", ".join([result.title, f"{result.axle} axle", *held])
    console.print(title, style="bold", highlight=False, markup=False)
    for block in _blocks(result, shown, index[:MOST_ROWS], both, console.width):
        print_whole(console, _table(result, block, index[:MOST_ROWS], both))
    _notes(console, result, shown, chosen, len(index), both)


def print_whole(console: Console, table: Table) -> None:
    """Print a table; where not even its longest words fit, wider than the terminal, so that no figure is cut."""
    least = Measurement.get(console, console.options.update(width=10_000), table).minimum
    if least > console.width:
        table.width = least
    console.print(table, crop=False)


def _blocks(
    result: SweepResult, shown: Sequence[Measure], index: Sequence[tuple[int, ...]], both: bool, width: int
) -> list[list[Measure]]:
    """Measures in groups that fit beside the drives on one terminal line."""
    first = _width([], result, index, both)
    blocks: list[list[Measure]] = [[]]
    used = first
    for m in shown:
        need = _width([m], result, index, both) - first
        if blocks[-1] and used + need > width:
            blocks.append([])
            used = first
        blocks[-1].append(m)
        used += need
    return blocks


def _width(block: Sequence[Measure], result: SweepResult, index: Sequence[tuple[int, ...]], both: bool) -> int:
    """Width of a table: each column as wide as its longest line, with three blanks, and one more for the table."""
    rows = [[cell.plain if isinstance(cell, Text) else cell for cell in _cells(result, i, block, both)] for i in index]
    heads = [*_drive_heads(result, both), *(_head(m.name, m.unit) for m in block)]
    columns = zip(*rows, strict=True) if rows else [()] * len(heads)
    return 1 + sum(3 + max(map(len, (*head.split("\n"), *cells))) for head, cells in zip(heads, columns, strict=False))


def _drive_heads(result: SweepResult, both: bool) -> list[str]:
    heads = [_head(name, name.rpartition("_")[2]) for name in result.driven()]
    return [*heads, "side"] if both else heads


def _table(result: SweepResult, block: Sequence[Measure], index: Sequence[tuple[int, ...]], both: bool) -> Table:
    table = Table(header_style="bold", box=SIMPLE_HEAD)
    for head in _drive_heads(result, both):
        table.add_column(head, justify="left" if head == "side" else "right", no_wrap=True)
    for m in block:
        table.add_column(_head(m.name, m.unit), justify="right", no_wrap=True)
    for i in index:
        table.add_row(*_cells(result, i, block, both))
    return table


def _alike(result: SweepResult, shown: Sequence[Measure]) -> bool:
    """Whether left and right have the same figures in all that is shown, so that one side says it all."""
    if not np.array_equal(result.status[..., 0], result.status[..., 1]):
        return False
    found = [result.values[m.name] for m in shown]
    return all(np.allclose(v[..., 0], v[..., 1], rtol=1e-9, atol=1e-9, equal_nan=True) for v in found)


def _cells(result: SweepResult, index: tuple[int, ...], shown: Sequence[Measure], both: bool) -> list[str | Text]:
    position = dict(zip(result.drives, index, strict=False))
    cells: list[str | Text] = [f"{result.drives[n][position[n]]:g}".replace("-", "−") for n in result.driven()]
    if both:
        cells.append(SIDES[index[-1]])
    if result.status[index] != Status.OK:
        gone = Text(Status(int(result.status[index])).name.lower(), "yellow")
        return [*cells, gone, *[""] * (len(shown) - 1)] if shown else cells
    return [*cells, *(number(float(result.values[m.name][index]), m.unit) for m in shown)]


def _head(name: str, unit: str) -> str:
    """A column's head: the measure's name without its unit, a word a line, the unit last."""
    for ending in ("_n_per_mm", "_deg_per_mm", "_mm_per_rad", "_per_mm", "_deg", "_mm", "_pct"):
        if name.endswith(ending):
            name = name.removesuffix(ending)
            break
    return "\n".join([*name.split("_"), unit if unit != "1" else "–"])


def _notes(
    console: Console, result: SweepResult, shown: Sequence[Measure], chosen: bool, count: int, both: bool
) -> None:
    if count > MOST_ROWS:
        console.print(f"{count - MOST_ROWS} more rows: write them with --out.", highlight=False)
    if not both:
        console.print("Left side; the right side shows the same figures.", highlight=False)
    if not chosen and len(shown) < len(result.measures):
        rest = len(result.measures) - len(shown)
        console.print(f"{rest} more measures: choose with --measures, or write all with --out.", highlight=False)
    if any(m.name == "motion_ratio" for m in shown):
        console.print("motion ratio: spring mm per mm of wheel travel, bump shortens positive.", highlight=False)
    show_left_out(console, result)
    console.print(_solved(result), highlight=False, style="dim")


def show_left_out(console: Console, result: SweepResult) -> None:
    """Say which measures are left out, those with one reason on one line."""
    reasons: dict[str, list[str]] = {}
    for name, reason in result.left_out.items():
        reasons.setdefault(reason, []).append(name)
    for reason, names in reasons.items():
        console.print(f"left out: {', '.join(names)}: {reason}", highlight=False, markup=False, style="dim")


def _solved(result: SweepResult) -> str:
    every, solved = result.status.size, int((result.status == Status.OK).sum())
    if not solved:
        return f"None of {every} positions was reached."
    count = f"{solved}" if solved == every else f"{solved} of {every}"
    return f"{count} positions solved to {result.closure_mm:.0e} mm in every length."


def show_design(console: Console, result: SweepResult, title: str, side: int = 0) -> None:
    """Print the design position of one side (0 left, 1 right): a row a measure, with its sign where there is room."""
    table = _design(result, title, side, signs=True)
    least = Measurement.get(console, console.options.update(width=10_000), table).minimum
    print_whole(console, table if least <= console.width else _design(result, title, side, signs=False))


def _design(result: SweepResult, title: str, side: int, *, signs: bool) -> Table:
    table = Table(title=title, title_justify="left", title_style="bold", header_style="bold", box=SIMPLE_HEAD)
    table.add_column("measure", no_wrap=True)
    table.add_column("value", justify="right", no_wrap=True)
    table.add_column("unit", no_wrap=True)
    if signs:
        table.add_column("positive when")
    group = ""
    for m in result.measures:
        if m.group != group and group:
            table.add_section()
        group = m.group
        value = number(float(result.values[m.name].reshape(-1, 2)[0, side]), m.unit)
        sign = m.sign.removesuffix(" positive").removesuffix(":")
        table.add_row(m.name, value, m.unit, *([sign] if signs else []))
    return table
