"""How well the tails of pointers fit to the words of texts; terms and tolerances as in `leaders`."""

from __future__ import annotations

from collections import Counter
from collections.abc import Container, Mapping, Sequence

import numpy as np

from kin3d.reading.dxf.content import Text, Vector, evenness, tree_of

FINE = 0.05
UNDER = 0.9  # how far below the words an underline may be, text heights
ABOVE = -0.1  # likewise, how far above their bottom
TAIL_REACH = 3.0
SIDEWAYS = 0.25
EXACT = 0.15
STRICT = 0.002
UNDERLINED = 0.05
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
    """Return what every pair of pointer and text costs that may belong together.

    Parameters
    ----------
    tails : dict of int to tuple of ndarray, shape (3,)
        By pointer.
    texts : dict of int to Text
        By their number.
    strict : container of int
        Pointers that count only for a text at their very end.
    labels : container of int
        The texts that name points: these show how wide the letters are.
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
            if len(local):
                widths = WIDTHS[:, None] * (evenness(texts[i]) if printed else 1.0)
                hits += tail_scores(texts[i], local, widths, 1.0).min(axis=1) <= EXACT
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
