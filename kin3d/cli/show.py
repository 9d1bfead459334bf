"""Readable tables on the terminal."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from rich.box import SIMPLE_HEAD
from rich.console import Console
from rich.table import Table
from rich.text import Text

from kin3d.measures.table import Measure
from kin3d.solve.status import Status
from kin3d.studies.model import SIDES
from kin3d.studies.result import SweepResult
from kin3d.writing.numbers import number as number

# what the terminal shows when no measures are asked for; the files have all of them
USUAL = (
    "camber_deg",
    "toe_deg",
    "caster_deg",
    "roll_centre_height_mm",
    "anti_dive_pct",
    "anti_lift_pct",
    "anti_squat_pct",
    "motion_ratio",
    "wheel_rate_n_per_mm",
)
MOST_ROWS = 41


def show_sweep(console: Console, result: SweepResult, chosen: bool) -> None:
    """Print a sweep: drives, one side where both are the same, and the usual measures unless others were chosen.

    A table that is wider than the terminal goes on below: a figure is never cut.
    """
    shown = [m for m in result.measures if chosen or m.name in USUAL]
    both = not _alike(result)
    held = [f"{n.partition('_')[0]} {v[0]:g} {n.rpartition('_')[2]}" for n, v in result.drives.items() if len(v) == 1]
    title = ", ".join([result.title, f"{result.axle} axle", *(held if len(held) < len(result.drives) else ())])
    index = [i for i in np.ndindex(result.status.shape) if both or i[-1] == 0]
    console.print(title, style="bold", highlight=False, markup=False)
    for block in _blocks(result, shown, index[:MOST_ROWS], both, console.width):
        console.print(_table(result, block, index[:MOST_ROWS], both))
    _notes(console, result, shown, chosen, len(index), both)


def _blocks(
    result: SweepResult, shown: Sequence[Measure], index: Sequence[tuple[int, ...]], both: bool, width: int
) -> list[list[Measure]]:
    """Measures in groups that fit beside the drives on one terminal line."""
    first = 9 * len(result.driven()) + 8 * both
    blocks: list[list[Measure]] = [[]]
    used = first
    for m in shown:
        cells = [number(float(result.values[m.name][i]), m.unit) for i in index]
        need = max(map(len, [*cells, *_head(m.name, m.unit).split("\n")])) + 2
        if blocks[-1] and used + need > width:
            blocks.append([])
            used = first
        blocks[-1].append(m)
        used += need
    return blocks


def _table(
    result: SweepResult, block: Sequence[Measure], index: Sequence[tuple[int, ...]], both: bool
) -> Table:
    table = Table(header_style="bold", box=SIMPLE_HEAD)
    for name in result.driven():
        table.add_column(_head(name, name.rpartition("_")[2]), justify="right", no_wrap=True)
    if both:
        table.add_column("side", no_wrap=True)
    for m in block:
        table.add_column(_head(m.name, m.unit), justify="right", no_wrap=True)
    for i in index:
        table.add_row(*_cells(result, i, block, both))
    return table


def _alike(result: SweepResult) -> bool:
    """Whether left and right show the same figures, so that one side says it all."""
    same_by_mirror = [v for n, v in result.values.items() if n in USUAL]
    equal = [np.allclose(v[..., 0], v[..., 1], rtol=1e-9, atol=1e-9, equal_nan=True) for v in same_by_mirror]
    return all(equal)


def _cells(result: SweepResult, index: tuple[int, ...], shown: Sequence[Measure], both: bool) -> list[str | Text]:
    position = dict(zip(result.drives, index, strict=False))
    cells: list[str | Text] = [f"{result.drives[n][position[n]]:g}".replace("-", "−") for n in result.driven()]
    if both:
        cells.append(SIDES[index[-1]])
    if result.status[index] != Status.OK:
        gone = Text(Status(int(result.status[index])).name.lower(), "yellow")
        return [*cells, gone, *[""] * (len(shown) - 1)]
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
    for name, reason in result.left_out.items():
        console.print(f"left out: {name}: {reason}", highlight=False, markup=False, style="dim")
    console.print(
        f"{result.status.size} positions solved to {result.closure_mm:.0e} mm in every length.",
        highlight=False,
        style="dim",
    )


def show_design(console: Console, result: SweepResult, title: str) -> None:
    """Print the design position: a row a measure, with its sign."""
    table = Table(title=title, title_justify="left", title_style="bold", header_style="bold", box=SIMPLE_HEAD)
    table.add_column("measure", no_wrap=True)
    table.add_column("value", justify="right", no_wrap=True)
    table.add_column("unit", no_wrap=True)
    table.add_column("positive when")
    group = ""
    for m in result.measures:
        if m.group != group and group:
            table.add_section()
        group = m.group
        value = number(float(result.values[m.name].reshape(-1, 2)[0, 0]), m.unit)
        table.add_row(m.name, value, m.unit, m.sign.removesuffix(" positive").removesuffix(":"))
    console.print(table)
