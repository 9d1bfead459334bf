"""Numbers in the cells of a table: which mark divides their decimals, and what they are."""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import Literal

DecimalMark = Literal[".", ",", "either"]
_NUMBER = re.compile(r"[+-]?([0-9]+\.?[0-9]*|\.[0-9]+)(e[+-]?[0-9]+)?", re.IGNORECASE)
_GROUPED = re.compile(r"[+-]?[0-9]{1,3}([.,'’_\s][0-9]{3})+([.,][0-9]*)?")
_COMMA_NUMBER = re.compile(r"[+-]?([0-9]+,[0-9]*|,[0-9]+)(e[+-]?[0-9]+)?", re.IGNORECASE)
_POINT_NUMBER = re.compile(r"[+-]?([0-9]+\.[0-9]*|\.[0-9]+)(e[+-]?[0-9]+)?", re.IGNORECASE)
_PERHAPS_THOUSANDS = re.compile(r"[+-]?[1-9][0-9]{0,2},[0-9]{3}")
_LARGEST = 1e12  # so that no unit makes it overflow
_NOT_FINITE = ("nan", "inf", "infinity", "#n/a", "n/a", "na")


class CellError(ValueError):
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


def number(cell: str, mark: DecimalMark) -> float:
    """Return the number in a cell.

    Parameters
    ----------
    cell : str
        The cell's text.
    mark : {".", ",", "either"}
        The decimal mark of the table; "either" where a mixture is already reported.

    Raises
    ------
    CellError
        For an empty cell, text, NaN, infinity and grouped thousands.
    """
    text = plain(cell)
    if not text:
        raise CellError("cell-empty", "is empty; a number is expected")
    if text.lower().lstrip("+-") in _NOT_FINITE:
        raise CellError("number-not-finite", f"is {text!r}; a finite number is expected")
    swapped = text if mark == "." else text.replace(",", ".")
    if (mark == "," and "." in text) or not _NUMBER.fullmatch(swapped):
        raise CellError(*_why_not(text))
    value = float(swapped)
    if not abs(value) <= _LARGEST:
        raise CellError("number-not-finite", f"is {text!r}, which is too large for a length")
    return value


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
    return "number-text", f"is {text!r}; a number is expected"
