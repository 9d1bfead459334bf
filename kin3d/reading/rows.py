"""From the text of a point table to its header and its rows of cells, each with its line in the file."""

from __future__ import annotations

import csv
import re
from dataclasses import dataclass

from kin3d.reading.finding_log import FindingLog
from kin3d.reading.names import did_you_mean, normalise

COORDINATES = ("x", "y", "z")
NEEDED = ("point", *COORDINATES)
SIGMAS = ("sigma_x", "sigma_y", "sigma_z")
COLUMNS = (*NEEDED, "sigma", *SIGMAS, "note")
_SEPARATORS = {"\t": "tabs", ";": "semicolons", ",": "commas"}
_HEADER = "a header such as point,x,y,z is expected"


@dataclass(frozen=True, slots=True)
class Row:
    """One row of a table: its line in the file and its cells without blanks around them."""

    line: int
    cells: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class RawTable:
    """A table as text: where each known column stands, the rows under the header, those that do not fit."""

    separator: str
    columns: dict[str, int]
    rows: tuple[Row, ...]
    misfits: tuple[Row, ...]

    def numeric(self) -> list[str]:
        """Return every cell that should be a number."""
        places = [i for name, i in self.columns.items() if name not in ("point", "note")]
        return [row.cells[i] for row in self.rows for i in places]


def split_table(text: str, log: FindingLog) -> RawTable | None:
    """Return the table in a text, or None with findings when there is no usable header.

    Rows whose number of cells does not fit the header are left out, with a finding each.
    """
    lines = [(i, line) for i, line in enumerate(re.split(r"\r\n|\r|\n", text), 1) if not _skipped(line)]
    if not lines:
        log.error("header-missing", f"holds only comments; {_HEADER}")
        return None
    separator = _separator(lines[0][1])
    rows = [row for i, line in lines if (row := _cells(i, line, separator, log)) is not None]
    if not rows or rows[0].line != lines[0][0]:
        return None
    columns = _columns(rows[0], log)
    if columns is None:
        return None
    if len(lines) == 1:
        log.error("table-empty", "has a header and no rows; one row for each point is expected")
    good = tuple(row for row in rows[1:] if _fits(row, rows[0], separator, log))
    misfits = tuple(row for row in rows[1:] if row not in good)
    return RawTable(separator, columns, good, misfits)


def _skipped(line: str) -> bool:
    """Comments, blank lines, and the rows of bare separators that spreadsheets leave at the end."""
    return line.lstrip().startswith(("#", '"#')) or not line.strip(' \t;,"')


def _separator(header: str) -> str:
    """Return the separator that makes most known columns of the header: data rows cannot mislead it."""

    def known(separator: str) -> int:
        return sum(normalise(cell.strip(' "')) in COLUMNS for cell in header.split(separator))

    return max(_SEPARATORS, key=lambda s: (known(s), header.count(s)))


def _cells(line_number: int, line: str, separator: str, log: FindingLog) -> Row | None:
    """Split one line; a quoted field that runs over the line's end is refused, so lines stay rows."""
    try:
        cells = next(csv.reader([line], delimiter=separator, skipinitialspace=True, strict=True))
    except csv.Error:
        log.error("row-quotes", "its quotation marks do not match within the line", line_number)
        return None
    return Row(line_number, tuple(cell.strip() for cell in cells))


def _columns(header: Row, log: FindingLog) -> dict[str, int] | None:
    """Return where each known column stands, or None when the row is no header at all."""
    where = header.line
    columns: dict[str, int] = {}
    if not any(normalise(cell) in NEEDED for cell in header.cells):
        shown = " ".join(header.cells)[:60]
        text = f'"{shown}" is not a header; {_HEADER}, separated by commas, semicolons or tabs'
        log.error("header-missing", text, where)
        return None
    for i, cell in enumerate(header.cells):
        name = normalise(cell)
        if name in columns:
            log.error("column-duplicate", f'column "{name}" stands twice in the header; keep one', where)
        elif name in COLUMNS:
            columns[name] = i
        elif cell:
            log.error("column-unknown", f'column "{cell}" is not known; {_column_hint(name)}', where)
        elif any(header.cells[i:]):
            log.error("column-nameless", f"column {i + 1} of the header has no name", where)
    _check_columns(columns, where, log)
    return columns


def _column_hint(name: str) -> str:
    if name[:2] in ("x_", "y_", "z_"):
        return f'call it "{name[0]}": the unit stands in the car file'
    return did_you_mean(name, COLUMNS)


def _check_columns(columns: dict[str, int], where: int, log: FindingLog) -> None:
    absent = [name for name in NEEDED if name not in columns]
    if absent:
        log.error("column-missing", f"the header has no column {', '.join(absent)}; {_HEADER}", where)
    given = [name for name in SIGMAS if name in columns]
    if given and "sigma" in columns:
        text = f"the header has sigma and {', '.join(given)}; give one of the two"
        log.error("sigma-twice", text, where)
    elif given and len(given) < 3:
        lacking = ", ".join(name for name in SIGMAS if name not in columns)
        text = f"the header has {', '.join(given)} but no {lacking}; give all three"
        log.error("column-missing", text, where)


def _fits(row: Row, header: Row, separator: str, log: FindingLog) -> bool:
    found, width = len(row.cells), len(header.cells)
    stray = [c for c, title in zip(row.cells, header.cells, strict=False) if c and not title]
    if found == width and not stray:
        return True
    if found == width:
        text = f'"{stray[0]}" stands under no column name; name the column or empty the cell'
        log.error("cell-nameless", text, row.line)
        return False
    text = f"has {found} cell{'s' if found > 1 else ''}; the header has {width}"
    code = "cells-many" if found > width else "cells-few"
    log.error(code, f"{text}; {_width_hint(row, width, separator)}", row.line)
    return False


def _width_hint(row: Row, width: int, separator: str) -> str:
    if len(row.cells) > width and separator == ",":
        return "with commas in numbers or notes, separate the columns by semicolons"
    if len(row.cells) == 1:
        other = next((w for s, w in _SEPARATORS.items() if s != separator and s in row.cells[0]), "")
        if other:
            return f"the header is separated by {_SEPARATORS[separator]}, this row by {other}"
    return "write one cell for each column"
