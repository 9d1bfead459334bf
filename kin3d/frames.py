"""Axes of files: from words such as "x rearward, y right, z up" to a rotation into the vehicle frame.

The vehicle frame is that of ISO 8855: x forward, y left, z up, right-handed.
"""

from __future__ import annotations

import re
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from kin3d.errors import Finding, Kin3dError

VEHICLE_AXES = "x forward, y left, z up"
_WORDS: dict[str, tuple[int, float]] = {
    "forward": (0, 1.0),
    "rearward": (0, -1.0),
    "left": (1, 1.0),
    "right": (1, -1.0),
    "up": (2, 1.0),
    "down": (2, -1.0),
}
_SYNONYMS = {
    "forwards": "forward",
    "rearwards": "rearward",
    "backward": "rearward",
    "backwards": "rearward",
    "leftward": "left",
    "leftwards": "left",
    "rightward": "right",
    "rightwards": "right",
    "upward": "up",
    "upwards": "up",
    "downward": "down",
    "downwards": "down",
}
_PAIRS = ("forward or rearward", "left or right", "up or down")
_EXAMPLE = f'write it like "{VEHICLE_AXES}"'


class AxesError(Kin3dError, ValueError):
    """A description of axes that is incomplete, contradicts itself or is left-handed."""


def parse_axes(text: str) -> NDArray[np.float64]:
    """Return the rotation from a file's axes into the vehicle frame.

    Parameters
    ----------
    text : str
        What the file's coordinates mean: each of x, y, z with one of forward, rearward, left, right, up,
        down, in any order, e.g. ``"x rearward, y right, z up"``. Case does not count.

    Returns
    -------
    ndarray, shape (3, 3)
        R with ``vehicle = R @ file``; a signed permutation with determinant +1.

    Raises
    ------
    AxesError
        When an axis or a direction is missing, repeated or unknown, or the three are left-handed.
    """
    named, findings = _named(text)
    findings += _direction_problems(named, text) if not findings else []
    if findings:
        raise AxesError(findings)
    rotation = np.zeros((3, 3))
    for axis, word in named.items():
        row, sign = _WORDS[word]
        rotation[row, "xyz".index(axis)] = sign
    if np.linalg.det(rotation) < 0.0:
        raise AxesError(Finding("axes-left-handed", _left_handed(named, text)))
    return rotation


def _named(text: str) -> tuple[dict[str, str], list[Finding]]:
    """Split the text into axis and direction; findings for all that does not fit."""
    tokens = re.findall(r"[^\s,;:=]+", text.lower())
    named: dict[str, str] = {}
    findings: list[Finding] = []
    for axis, raw in zip(tokens[::2], tokens[1::2], strict=False):
        word = _SYNONYMS.get(raw, raw)
        if axis not in ("x", "y", "z"):
            findings.append(_say("axes-syntax", f'"{axis}" stands where x, y or z is expected'))
        elif axis in named:
            findings.append(_say("axes-repeated", f"{axis} stands twice"))
        elif word not in _WORDS:
            findings.append(_say("axes-word", f'"{raw}" is not one of {", ".join(_WORDS)}'))
        named.setdefault(axis, word)
    if len(tokens) % 2:
        findings.append(_say("axes-syntax", f'"{tokens[-1]}" at the end has no partner'))
    absent = [a for a in "xyz" if a not in named]
    if absent and not findings:
        findings.append(_say("axes-missing", f'{", ".join(absent)} missing in "{text}"'))
    return named, findings


def _say(code: str, what: str) -> Finding:
    return Finding(code, f"{what}; {_EXAMPLE}")


def _direction_problems(named: dict[str, str], text: str) -> list[Finding]:
    """Two axes along one line leave another line without an axis."""
    rows = sorted(_WORDS[word][0] for word in named.values())
    doubled = next((a for a, b in pairwise(rows) if a == b), None)
    if doubled is None:
        return []
    who = " and ".join(f"{a} {w}" for a, w in named.items() if _WORDS[w][0] == doubled)
    absent = "; ".join(f"no axis points {_PAIRS[i]}" for i in range(3) if i not in rows)
    return [_say("axes-repeated", f'in "{text}" {who} are along the same line and {absent}')]


def _left_handed(named: dict[str, str], text: str) -> str:
    opposite = {w: o for w, (r, s) in _WORDS.items() for o, (q, t) in _WORDS.items() if q == r and t == -s}
    ways = []
    for flipped in named:
        turned = {a: opposite[w] if a == flipped else w for a, w in named.items()}
        ways.append('"' + ", ".join(f"{a} {turned[a]}" for a in "xyz") + '"')
    return (
        f'"{text}" is left-handed and right-handed axes are expected; look which of the three points '
        f"the other way: {', '.join(ways[:-1])} or {ways[-1]}? If the file truly is left-handed, "
        "change the sign of one of its coordinates"
    )
