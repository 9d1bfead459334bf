"""How well the tails of pointers fit to the words of texts; terms as in `leaders`.

An underline is the last piece of a pointer, along the words that stand just over it; its foot, how far under them.
Costs grow with the logarithm of the miss beyond FINE, so that twice as far costs log 2 more.
"""

from __future__ import annotations

from collections.abc import Container, Mapping, Sequence

import numpy as np

from kin3d.reading.dxf.content import Text, Vector, evenness, tree_of

# Lengths are text heights.
FINE = 0.05  # a miss that is nearly none
UNDER = 0.9  # how far below the words an underline may be
ABOVE = -0.1  # likewise, how far above their bottom
TAIL_REACH = 3.0  # how far a tail may end from its label's edge
SIDEWAYS = 0.25  # share of a miss sideways that counts: widths are estimates
EXACT = 0.15  # within this a tail is at the very end of the words
STRICT = 0.002  # a line that ends on a second mark, or before one, points only at a text that begins where it ends
UNDERLINED = 0.05  # score of words over an underline, unless all words of the drawing stand like that over theirs
COMMON = 0.8  # share of the labels that must stand over their underlines at one height
SAME_FOOT = 0.02
WIDTHS = np.linspace(0.4, 1.8, 71)

Near = dict[int, tuple[Vector, list[int]]]


def cost_of(miss: float) -> float:
    """Return what a miss costs, text heights."""
    return float(np.log(1.0 + miss / FINE))


def score_tails(
    tails: Mapping[int, tuple[Vector, ...]], texts: Mapping[int, Text], strict: Container[int], labels: Container[int]
) -> dict[tuple[int, int], float]:
    """Return what every pair of pointer and text costs that may belong together, by their numbers.

    Pointers that are `strict` count only for a text at their very end; the texts that name points, `labels`, show how
    wide the letters are.
    """
    if not tails or not texts:
        return {}
    owner = [k for k, group in tails.items() for _ in group]
    places = np.array([tail for group in tails.values() for tail in group])
    tree = tree_of(places)
    near: Near = {}
    for i, text in texts.items():
        size = max(abs(b) for b in text.box) * 1.5 + 4.0 * TAIL_REACH * text.height
        rows = tree.query_ball_point(text.anchor, size)
        near[i] = (text.local(places[rows]), rows)
    width, printed, sideways = _letters({i: n for i, n in near.items() if i in labels}, texts)
    feet = _feet(near, owner, tails, texts)
    costs: dict[tuple[int, int], float] = {}
    for i, (local, rows) in near.items():
        letter = width * (evenness(texts[i]) if printed else 1.0)
        for j, score in zip(rows, tail_scores(texts[i], local, letter, sideways), strict=True):
            k = owner[j]
            best = min(float(score), feet.get((k, i), np.inf))
            if best <= (STRICT if k in strict else TAIL_REACH):
                costs[k, i] = min(cost_of(best), costs.get((k, i), np.inf))
    return costs


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


def _letters(near: Near, texts: Mapping[int, Text]) -> tuple[float, bool, float]:
    """Return the letters' width as a share of the estimate, whether it is a printer's, and how strictly to take it.

    Fonts are unknown, but one drawing has one: the width with which the most tails end exactly at the end
    of some words is the right one, if it serves most labels and clearly more than the widths beside it.
    """
    best = (0.0, (1.0, False, SIDEWAYS))
    for printed in (False, True):
        hits = np.zeros(len(WIDTHS))
        for i, (local, _) in near.items():
            widths = WIDTHS[:, None] * (evenness(texts[i]) if printed else 1.0)
            hits += tail_scores(texts[i], local, widths, 1.0).min(axis=1, initial=np.inf) <= EXACT
        top = int(np.argmax(hits))
        beside = max(hits[max(top - 8, 0)], hits[min(top + 8, len(WIDTHS) - 1)])
        if len(near) >= 5 and hits[top] >= 0.8 * len(near) and beside < 0.7 * hits[top] and hits[top] > best[0]:
            best = (float(hits[top]), (float(WIDTHS[top]), printed, 1.0))
    return best[1]


def _feet(
    near: Near, owner: list[int], tails: Mapping[int, tuple[Vector, ...]], texts: Mapping[int, Text]
) -> dict[tuple[int, int], float]:
    """Return the scores of underlines: 0 at the height over its line at which nearly all labels stand."""
    pairs = {(owner[j], i) for i, (_, rows) in near.items() for j in rows if len(tails[owner[j]]) > 1}
    found = {(k, i): foot for k, i in sorted(pairs) if (foot := underlined(texts[i], tails[k])) is not None}
    if not found:
        return {}
    feet = np.array(list(found.values()))
    ranked = np.sort(feet)
    first, last = np.searchsorted(ranked, [feet - SAME_FOOT, feet + SAME_FOOT])
    best = int(np.argmax(last - first))
    alike = {i for (_, i), foot in found.items() if abs(foot - feet[best]) <= SAME_FOOT}
    usual = feet[best] if len(alike) >= max(3.0, COMMON * len(near)) else np.inf
    return {pair: 0.0 if abs(foot - usual) <= SAME_FOOT else UNDERLINED for pair, foot in found.items()}


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
