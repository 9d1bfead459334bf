"""Which label belongs to which mark.

Terms
-----
mark : a place that may be a pickup point (see `content`). A mark with a symbol (point, small circle, block) goes
    before the bare end of a line; ends are asked only where no symbol is.
label : a text that names a point.
stroke : a straight line or leader. A stroke is a *pointer* when its head is on one mark and its tail at a label.
    A pointer drawn in several lines (with a shoulder, or underlining its words) goes on over places where exactly
    two strokes of one layer meet; the label may stand at any of its bends or at its end.
offset : where a label's anchor stands from its mark, in the label's own reading direction, upward and normal.
tie : how a label came to its mark: ``"attribute"``, ``"leader"``, ``"offset"``, ``"near"``, ``"layer"``, ``"place"``.

Tolerances (lengths in drawing units unless said otherwise)
-----------------------------------------------------------
SNAP : two places are one, as a share of the drawing's extent.
SYMBOL_SHARE : a circle larger than this share of the extent is a part (a tyre), not a symbol.
MARGIN : how many times farther the second choice must be than the first.
OFFSET_SHARE : share of the labels without pointer that one common offset must explain to be believed.
NEAR_REACH : how far the nearest mark may be, in text heights, where there is neither pointer nor offset.

What it cannot know
-------------------
Whether the draughtsman hung a label on the wrong point. A tie by nearness alone is weak: on a sheet of views it
counts only where another view agrees, and in a drawing in space it carries a warning. Where two choices are alike
nothing is tied and both are listed.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from kin3d.reading.dxf.content import DrawnMark, Stroke, Text, Vector
from kin3d.reading.dxf.leaders import Follower, mutual, score_tails
from kin3d.reading.dxf.wording import PointName

SNAP = 2e-6
SYMBOL_SHARE = 0.05
MARGIN = 2.5
OFFSET_SHARE = 0.6
OFFSET_REACH = 15.0
NEAR_REACH = 6.0
USUAL_SHARE = 0.75  # share of the pointers on one layer that makes the others suspect
MANY_PLACES = 300  # of one name; they are too far apart in any case
MANY_PAIRS = 3000  # from here on pairs are counted in place of labels
MOST_PAIRS = 1_000_000  # of labels and marks that are looked at for one offset
ASIDE = 0.1  # radii; within this a line is drawn to a mark's centre, printed figures being rounded


@dataclass(frozen=True, slots=True, eq=False)
class PointLabel:
    """A text together with the names it gives; `free` if no layout or name table knows them."""

    text: Text
    names: tuple[PointName, ...]
    free: bool = False


@dataclass(frozen=True, slots=True, eq=False)
class Tie:
    """One name tied to one mark, and how."""

    name: PointName
    mark: DrawnMark
    how: str
    text: Text | None = None


@dataclass(frozen=True, slots=True, eq=False)
class UntiedLabel:
    """A label that could belong to several marks, or to none."""

    label: PointLabel
    choices: tuple[DrawnMark, ...]


@dataclass(frozen=True, slots=True, eq=False)
class Pointer:
    """A stroke whose head is on a mark (its number); the tails are its other end, and those of what goes on there."""

    mark: int
    tails: tuple[Vector, ...]
    stroke: Stroke
    free: bool = True  # False: counts only for a text that stands at its very end


def extent_of(points: Sequence[Vector]) -> float:
    """Return the length of the diagonal of the box around places; 1 where there is none."""
    if not len(points):
        return 1.0
    return float(np.linalg.norm(np.ptp(np.array(points), axis=0))) or 1.0


def size_of(marks: Sequence[DrawnMark]) -> float:
    """Return the extent of marks where it says anything of the drawing's unit; 0 where they are at one place."""
    places = np.array([m.xyz for m in marks]).reshape(-1, 3)
    return float(np.linalg.norm(np.ptp(places, axis=0))) if len(places) > 2 else 0.0


def farthest_apart(places: Vector) -> float:
    """Return the largest distance between two places, shape (n, 3); of a great many, the diagonal of their box."""
    if len(places) > MANY_PLACES:
        return float(np.linalg.norm(np.ptp(places, axis=0)))
    return max((float(np.linalg.norm(a - b)) for a in places for b in places), default=0.0)


def symbols(marks: Sequence[DrawnMark]) -> list[DrawnMark]:
    """Return the marks that can be a point's symbol, each place once (small before large, block before circle)."""
    from scipy.spatial import cKDTree

    extent = extent_of([m.xyz for m in marks])
    order = {"block": 0, "point": 1, "circle": 2}
    fit = [m for m in marks if m.kind != "end" and m.reach <= SYMBOL_SHARE * extent]
    fit.sort(key=lambda m: (order[m.kind], m.reach, *m.xyz))
    if not fit:
        return []
    tree = cKDTree(np.array([m.xyz for m in fit]))
    kept: list[DrawnMark] = []
    gone = np.zeros(len(fit), dtype=bool)
    for i, mark in enumerate(fit):
        if gone[i]:
            continue
        gone[tree.query_ball_point(mark.xyz, SNAP * extent)] = True
        twins = [fit[j] for j in tree.query_ball_point(mark.xyz, SNAP * extent)]
        reach = max(t.reach for t in twins)
        kept.append(replace(mark, reach=reach))
    return kept


class Matcher:
    """Ties labels to marks; holds what one search needs."""

    def __init__(self, marks: Sequence[DrawnMark], strokes: Sequence[Stroke], labels: Sequence[PointLabel]) -> None:
        from scipy.spatial import cKDTree

        self.marks = list(marks)
        self.strokes = list(strokes)
        self.labels = list(labels)
        self.xyz = np.array([m.xyz for m in marks]).reshape(-1, 3)
        self.tree = cKDTree(self.xyz)
        self.reach = np.array([m.reach for m in marks])
        self.snap = SNAP * extent_of(list(self.xyz))
        self.ties: list[Tie] = []
        self.untied: list[UntiedLabel] = []
        self.height = float(np.median([lab.text.height for lab in labels])) if labels else 1.0

    def match(self) -> tuple[list[Tie], list[UntiedLabel]]:
        """Return ties by pointers, then by common offset, then by nearness with a wide margin; and what is left."""
        left = self._by_pointer(list(range(len(self.labels))))
        left = self._by_offset(left)
        self._by_nearness(left)
        return self.ties, self.untied

    # --- pointers ---------------------------------------------------------------------------------------------

    def on_mark(self, place: Vector, gap: float = 0.0) -> int | None:
        """Return the one mark on whose symbol a place lies, None where there is none or more than one as near."""
        widest = float(self.reach.max(initial=0.0)) * 1.05 + self.snap + gap
        near = self.tree.query_ball_point(place, widest)
        far = np.linalg.norm(self.xyz[near] - place, axis=1)
        inside = sorted((d, i) for d, i in zip(far, near, strict=True) if d <= 1.05 * self.reach[i] + self.snap + gap)
        if not inside:
            return None
        if len(inside) > 1 and inside[0][0] > self.snap and inside[1][0] < MARGIN * inside[0][0]:
            return None
        return int(inside[0][1])

    def _pointers(self) -> list[Pointer]:
        """Return all strokes that can point."""
        out: list[Pointer] = []
        follow = Follower(self.strokes, self.snap, self._head)
        for stroke in self.strokes:
            first, last = follow.head(stroke.start), follow.head(stroke.end)
            if stroke.leader and first is None and last is None:
                first = self.on_mark(stroke.start, 0.5 * self.height)
            if first is not None and (last is None or stroke.leader):
                out.append(Pointer(first, follow.tails(stroke, stroke.start, stroke.end), stroke))
            elif last is not None and first is None:
                out.append(Pointer(last, follow.tails(stroke, stroke.end, stroke.start), stroke))
            elif first is not None and last is not None and first != last:
                out += self._over_a_mark(stroke, first, last)
        return [p for p in out if p.tails]

    def _head(self, place: Vector) -> tuple[int, bool] | None:
        """Return the mark on which a place lies, and whether at the mark's centre."""
        mark = self.on_mark(place)
        return None if mark is None else (mark, self._centred(mark, place))

    def _centred(self, mark: int, place: Vector) -> bool:
        return bool(np.linalg.norm(self.xyz[mark] - place) <= self.snap + ASIDE * self.reach[mark])

    def _over_a_mark(self, stroke: Stroke, first: int, last: int) -> list[Pointer]:
        """A line from one mark's centre that ends on another may be a pointer, if a text is just there."""
        start, end = self._centred(first, stroke.start), self._centred(last, stroke.end)
        if start and not end:
            return [Pointer(first, (stroke.end,), stroke, False)]
        if end and not start:
            return [Pointer(last, (stroke.start,), stroke, False)]
        return []

    def _by_pointer(self, left: list[int]) -> list[int]:
        pointers = self._pointers()
        if not pointers or not left:
            return left
        done = self._tied_by_handle(pointers, left)
        free = [k for k in range(len(pointers)) if k not in done]
        rest = [i for i in left if i not in done.values()]
        scores = score_tails(
            {k: pointers[k].tails for k in free},
            {i: self.labels[i].text for i in rest},
            {k for k in free if not pointers[k].free},
        )
        chosen = _of_one_kind(mutual(scores), pointers)
        for k, i in chosen.items():
            self._add(i, pointers[k].mark, "leader")
        return [i for i in rest if i not in set(chosen.values())]

    def _tied_by_handle(self, pointers: list[Pointer], left: list[int]) -> dict[int, int]:
        by_handle = {self.labels[i].text.origin.handle: i for i in left}
        done: dict[int, int] = {}
        for k, pointer in enumerate(pointers):
            tied = pointer.stroke.text
            if tied and tied in by_handle and by_handle[tied] not in done.values():
                done[k] = by_handle[tied]
                self._add(by_handle[tied], pointer.mark, "leader")
        return done

    # --- offsets and nearness ---------------------------------------------------------------------------------

    def _near_pairs(self, left: list[int], most: int) -> tuple[list[tuple[int, int]], Vector]:
        """Return (label, mark) pairs within reach of the anchor and their offsets, shape (n, 3); none if too many."""
        pairs: list[tuple[int, int]] = []
        offsets = []
        for i in left:
            text = self.labels[i].text
            near = self.tree.query_ball_point(text.anchor, OFFSET_REACH * text.height)
            if not near:
                continue
            pairs += [(i, j) for j in near]
            offsets.append(-text.local(self.xyz[near]))
            if len(pairs) > most:
                return [], np.zeros((0, 3))
        return pairs, np.concatenate(offsets) if offsets else np.zeros((0, 3))

    def _by_offset(self, left: list[int]) -> list[int]:
        """Tie all labels that one common offset explains, if it explains most and no other comes near."""
        from scipy.spatial import cKDTree

        if len(left) < 3:
            return left
        pairs, offsets = self._near_pairs(left, min(200 * len(left), MOST_PAIRS))
        if not pairs:
            return left
        tree, near = cKDTree(offsets), 0.02 * self.height + 2.0 * self.snap
        if len(pairs) > MANY_PAIRS:  # a label with two marks at one offset then counts twice
            votes = [int(n) for n in tree.query_ball_point(offsets, near, return_length=True)]
        else:
            votes = [len({pairs[k][0] for k in group}) for group in tree.query_ball_point(offsets, near)]
        best = int(np.argmax(votes))
        apart = np.linalg.norm(offsets - offsets[best], axis=1) > 0.1 * self.height
        second = max((v for v, a in zip(votes, apart, strict=True) if a), default=0)
        if votes[best] < max(3, OFFSET_SHARE * len(left)) or second > 0.6 * votes[best]:
            return left
        taken: dict[int, list[int]] = {}
        for k in tree.query_ball_point(offsets[best], near, return_sorted=True):
            taken.setdefault(pairs[k][0], []).append(pairs[k][1])
        good = {i: js[0] for i, js in taken.items() if len(js) == 1}
        for i, j in good.items():
            self._add(i, j, "offset")
        return [i for i in left if i not in good]

    def _by_nearness(self, left: list[int]) -> None:
        """Tie the rest where nearest is mutual and stands out, and put the others on the list of untied."""
        from scipy.spatial import cKDTree

        used = {id(t.mark) for t in self.ties if t.how != "attribute"}
        rivals = [i for i in left if not self.labels[i].free]
        pointed = any(t.how == "leader" for t in self.ties)  # then a label without a pointer is suspect
        anchors = cKDTree(np.array([self.labels[i].text.anchor for i in rivals]).reshape(-1, 3))
        widest = 1.5 * max((max(map(abs, self.labels[i].text.box)) for i in rivals), default=0.0)
        for i in rivals:
            text = self.labels[i].text
            near = self.tree.query_ball_point(text.anchor, (NEAR_REACH + 2.0) * text.height + max(map(abs, text.box)))
            far = box_distances(text, self.xyz[near])
            within = np.flatnonzero(far <= MARGIN * NEAR_REACH * text.height)
            ranked = sorted((float(far[k]), near[k]) for k in within)
            close = tuple(
                self.marks[j] for d, j in ranked[:4] if d <= max(NEAR_REACH * text.height, 2.0 * ranked[0][0])
            )
            clear = bool(ranked) and (len(ranked) == 1 or ranked[1][0] > MARGIN * max(ranked[0][0], 0.2 * text.height))
            if (
                clear
                and not pointed
                and id(self.marks[ranked[0][1]]) not in used
                and self._alone(anchors, widest, rivals, i, ranked[0])
            ):
                self._add(i, ranked[0][1], "near")
            else:
                self.untied.append(UntiedLabel(self.labels[i], close))

    def _alone(self, anchors: Any, widest: float, rivals: list[int], label: int, best: tuple[float, int]) -> bool:
        """Whether no other label is about as near to the same mark; `anchors` is the tree of the rivals' anchors."""
        if best[0] > NEAR_REACH * self.labels[label].text.height:
            return False
        limit = MARGIN * max(best[0], 0.2 * self.labels[label].text.height)
        place = self.xyz[best[1]]
        others = (rivals[k] for k in anchors.query_ball_point(place, limit + widest))
        return all(i == label or box_distances(self.labels[i].text, place[None])[0] > limit for i in others)

    def _add(self, label: int, mark: int, how: str) -> None:
        entry = self.labels[label]
        self.ties += [Tie(name, self.marks[mark], how, entry.text) for name in entry.names]


def box_distances(text: Text, places: Vector) -> Vector:
    """Return how far places, shape (n, 3), are from the box of a text, counting all three directions."""
    u, v, w = text.local(places).T
    left, bottom, right, top = text.box
    aside = np.maximum(np.maximum(left - u, u - right), 0.0)
    upward = np.maximum(np.maximum(bottom - v, v - top), 0.0)
    far: Vector = np.hypot(np.hypot(aside, upward), w)
    return far


def _of_one_kind(chosen: dict[int, int], pointers: list[Pointer]) -> dict[int, int]:
    """Drop a pointer that is drawn unlike nearly all others and shares its mark with one of them.

    A link that misses one of its own marks looks like a pointer to the other.
    """
    kinds = {k: (pointers[k].stroke.leader, pointers[k].stroke.origin.layer.lower()) for k in chosen}
    usual, count = Counter(kinds.values()).most_common(1)[0] if kinds else ((False, ""), 0)
    if len(chosen) < 5 or count < USUAL_SHARE * len(chosen):
        return chosen
    marks = {pointers[k].mark for k in chosen if kinds[k] == usual}
    return {k: i for k, i in chosen.items() if kinds[k] == usual or pointers[k].mark not in marks}
