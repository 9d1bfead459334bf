"""A drawing taken apart into lines and words, for whatever renders it: marks and dimensions as what they consist of."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from kin3d.writing.drawing import Dimension, Drawing, Polyline, Words, mark_paths
from kin3d.writing.numbers import fixed

Array = NDArray[np.float64]


def parts(drawing: Drawing) -> Iterator[tuple[int, Polyline | Words]]:
    """Lines and words of a drawing in a plane, each with the number of the item that it belongs to."""
    for order, item in enumerate(drawing.items):
        if isinstance(item, Polyline | Words):
            yield order, item
        elif isinstance(item, Dimension):
            yield from ((order, p) for p in _dimension(drawing, item))
        else:
            yield from ((order, p) for p in mark_paths(item, drawing.height))


def _dimension(drawing: Drawing, item: Dimension) -> Iterator[Polyline | Words]:
    """Extension lines, the line with its arrows (outside where there is no room), the figure."""
    h = drawing.height
    low, high = item.feet
    for place, foot in ((item.start, low), (item.end, high)):
        far = float(np.hypot(*(foot - place)))
        if far > 0.5 * h:
            beyond = (foot - place) * 0.5 * h / far
            ends = np.stack([place + beyond, foot + beyond])
            yield Polyline(item.layer, ends, colour=item.colour, width=0.5)
    along = np.array([0.0, 1.0]) if item.upright else np.array([1.0, 0.0])
    low, high = sorted((low, high), key=lambda p: float(p @ along))
    if item.measured <= 4.0 * drawing.scale:
        for tail, tip in ((high + 3.4 * h * along, high), (low - 1.6 * h * along, low)):
            yield Polyline(item.layer, np.stack([tail, tip]), colour=item.colour, width=0.8, arrows="end")
    else:
        yield Polyline(item.layer, np.stack([low, high]), colour=item.colour, width=0.8, arrows="both")
    text = item.text.replace("<>", fixed(item.measured, 2))
    if text.strip():
        at = (low + high) / 2.0 + (np.array([-0.4, 0.0]) if item.upright else np.array([0.0, 0.4])) * h
        turn = 90.0 if item.upright else 0.0
        yield Words(item.layer, at, (text,), "center", "bottom", 0.9, turn, item.colour)
