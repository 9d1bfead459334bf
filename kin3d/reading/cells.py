"""A point table as text: the columns of its header, the rows that fit it, the numbers in the cells."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass

from kin3d.linkage.names import did_you_mean, normalise
from kin3d.reading.rows import SEPARATORS, DecimalMark, TableRow, split_rows
from kin3d.reading.text import FindingLog

COORDINATES = ("x", "y", "z")
NEEDED = ("point", *COORDINATES)
SIGMAS = ("sigma_x", "sigma_y", "sigma_z")
COLUMNS = (*NEEDED, "sigma", *SIGMAS, "note")
_HEADER = "a header such as point,x,y,z is expected"
_NUMBER = re.compile(r"[+-]?([0-9]+\.?[0-9]*|\.[0-9]+)(e[+-]?[0-9]+)?", re.IGNORECASE)
_GROUPED = re.compile(r"[+-]?[0-9]{1,3}([.,'’_\s][0-9]{3})+([.,][0-9]*)?")
_COMMA_NUMBER = re.compile(r"[+-]?([0-9]+,[0-9]*|,[0-9]+)(e[+-]?[0-9]+)?", re.IGNORECASE)
_POINT_NUMBER = re.compile(r"[+-]?([0-9]+\.[0-9]*|\.[0-9]+)(e[+-]?[0-9]+)?", re.IGNORECASE)
_PERHAPS_THOUSANDS = re.compile(r"[+-]?[1-9][0-9]{0,2},[0-9]{3}")
_LARGEST = 1e12  # so that no unit makes it overflow
_NOT_FINITE = ("nan", "inf", "infinity", "#n/a", "n/a", "na")


@dataclass(frozen=True, slots=True)
class RawTable:
    """A table as text: where each known column stands, the rows under the header, those that do not fit."""

    separator: str
    columns: dict[str, int]
    rows: tuple[TableRow, ...]
    misfits: tuple[TableRow, ...]

    def numeric(self) -> list[str]:
        """Return every cell that should be a number."""
        places = [i for name, i in self.columns.items() if name not in ("point", "note")]
        return [row.cells[i] for row in self.rows for i in places]


def split_table(text: str, log: FindingLog) -> RawTable | None:
    """Return the table in a text, or None with findings when there is no usable header.

    Rows whose number of cells does not fit the header are left out, with a finding each.
    """
    table = split_rows(text, log, _HEADER, COLUMNS)
    columns = None if table is None else _columns(table.header, log)
    if table is None or columns is None:
        return None
    if table.alone:
        log.error("table-empty", "has a header and no rows; one row for each point is expected")
    fits = [(row, _fits(row, table.header, table.separator, log)) for row in table.rows]
    good, misfits = (tuple(row for row, fit in fits if fit is wanted) for wanted in (True, False))
    return RawTable(table.separator, columns, good, misfits)


def _columns(header: TableRow, log: FindingLog) -> dict[str, int] | None:
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


def _fits(row: TableRow, header: TableRow, separator: str, log: FindingLog) -> bool:
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


def _width_hint(row: TableRow, width: int, separator: str) -> str:
    if len(row.cells) > width and separator == ",":
        return "with commas in numbers or notes, separate the columns by semicolons"
    if len(row.cells) == 1:
        other = next((w for s, w in SEPARATORS.items() if s != separator and s in row.cells[0]), "")
        if other:
            return f"the header is separated by {SEPARATORS[separator]}, this row by {other}"
    return "write one cell for each column"


class _CellError(ValueError):
    """A cell is not a number; the text says what was found and what to do, the code which kind it is."""

    def __init__(self, code: str, text: str) -> None:
        self.code = code
        super().__init__(text)


def plain(cell: str) -> str:
    """Return the cell without blanks around it and with the typographic minus sign as a hyphen."""
    return cell.strip().replace("\u2212", "-")


def has_comma_decimals(cells: Iterable[str]) -> bool:
    """Whether one of the cells is a number with a decimal comma."""
    return any(_COMMA_NUMBER.fullmatch(plain(c)) for c in cells)


def has_point_decimals(cells: Iterable[str]) -> bool:
    """Whether one of the cells is a number with a decimal point."""
    return any(_POINT_NUMBER.fullmatch(plain(c)) for c in cells)


def only_perhaps_thousands(cells: Iterable[str]) -> bool:
    """Whether every comma in the cells could as well group thousands, as in ``1,234``."""
    with_comma = [plain(c) for c in cells if "," in c]
    return bool(with_comma) and all(_PERHAPS_THOUSANDS.fullmatch(c) for c in with_comma)


def _number(cell: str, mark: DecimalMark) -> float:
    """Return the number in a cell.

    Parameters
    ----------
    cell : str
        The cell's text.
    mark : {".", ",", "either"}
        The decimal mark of the table; "either" where a mixture is already reported.

    Raises
    ------
    _CellError
        For an empty cell, text, NaN, infinity and grouped thousands.
    """
    text = plain(cell)
    if not text:
        raise _CellError("cell-empty", "is empty; a number is expected")
    if text.lower().lstrip("+-") in _NOT_FINITE:
        raise _CellError("number-not-finite", f"is {text!r}; a finite number is expected")
    swapped = text if mark == "." else text.replace(",", ".")
    if (mark == "," and "." in text) or not _NUMBER.fullmatch(swapped):
        raise _CellError(*_why_not(text))
    value = float(swapped)
    if not abs(value) <= _LARGEST:
        raise _CellError("number-not-finite", f"is {text!r}, which is too large for a length")
    return value


def read_number(cell: str, mark: DecimalMark, named: str, line: int, log: FindingLog) -> float | None:
    """The number in a cell; None with a finding that names the cell where there is none."""
    try:
        return _number(cell, mark)
    except _CellError as err:
        log.error(err.code, f"{named} {err}", line)
        return None


def _why_not(text: str) -> tuple[str, str]:
    if _GROUPED.fullmatch(text):
        return "number-thousands", f"is {text!r}; write numbers without thousands separators"
    if _COMMA_NUMBER.fullmatch(text):
        return "number-decimal-comma", (
            f"is {text!r}; a decimal comma needs semicolons or tabs between the columns, "
            f"else write {text.replace(',', '.')}"
        )
    if re.match(r"[+-]?[0-9.,]+\s*[a-z\"'°]+$", text, re.IGNORECASE):
        return "number-unit", f"is {text!r}; write the number alone, its unit stands in the car file"
    if re.match(r"[‐-―][0-9]", text):
        return "number-dash", f"is {text!r}; its first sign is a dash: write a minus, -{text[1:]}"
    if text.startswith(("=", "#")):
        what = "a formula" if text.startswith("=") else "an error"
        return "number-formula", f"is {text!r}, {what} of a spreadsheet; give its value: a number is expected"
    return "number-text", f"is {text!r}; a number is expected"
