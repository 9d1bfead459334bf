"""Tables and sentences on the terminal: set out for a person there, lines with tabs where the output is a pipe."""

from __future__ import annotations

import os
import sys
from typing import TYPE_CHECKING, TextIO

from kin3d.writing.tables import Column, Table

if TYPE_CHECKING:
    from rich.console import Console
    from rich.table import Table as RichTable

LONG = 40  # columns that a text over several lines has at least


class Output:
    """Standard output or standard error: a terminal, or a pipe, where nothing is wrapped, padded or coloured.

    A pipe is written to without rich, which takes longer to import than a sweep takes to run.

    Parameters
    ----------
    error : bool
        Standard error in place of standard output.
    quiet : bool
        Nothing is written.
    console : rich.console.Console, optional
        The terminal. Default: the stream's, when it is one.
    """

    def __init__(self, error: bool = False, quiet: bool = False, console: Console | None = None) -> None:
        self._stream = sys.stderr if error else sys.stdout
        self._quiet = quiet
        self._console = console or _terminal(self._stream, error)

    def say(self, sentence: str, style: str = "") -> None:
        """Write a sentence, wrapped on a terminal; brackets in it are brackets."""
        if self._console is None:
            self._line(sentence)
        elif not self._quiet:
            self._console.print(sentence, style=style, highlight=False, markup=False, emoji=False)

    def labelled(self, label: str, style: str, sentence: str = "") -> None:
        """Write a line that begins with a label in a style of its own; it is not wrapped."""
        if self._console is None:
            self._line(label + sentence)
        elif not self._quiet:
            from rich.text import Text

            self._console.print(Text(label, style).append(sentence, "default"), soft_wrap=True)

    def table(self, table: Table) -> None:
        """Write a table with title and notes; a figure is never cut.

        On a terminal, columns that do not fit beside each other go on in a second block below, the first column
        repeated. In a pipe every row is one line, cells parted by tabs.
        """
        if table.title:
            self.say(table.title, style="bold")
        if self._console is None:
            for cells in ([h.replace("\n", " ") for h in table.heads()], *table.shown()):
                self._line("\t".join(cells))
        elif not self._quiet:
            for block in _blocks(self._console.width, table):
                self._console.print(_rich(table, block), crop=False)
        for note in table.notes:
            self.say(note)

    def _line(self, words: str) -> None:
        if not self._quiet:
            self._stream.write(f"{words}\n")
            self._stream.flush()  # a pipe that nobody reads any more is noticed here, and not at the end


def _terminal(stream: TextIO, error: bool) -> Console | None:
    """The terminal that a stream is, or that the environment says it is; None: a pipe."""
    if not stream.isatty() and not {"FORCE_COLOR", "TTY_COMPATIBLE"} & os.environ.keys():
        return None
    from rich.console import Console

    made = Console(stderr=error)
    return made if made.is_terminal else None


def _blocks(width: int, table: Table) -> list[list[int]]:
    """Columns that fit side by side in a width; texts at the left are repeated in every block."""
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
        if len(blocks[-1]) > len(first) and used + wide[k] > width:
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
