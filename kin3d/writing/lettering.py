"""How large words are on paper, by the faces that pictures are drawn with."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache

from kin3d.writing.drawing import LETTER_MM
from kin3d.writing.numbers import together

POINTS = 72.0 / 25.4  # in a mm
CAPITAL = 0.73  # height of capitals over the size of the type
LINE_STEP = 1.2  # from one line to the next, in sizes of the type
FACE = "DejaVu Sans"


def type_size(size: float) -> float:
    """Size of the type in points of words that are `size` heights of a drawing's capitals."""
    return size * LETTER_MM * POINTS / CAPITAL


@cache
def line_width(text: str, points: float, bold: bool = False) -> float:
    """Width of one line in mm of paper."""
    from matplotlib.font_manager import FontProperties
    from matplotlib.textpath import text_to_path

    face = FontProperties(family=FACE, weight="bold" if bold else "normal", size=points)
    return float(text_to_path.get_text_width_height_descent(text, face, ismath=False)[0]) / POINTS


def block_size(lines: Sequence[str], points: float, bold: bool = False) -> tuple[float, float]:
    """Width and height of lines of words in mm of paper."""
    wide = max((line_width(x, points, bold) for x in lines), default=0.0)
    return wide, len(lines) * LINE_STEP * points / POINTS


def wrapped(text: str, width_mm: float, points: float, bold: bool = False) -> list[str]:
    """Words in lines of no more than a width; a longer word has a line of its own, a figure stays with its unit."""
    out: list[str] = []
    for word in together(text).split(" "):
        longer = f"{out[-1]} {word}" if out else word
        if out and line_width(longer, points, bold) <= width_mm:
            out[-1] = longer
        else:
            out.append(word)
    return out
