"""Pointers drawn in pieces: lines that go on where another line of the same layer ends.

Terms
-----
bend : a place where exactly two strokes of one layer meet end to end, which is no mark's centre.
underline : the last piece of a pointer, along the words that stand just over it.

What it cannot know: whether a line beyond a bend still belongs to the pointer. So the bends stay tails of their own
beside the last end, and a chain that comes to a second mark is no pointer at all: it is a link.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from kin3d.reading.dxf.marks import Stroke, Text, Vector

UNDER = 0.9  # how far below the words an underline may be, text heights
ABOVE = -0.1  # likewise, how far above their bottom
MAX_BENDS = 3  # bends of one pointer; more is an outline


class Follower:
    """Knows which strokes meet where.

    Parameters
    ----------
    strokes : sequence of Stroke
        All strokes of the drawing.
    snap : float
        Distance within which two ends are one place, drawing units.
    on_mark : callable
        Says on which mark a place lies and whether at its centre; None for none.
    """

    def __init__(
        self, strokes: Sequence[Stroke], snap: float, on_mark: Callable[[Vector], tuple[int, bool] | None]
    ) -> None:
        self.on_mark = on_mark
        self.step = max(4.0 * snap, 1e-12)
        self.meets: dict[tuple[int, ...], list[tuple[Stroke, Vector]]] = {}
        for stroke in strokes:
            self.meets.setdefault(self._key(stroke.start), []).append((stroke, stroke.end))
            self.meets.setdefault(self._key(stroke.end), []).append((stroke, stroke.start))

    def _key(self, place: Vector) -> tuple[int, ...]:
        return tuple(int(c) for c in np.round(place / self.step))

    def head(self, place: Vector) -> int | None:
        """Return the mark on which a stroke's end lies; None also where a mark only happens to stand at a bend."""
        found = self.on_mark(place)
        if found is None or (not found[1] and self._bend(place)):
            return None
        return found[0]

    def _bend(self, place: Vector) -> bool:
        meeting = self.meets.get(self._key(place), [])
        return len(meeting) == 2 and meeting[0][0].origin.layer == meeting[1][0].origin.layer

    def tails(self, stroke: Stroke, head: Vector, tail: Vector) -> tuple[Vector, ...]:
        """Return the tail of a stroke whose head is on a mark, and those of the strokes that go on from it.

        Nothing is returned where they lead to a second mark's centre, or to a second mark from one that is not
        hit at its centre either: which of the two is pointed at cannot be told.
        """
        found = [tail]
        start = self.on_mark(head)
        centred = start is not None and start[1]
        before = stroke
        while len(found) <= MAX_BENDS:
            others = [(s, end) for s, end in self.meets.get(self._key(found[-1]), []) if s is not before]
            if len(others) != 1 or not self._bend(found[-1]):
                return tuple(found)
            before, end = others[0]
            second = None if self.head(end) is None else self.on_mark(end)
            if second is not None and (second[1] or not centred):
                return ()
            found.append(end)
        return (tail,)


def underlined(text: Text, tails: Sequence[Vector]) -> float | None:
    """Return how far under a text's bottom the last piece of a pointer runs, text heights; None where it does not.

    It must run along the words, under most of them and of itself.
    """
    if len(tails) < 2:
        return None
    (a, b), (left, bottom, right, _) = text.local(np.array(tails[-2:])), text.box
    foot = np.array([bottom - a[1], bottom - b[1]]) / text.height
    low, high = sorted((float(a[0]), float(b[0])))
    shared = min(right, high) - max(left, low)
    along = bool((foot >= ABOVE).all() and (foot <= UNDER).all() and abs(foot[0] - foot[1]) < 0.02)
    return float(foot.mean()) if along and shared >= 0.6 * max(right - left, high - low) else None
