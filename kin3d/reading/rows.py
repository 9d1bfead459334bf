"""The text of any table: its separator, its header, its rows of cells with their lines in the file."""

from __future__ import annotations

import csv
import re
from collections.abc import Collection, Iterator
from dataclasses import dataclass
from typing import Literal

from kin3d.linkage.names import normalise
from kin3d.reading.text import FindingLog

SEPARATORS = {"\t": "tabs", ";": "semicolons", ",": "commas"}
_SEPARATOR_ROW = re.compile(r'\s*"?sep=([\t;,])"?\s*')  # with which spreadsheets tell each other how a table is split
DecimalMark = Literal[".", ",", "either"]


@dataclass(frozen=True, slots=True)
class TableRow:
    """One row of a table: its line in the file and its cells without blanks around them."""

    line: int
    cells: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class TableText:
    """A table as it stands in a file.

    Attributes
    ----------
    separator : str
    header : TableRow
    rows : tuple of TableRow
        Those whose quotation marks match, of any number of cells.
    alone : bool
        Whether there is the header alone.
    """

    separator: str
    header: TableRow
    rows: tuple[TableRow, ...]
    alone: bool

    @property
    def mark(self) -> DecimalMark:
        """Decimal marks that the numbers may have: commas only where they separate no columns."""
        return "." if self.separator == "," else "either"

    def fitting(self, log: FindingLog) -> Iterator[TableRow]:
        """Rows with a cell for each column; a finding for every other one."""
        width = len(self.header.cells)
        for row in self.rows:
            if len(row.cells) == width:
                yield row
            else:
                log.error("cells-count", f"has {len(row.cells)} cells; the header has {width}", row.line)


def split_rows(text: str, log: FindingLog, expected: str, columns: Collection[str]) -> TableText | None:
    """Return the rows of a table, or None with a finding when there is no header.

    Parameters
    ----------
    expected : str
        What header is expected, for a person.
    columns : collection of str
        Names that a header may have: they tell the separator.
    """
    lines = [(i, line) for i, line in enumerate(re.split(r"\r\n|\r|\n", text), 1) if not _skipped(line)]
    told = _SEPARATOR_ROW.fullmatch(lines[0][1]) if lines else None
    lines = lines[1:] if told else lines
    if not lines:
        log.error("header-missing", f"holds only comments; {expected}")
        return None
    separator = told[1] if told else _separator(lines[0][1], columns)
    rows = [row for i, line in lines if (row := _cells(i, line, separator, log)) is not None]
    if not rows or rows[0].line != lines[0][0]:
        return None
    return TableText(separator, rows[0], tuple(rows[1:]), len(lines) == 1)


def _skipped(line: str) -> bool:
    """Comments, blank lines, and the rows of bare separators that spreadsheets leave at the end."""
    return line.lstrip().startswith(("#", '"#')) or not line.strip(' \t;,"')


def _separator(header: str, columns: Collection[str]) -> str:
    """Return the separator that makes most known columns of the header: data rows cannot mislead it."""

    def known(separator: str) -> int:
        return sum(normalise(cell.strip(' "')) in columns for cell in header.split(separator))

    return max(SEPARATORS, key=lambda s: (known(s), header.count(s)))


def _cells(line_number: int, line: str, separator: str, log: FindingLog) -> TableRow | None:
    """Split one line; a quoted field that runs over the line's end is refused, so lines stay rows."""
    try:
        cells = next(csv.reader([line], delimiter=separator, skipinitialspace=True, strict=True))
    except csv.Error:
        log.error("row-quotes", "its quotation marks do not match within the line", line_number)
        return None
    return TableRow(line_number, tuple(cell.strip() for cell in cells))
