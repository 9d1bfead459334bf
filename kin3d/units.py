"""Length units of files and their factors to mm. Inside the program every length is in mm."""

from __future__ import annotations

import difflib

from kin3d.errors import Finding, Kin3dError

_SPELLINGS: dict[str, tuple[float, tuple[str, ...]]] = {
    "mm": (1.0, ("millimetre", "millimetres", "millimeter", "millimeters")),
    "cm": (10.0, ("centimetre", "centimetres", "centimeter", "centimeters")),
    "m": (1000.0, ("metre", "metres", "meter", "meters")),
    "in": (25.4, ("inch", "inches", '"')),
    "ft": (304.8, ("foot", "feet", "'")),
}
_FACTORS = {
    spelling: factor for short, (factor, others) in _SPELLINGS.items() for spelling in (short, *others)
}


class UnitError(Kin3dError, ValueError):
    """The name of a unit is not known; its text lists those that are."""


def known_lengths() -> tuple[str, ...]:
    """Return the short names of the length units a file may use."""
    return tuple(_SPELLINGS)


def length_factor(name: str) -> float:
    """Return how many mm one unit of that name has.

    Parameters
    ----------
    name : str
        ``mm``, ``cm``, ``m``, ``in``, ``ft`` or the full word, in any case; blanks around it do not count.

    Raises
    ------
    UnitError
        With the nearest known name and all short ones.
    """
    factor = _FACTORS.get(name.strip().lower())
    if factor is None:
        raise UnitError(Finding("unit-unknown", _unknown(name)))
    return factor


def _unknown(name: str) -> str:
    near = difflib.get_close_matches(name.strip().lower(), [n for n in _FACTORS if len(n) > 1], 1)
    hint = f'; did you mean "{near[0]}"?' if near else ""
    return f'length unit "{name}" is not known; known are {", ".join(known_lengths())}{hint}'
