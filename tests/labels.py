"""Are the words of an SVG picture legible: no two on each other, none cut off by its edge.

Boxes are those of the letters' ink in the faces that pictures are drawn with, measured by another library than the one
that draws.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from functools import cache
from html import unescape
from pathlib import Path

import matplotlib
import numpy as np
from PIL import ImageFont

FONTS = Path(matplotlib.get_data_path()) / "fonts" / "ttf"
DEEP = 0.6  # points by which boxes may lie on each other: rounding of places and of letters
_TEXT = re.compile(r"<text ([^>]*)>([^<]*)</text>")
_NUMBER = r"(-?[\d.]+(?:e-?\d+)?)"


@cache
def font(size: int, bold: bool):
    return ImageFont.truetype(str(FONTS / f"DejaVuSans{'-Bold' if bold else ''}.ttf"), size)


def ink(text: str, size: float, bold: bool) -> tuple[float, float, float, float]:
    """Left, top, right and bottom of the ink from the start of the base line; measured large, told in points."""
    box = font(100, bold).getbbox(text, anchor="ls")
    return tuple(v * size / 100.0 for v in box)


def boxes(svg: str) -> Iterator[tuple[str, np.ndarray]]:
    """Every text with the corners of its ink, shape (4, 2)."""
    for attributes, raw in _TEXT.findall(svg):
        text = unescape(raw).strip()
        if not text:
            continue
        size = float(re.search(rf"(?:font-size: |font: (?:bold )?){_NUMBER}px", attributes)[1])
        bold = bool(re.search(r"font(?:-weight)?: (?:bold|700)", attributes))
        left, top, right, bottom = ink(text, size, bold)
        anchor = re.search(r"text-anchor: (\w+)", attributes)
        width = font(100, bold).getlength(text) * size / 100.0
        shift = {"middle": -width / 2.0, "end": -width}.get(anchor[1] if anchor else "", 0.0)
        left, right = left + shift, right + shift
        corners = np.array([(left, top), (right, top), (right, bottom), (left, bottom)])
        turned = re.search(rf"rotate\({_NUMBER}", attributes)
        angle = np.radians(float(turned[1])) if turned else 0.0
        turn = np.array([(np.cos(angle), np.sin(angle)), (-np.sin(angle), np.cos(angle))])
        moved = re.search(rf"translate\({_NUMBER} {_NUMBER}\)", attributes)
        place = moved.groups() if moved else (re.search(rf' {axis}="{_NUMBER}"', f" {attributes}")[1] for axis in "xy")
        yield text, corners @ turn + np.array([float(v) for v in place])


def apart(a: np.ndarray, b: np.ndarray, deep: float) -> bool:
    """Whether two rectangles lie on each other by no more than `deep` along some side of either."""
    for corners in (a, b):
        for k in (0, 1):
            way = corners[k + 1] - corners[k]
            way = way / np.hypot(*way)
            one, other = a @ way, b @ way
            if min(one.max(), other.max()) - max(one.min(), other.min()) <= deep:
                return True
    return False


def faults(svg: str) -> list[str]:
    """What is wrong with the words of a picture; nothing for none."""
    wide, high = (float(v) for v in re.search(rf'viewBox="0 0 {_NUMBER} {_NUMBER}"', svg).groups())
    found = list(boxes(svg))
    out = [
        f'"{text}" is cut off'
        for text, c in found
        if (c < -DEEP).any() or (c[:, 0] > wide + DEEP).any() or (c[:, 1] > high + DEEP).any()
    ]
    for k, (text, corners) in enumerate(found):
        out += [f'"{text}" on "{o}"' for o, other in found[k + 1 :] if not apart(corners, other, DEEP)]
    return out
