"""Which pointers there are and how well their tails fit to the words of labels.

A pointer may be drawn in pieces: lines that go on where another line of the same layer ends.

Terms
-----
bend : a place where exactly two strokes of one layer meet end to end, which is no mark's centre.
tail : the end of a pointer that is not on a mark, or a bend.
underline : the last piece of a pointer, along the words that stand just over it.
score : how badly a tail fits to a text, in text heights; 0 at either end of the words.
foot : how far a pointer's last piece runs under the bottom of the words that it underlines.

Tolerances (text heights)
-------------------------
TAIL_REACH : how far a tail may end from its label's edge.
SIDEWAYS : share of a miss sideways that counts: widths are estimates.
EXACT : within this a tail is at the very end of the words.
TELLING : a tail ten times closer than this to one text, and clearly less close to another, is its own.
UNDERLINED : what counts for words over an underline, unless all words of the drawing stand like that over theirs.

What it cannot know
-------------------
Whether a line beyond a bend still belongs to the pointer: so the bends stay tails of their own beside the last end, and
a chain that comes to a second mark is no pointer at all, but a link. Which of two texts printed over each other a tail
is meant for: then neither is paired.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Container, Mapping, Sequence

import numpy as np

from kin3d.reading.dxf.content import Stroke, Text, Vector, evenness

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


# --- tails and words -------------------------------------------------------------------------------------------------

TAIL_REACH = 3.0
SIDEWAYS = 0.25
EXACT = 0.15
TELLING = 0.02
UNDERLINED = 0.05
COMMON = 0.8  # share of the labels that must stand over their underlines at one height
SAME_FOOT = 0.02
WIDTHS = np.linspace(0.4, 1.8, 71)

Near = dict[int, tuple[Vector, list[int]]]


def score_tails(
    tails: Mapping[int, tuple[Vector, ...]], texts: Mapping[int, Text], strict: Container[int]
) -> dict[tuple[int, int], float]:
    """Return the score of every pair of pointer and text that may belong together.

    Parameters
    ----------
    tails : dict of int to tuple of ndarray, shape (3,)
        By pointer.
    texts : dict of int to Text
        By label.
    strict : container of int
        Pointers that count only for a text at their very end.
    """
    from scipy.spatial import cKDTree

    if not tails or not texts:
        return {}
    owner = [k for k, group in tails.items() for _ in group]
    places = np.array([tail for group in tails.values() for tail in group])
    tree = cKDTree(places)
    near: Near = {}
    for i, text in texts.items():
        size = max(abs(b) for b in text.box) * 1.5 + 4.0 * TAIL_REACH * text.height
        rows = tree.query_ball_point(text.anchor, size)
        near[i] = (text.local(places[rows]), rows)
    letter, sideways = _letters(near, texts)
    feet = _feet(near, owner, tails, texts)
    scores: dict[tuple[int, int], float] = {}
    for i, (local, rows) in near.items():
        for j, score in zip(rows, tail_scores(texts[i], local, letter[i], sideways), strict=True):
            k = owner[j]
            best = min(float(score), feet.get((k, i), np.inf))
            if best <= (0.1 * TELLING if k in strict else TAIL_REACH):
                scores[k, i] = min(best, scores.get((k, i), np.inf))
    return scores


def tail_scores(text: Text, local: Vector, letter: float | Vector = 1.0, sideways: float = SIDEWAYS) -> Vector:
    """Return how badly pointers' tails fit to a text, in text heights; 0 at either end of the words.

    `local` has the tails in the text's own frame, shape (n, 3); `letter` corrects the estimated width; a miss
    sideways counts `sideways` times as much as one upward. Several `letter`, shape (m, 1), give scores of shape (m, n).
    """
    u, v, w = local.T
    left, bottom, right, top = text.box
    aside = np.minimum(abs(u - letter * left), abs(u - letter * right))
    upward = np.maximum(np.maximum(bottom - v, v - top), 0.0)
    score: Vector = np.sqrt((sideways * aside) ** 2 + upward**2 + w**2) / text.height
    return score


def _letters(near: Near, texts: Mapping[int, Text]) -> tuple[dict[int, float], float]:
    """Return the letters' width (as a share of the estimate, by label) and how strictly to take it.

    Fonts are unknown, but one drawing has one: the width with which the most tails end exactly at the end
    of some words is the right one, if it serves most labels and clearly more than the widths beside it.
    """
    plain = dict.fromkeys(near, 1.0)
    best = (0.0, plain, SIDEWAYS)
    for shape in (plain, {i: evenness(texts[i]) for i in near}):
        hits = np.zeros(len(WIDTHS))
        for i, (local, _) in near.items():
            if len(local):
                hits += tail_scores(texts[i], local, WIDTHS[:, None] * shape[i], 1.0).min(axis=1) <= EXACT
        top = int(np.argmax(hits))
        beside = max(hits[max(top - 8, 0)], hits[min(top + 8, len(WIDTHS) - 1)])
        if len(near) >= 5 and hits[top] >= 0.8 * len(near) and beside < 0.7 * hits[top] and hits[top] > best[0]:
            best = (float(hits[top]), {i: float(WIDTHS[top]) * shape[i] for i in near}, 1.0)
    return best[1], best[2]


def _feet(
    near: Near, owner: list[int], tails: Mapping[int, tuple[Vector, ...]], texts: Mapping[int, Text]
) -> dict[tuple[int, int], float]:
    """Return the scores of underlines: 0 at the height over its line at which nearly all labels stand."""
    pairs = {(owner[j], i) for i, (_, rows) in near.items() for j in rows if len(tails[owner[j]]) > 1}
    found = {(k, i): foot for k, i in sorted(pairs) if (foot := underlined(texts[i], tails[k])) is not None}
    if not found:
        return {}
    feet = np.array(list(found.values()))
    votes = _labels_alike(feet, [i for _, i in found])
    usual = feet[int(np.argmax(votes))] if max(votes) >= max(3.0, COMMON * len(near)) else np.inf
    return {pair: 0.0 if abs(foot - usual) <= SAME_FOOT else UNDERLINED for pair, foot in found.items()}


def _labels_alike(feet: Vector, labels: Sequence[int]) -> list[int]:
    """Return for every foot how many labels have one within SAME_FOOT of it."""
    order = np.argsort(feet, kind="stable")
    ranked = feet[order]
    count: Counter[int] = Counter()
    votes = [0] * len(feet)
    first = last = 0
    for k, foot in zip(order, ranked, strict=True):
        while last < len(ranked) and ranked[last] - foot <= SAME_FOOT:
            count[labels[order[last]]] += 1
            last += 1
        while foot - ranked[first] > SAME_FOOT:
            label = labels[order[first]]
            count[label] -= 1
            if not count[label]:
                del count[label]
            first += 1
        votes[k] = len(count)
    return votes


def mutual(scores: dict[tuple[int, int], float]) -> dict[int, int]:
    """Pair keys of both kinds that are each other's clear first choice, again and again until nothing changes."""
    chosen: dict[int, int] = {}
    open_ = dict(scores)
    while True:
        rows: dict[int, list[tuple[float, int]]] = {}
        columns: dict[int, list[tuple[float, int]]] = {}
        for (k, i), score in open_.items():
            rows.setdefault(k, []).append((score, i))
            columns.setdefault(i, []).append((score, k))
        new = {}
        for k, options in rows.items():
            best = _clear(options)
            if best is not None and _clear(columns[best]) == k:
                new[k] = best
        if not new:
            return chosen
        chosen.update(new)
        gone = set(new.values())
        open_ = {(k, i): s for (k, i), s in open_.items() if k not in new and i not in gone}


def _clear(options: list[tuple[float, int]]) -> int | None:
    """Return the best option if the second is clearly worse, else None."""
    ranked = sorted(options)
    if len(ranked) > 1 and ranked[0][0] <= 0.1 * min(TELLING, ranked[1][0]) and ranked[1][0] >= 0.1 * TELLING:
        return ranked[0][1]  # the drawing program put this tail at this text, to the last digit
    if len(ranked) > 1 and ranked[1][0] < max(2.0 * ranked[0][0], ranked[0][0] + 0.3):
        return None
    return ranked[0][1]
