"""Tables and sentences on the terminal: set out for a person there, lines with tabs where the output is a pipe."""

from __future__ import annotations

from typing import TYPE_CHECKING

from kin3d.writing.tables import Column, Table

if TYPE_CHECKING:
    from rich.console import Console
    from rich.table import Table as RichTable

LONG = 40  # columns that a text over several lines has at least


def print_table(console: Console, table: Table) -> None:
    """Print a table with title and notes; a figure is never cut.

    On a terminal, columns that do not fit beside each other go on in a second block below, the first column repeated.
    In a pipe every row is one line, cells parted by tabs.
    """
    if table.title:
        say(console, table.title, style="bold")
    if console.is_terminal:
        for block in _blocks(console, table):
            console.print(_rich(table, block), crop=False)
    else:
        from rich.segment import Segment, Segments

        rows = [[h.replace("\n", " ") for h in table.heads()], *table.shown()]
        # as segments: the console would make blanks of the tabs in a text
        console.print(Segments([Segment("\t".join(cells) + "\n") for cells in rows]), end="", soft_wrap=True)
    for note in table.notes:
        say(console, note)


def say(console: Console, sentence: str, style: str = "") -> None:
    """Print a sentence, wrapped on a terminal and whole in a pipe; brackets in it are brackets."""
    console.print(sentence, style=style, highlight=False, markup=False, soft_wrap=not console.is_terminal)


def _blocks(console: Console, table: Table) -> list[list[int]]:
    """Columns that fit side by side; texts at the left are repeated in every block."""
    rows = [table.heads(), *table.shown()]
    wide = [2 + max(len(line) for row in rows for line in row[k].split("\n")) for k in range(len(table.columns))]
    wide = [min(w, LONG) if c.long else w for w, c in zip(wide, table.columns, strict=True)]
    lead = 0
    while lead < len(wide) and _leads(table.columns[lead]):
        lead += 1
    first = list(range(max(1, lead)))
    blocks: list[list[int]] = [list(first)]
    used = base = 1 + sum(wide[k] for k in first)
    for k in range(len(first), len(wide)):
        if len(blocks[-1]) > len(first) and used + wide[k] > console.width:
            blocks.append(list(first))
            used = base
        blocks[-1].append(k)
        used += wide[k]
    return blocks


def _leads(column: Column) -> bool:
    return column.key or (column.text and not column.long)


def _rich(table: Table, block: list[int]) -> RichTable:
    from rich.box import SIMPLE_HEAD
    from rich.table import Table as Rich
    from rich.text import Text

    made = Rich(header_style="bold", box=SIMPLE_HEAD, pad_edge=False, collapse_padding=True)
    for k in block:
        column = table.columns[k]
        justify = "left" if column.text or column.long else "right"
        head = Text(column.head or column.name)
        made.add_column(head, justify=justify, no_wrap=not column.long, overflow="fold")  # type: ignore[arg-type]
    for n, cells in enumerate(table.shown()):
        if n in table.breaks and n:
            made.add_section()
        made.add_row(*(Text(cells[k]) for k in block))
    return made
