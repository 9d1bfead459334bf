"""Figures as a person reads them: as many places as the unit deserves."""

from __future__ import annotations

import math
import re

from kin3d.writing.files import inert

_PLACES = {"deg": 3, "mm": 2, "%": 1, "N/mm": 2, "N": 1, "1": 4, "deg/mm": 4, "1/mm": 6, "mm/rad": 1}
INFINITE = 1e9  # in any unit that is shown: what is larger is rounding of what runs away, not a figure
DIGITS = 12  # significant digits in files
_PARTED = re.compile(r" (?=[%±])|(?<=±) |(?<=\d) (?=(?:mm|deg|N|kg|s|rad)\b)")


def number(value: float, unit: str) -> str:
    """A value with as many places as its unit deserves; a dash where there is none."""
    return fixed(value, _PLACES.get(unit, 3))


def signed(value: float, unit: str) -> str:
    """The same with a plus before a positive value, for differences."""
    return _plus(value, number(value, unit))


def with_sign(value: float, form: str = "+g") -> str:
    """A value in a format with a sign, which is a true minus; 0 has none."""
    return f"{value:{form}}".replace("-", "−") if value else "0"


def _plus(value: float, text: str) -> str:
    return f"+{text}" if value > 0.0 and any(c in "123456789∞" for c in text) else text


def rate(value: float, unit: str) -> str:
    """A derivative along travel of a measure in `unit`, per mm."""
    return fixed(value, max(3, _PLACES.get(unit, 3) + 1))


def signed_rate(value: float, unit: str) -> str:
    """The same with a plus before a positive value."""
    return _plus(value, rate(value, unit))


def fixed(value: float, places: int) -> str:
    """A value with a number of places and a true minus sign; no minus before zero."""
    if math.isnan(value):
        return "–"
    if abs(value) >= INFINITE:
        return "∞"
    text = f"{value:.{places}f}"
    return text.removeprefix("-") if float(text) == 0.0 else text.replace("-", "−")


def percent(share: float) -> str:
    """A share from 0 to 1 as per cent."""
    return f"{100.0 * share:.0f} %"


def together(words: str) -> str:
    """The same words, in which no line ends between a figure and its unit or its deviation."""
    return _PARTED.sub("\N{NO-BREAK SPACE}", words)


def cell(value: object) -> str:
    """A cell of a file: 12 significant digits, empty where there is no value."""
    if value is None or (isinstance(value, float) and not math.isfinite(value)):
        return ""
    return f"{value:.{DIGITS}g}" if isinstance(value, float) else inert(str(value))
