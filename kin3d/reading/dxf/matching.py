"""Which label belongs to which mark by what one view shows: pointers, one common offset, nearness.

Terms
-----
mark : a place that may be a pickup point (see `content`); where nothing has a symbol, a place where lines meet.
label : a text that names a point; *rivals* are the other texts, which have pointers of their own.
offset : where a label's anchor stands from its mark, in the label's own reading direction, upward and normal.
tie : a label with its mark and how it came to it: ``"attribute"``, ``"leader"``, ``"offset"``, ``"near"``, ``"layer"``,
    ``"place"``, ``"agreement"``, ``"link"``, ``"table"``.

Costs are logarithms: a miss of s text heights costs log(1 + s / FINE), so that twice as far costs log 2 more, and no
more than nothing once it is as exact as drawings are. An assignment stands where the next best, in which a label has
another mark, costs `MARGIN` more in all.

What it cannot know: whether the draughtsman hung a label on the wrong point. A tie by nearness alone is weak: on a
sheet of views it counts only where another view agrees (`agreement`), and in a drawing in space only where every label
has its own mark so. Where two choices are alike nothing is tied and both are listed. The bare end of a line is never a
point by offset or nearness.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from kin3d.reading.dxf.assignment import assign
from kin3d.reading.dxf.content import DrawnMark, Stroke, Text, Vector, grouped, tree_of
from kin3d.reading.dxf.leaders import Pointer, Pointers
from kin3d.reading.dxf.tails import cost_of, score_tails
from kin3d.reading.dxf.wording import PointName

FIRM = ("attribute", "leader", "offset", "layer", "place")  # ways by which a label is surely its mark's
SNAP = 2e-6  # share of the drawing's extent within which two places are one
SYMBOL_SHARE = 0.05  # a circle larger than this share of the extent is a part (a tyre), not a symbol
CLEAR = 2.5  # how many times farther the second mark must be where nearness counts
OFFSET_SHARE = 0.6  # share of the labels without pointer that one common offset must explain to be believed
OFFSET_REACH = 15.0  # text heights
NEAR_REACH = 6.0  # text heights to the nearest mark, where there is neither pointer nor offset
HABIT = 0.5  # share of the labels with a pointer from which on a label without one is not tied by what is beside it
FEW = 0.15  # share of the labels that lines must point at; less, and they are links that end beside words
ALL_LEADERS = 0.9  # share of the labels with a leader from which on lines are no pointers
NEAR_SHARE = 0.75  # share of the labels without pointer and offset that nearness must explain, clearly
MARGIN = 0.65
LOOSE = 6.0  # tails this many times farther from their words than is usual on the drawing are not believed
MANY_PLACES = 300  # of one name; they are too far apart in any case
MOST_PAIRS = 1_000_000  # of labels and marks that are looked at for one offset


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
    """A label that could belong to several marks, the likeliest first, or to none.

    `pointed` are those at the heads of pointers beside the label; it is `sure` where the pointer is surely the label's,
    and at its head several marks lie so near to each other that it does not tell.
    """

    label: PointLabel
    choices: tuple[DrawnMark, ...]
    pointed: tuple[DrawnMark, ...] = ()
    sure: bool = False

    @property
    def point(self) -> str:
        """The first name that it gives."""
        return self.label.names[0].point


def extent_of(points: Sequence[Vector] | Vector) -> float:
    """Return the length of the diagonal of the box around places; 1 where there is none."""
    if not len(points):
        return 1.0
    return float(np.linalg.norm(np.ptp(np.array(points), axis=0))) or 1.0


def size_of(marks: Sequence[DrawnMark]) -> float:
    """Return the extent of marks where it says anything of the drawing's unit; 0 of two or fewer."""
    return extent_of([m.xyz for m in marks]) if len(marks) > 2 else 0.0


def farthest_apart(places: Vector) -> float:
    """Return the largest distance between two places, shape (n, 3); of a great many, the diagonal of their box."""
    if len(places) > MANY_PLACES:
        return float(np.linalg.norm(np.ptp(places, axis=0)))
    return max((float(np.linalg.norm(a - b)) for a in places for b in places), default=0.0)


def symbols(marks: Sequence[DrawnMark]) -> list[DrawnMark]:
    """Return the marks that can be a point's symbol, each place once (small before large, block before circle)."""
    extent = extent_of([m.xyz for m in marks])
    order = {"block": 0, "point": 1, "circle": 2}
    fit = [m for m in marks if m.kind != "end" and m.reach <= SYMBOL_SHARE * extent]
    fit.sort(key=lambda m: (order[m.kind], m.reach, *m.xyz))
    if not fit:
        return []
    xyz = np.array([m.xyz for m in fit])
    kept: list[DrawnMark] = []
    gone = np.zeros(len(fit), dtype=bool)
    for i, twins in enumerate(tree_of(xyz).query_ball_point(xyz, SNAP * extent)):
        if gone[i]:
            continue
        mark, gone[twins] = fit[i], True
        kept.append(replace(mark, reach=max(fit[j].reach for j in twins)))
    return kept


class Matcher:
    """Ties labels to marks (symbols, and bare ends of lines) by strokes and by what is beside them.

    `rivals` are texts that name no point and may have pointers of their own.
    """

    def __init__(
        self,
        marks: Sequence[DrawnMark],
        strokes: Sequence[Stroke],
        labels: Sequence[PointLabel],
        rivals: Sequence[Text] = (),
    ) -> None:
        self.marks = list(marks)
        self.labels = list(labels)
        self.height = float(np.median([lab.text.height for lab in labels])) if labels else 1.0
        self.snap = SNAP * extent_of([m.xyz for m in marks])
        self.pointers = Pointers(self.marks, strokes, self.snap, self.height)
        self.rivals = list(rivals)
        self.solid = [m for m in self.marks if m.kind != "end"]
        self.xyz = np.array([m.xyz for m in self.solid]).reshape(-1, 3)
        self.tree = tree_of(self.xyz)
        self.heads: dict[int, tuple[int, ...]] = {}  # of labels whose pointer is sure and its mark is not

    def match(self) -> tuple[list[Tie], list[UntiedLabel]]:
        """Return the ties and what could not be tied."""
        found = {i: (m, "leader") for i, m in self._pointed().items()}
        left = [i for i in range(len(self.labels)) if i not in found]
        wanted = [i for i in left if not self.labels[i].free]
        if self.solid and len(found) < HABIT * max(len(found) + len(wanted), 1):
            found |= self._beside(left, wanted)
        ties = [Tie(n, m, how, self.labels[i].text) for i, (m, how) in found.items() for n in self.labels[i].names]
        return ties, [self._untied(i) for i in wanted if i not in found]

    # --- pointers ---------------------------------------------------------------------------------------------

    def _pointed(self) -> dict[int, DrawnMark]:
        """Return the mark of every label that a pointer ties to one."""
        pointers = self.pointers.found
        by_handle: dict[Text | str, int] = {x.text: i for i, x in enumerate(self.labels)}
        by_handle |= {x.text.origin.handle: i for i, x in enumerate(self.labels) if not x.text.origin.blocks}
        told = {k: by_handle[p.stroke.text] for k, p in enumerate(pointers) if p.stroke.text in by_handle}
        told = {k: i for k, i in told.items() if list(told.values()).count(i) == 1}
        out = {i: self.marks[m] for k, i in told.items() if (m := pointers[k].mark) is not None}
        self.heads = {i: pointers[k].head.marks for k, i in told.items() if pointers[k].mark is None}
        habit = sum(p.stroke.leader for p in pointers) >= ALL_LEADERS * len(self.labels)  # then lines are no leaders
        free = {k: p for k, p in enumerate(pointers) if k not in told and (p.stroke.leader or not habit)}
        texts = {i: x.text for i, x in enumerate(self.labels) if i not in told.values()}
        texts |= {len(self.labels) + n: t for n, t in enumerate(self.rivals)}
        strict = {k for k, p in free.items() if not p.free}
        scores = score_tails({k: p.tails for k, p in free.items()}, texts, strict, set(range(len(self.labels))))
        costs = {(i, k): cost + free[k].head.cost for (k, i), cost in scores.items()}
        chosen = assign(costs, self.pointers.worst)
        tails = [scores[k, i] for i, (k, _) in chosen.items() if i < len(self.labels)]
        limit = max(float(np.median(tails or [0.0])) + np.log(LOOSE), cost_of(0.6))
        for i, (k, margin) in chosen.items():
            if i >= len(self.labels) or margin < MARGIN or scores[k, i] > limit:
                continue
            mark = free[k].mark
            if mark is not None:
                out[i] = self.marks[mark]
            else:
                self.heads[i] = free[k].head.marks
        return self._proved({i: (m, free.get(chosen[i][0]) if i in chosen else None) for i, m in out.items()})

    def _proved(self, chosen: dict[int, tuple[DrawnMark, Pointer | None]]) -> dict[int, DrawnMark]:
        """Keep plain lines only where they are the drawing's way to point, and on bare ends prove to be leaders."""
        names = [i for i, x in enumerate(self.labels) if not x.free]
        lines = {i: p for i, (_, p) in chosen.items() if p is not None and not p.stroke.leader}
        bare = {i: p for i, p in lines.items() if chosen[i][0].kind == "end"}
        heads = [tuple(chosen[i][0].xyz) for i in bare]
        good = set(names) <= set(chosen) and len(set(heads)) == len(heads) and self.pointers.prove(list(bare.values()))
        lost = {*(() if good else bare), *(lines if len(lines) < FEW * len(names) else ())}
        return {i: m for i, (m, _) in chosen.items() if i not in lost}

    # --- offsets and nearness ---------------------------------------------------------------------------------

    def _beside(self, left: list[int], wanted: list[int]) -> dict[int, tuple[DrawnMark, str]]:
        """Return the marks of labels without pointers: by one common offset, else by nearness with a wide margin."""
        common = self._offset(left)
        open_ = [i for i in wanted if i not in common]
        near = self._nearest([i for i in open_ if not self.pointers.loose_near(self.labels[i].text)])
        near = {i: j for i, j in near.items() if j not in common.values()}
        claimed = {j for i in open_ if i not in near for _, j in self._ranked(i)}
        near = {i: j for i, j in near.items() if j not in claimed}
        found = {i: (self.solid[j], "offset") for i, j in common.items()}
        if len(near) >= NEAR_SHARE * len(open_):
            found |= {i: (self.solid[j], "near") for i, j in near.items()}
        return found

    def _offset(self, left: list[int]) -> dict[int, int]:
        """Return the marks of the labels that one common offset explains, if it explains most and no other is near."""
        pairs: list[tuple[int, int]] = []
        for i in left:
            text = self.labels[i].text
            around = self.tree.query_ball_point(text.anchor, OFFSET_REACH * text.height)
            pairs += [(i, j) for j in around]
            if len(pairs) > min(200 * len(left), MOST_PAIRS):
                return {}
        if len(left) < 3 or not pairs:
            return {}
        offsets = np.array([-self.labels[i].text.local(self.xyz[j]) for i, j in pairs])
        tree, near = tree_of(offsets), 0.02 * self.height + 2.0 * self.snap
        votes = np.array(tree.query_ball_point(offsets, near, return_length=True))
        best = int(np.argmax(votes))
        apart = np.linalg.norm(offsets - offsets[best], axis=1) > 0.1 * self.height
        second = votes[apart].max(initial=0)
        if votes[best] < max(3, OFFSET_SHARE * len(left)) or second > 0.6 * votes[best]:
            return {}
        taken = grouped(pairs[k] for k in tree.query_ball_point(offsets[best], near, return_sorted=True))
        return {i: js[0] for i, js in taken.items() if len(js) == 1}

    def _nearest(self, rest: list[int]) -> dict[int, int]:
        """Return the nearest mark of each label that has no other near, and of which no other label is near."""
        ranked = {i: self._ranked(i) for i in rest}
        costs = {(i, j): np.log(max(far, 0.2)) for i, near in ranked.items() for far, j in near}
        chosen = assign(costs, np.log(CLEAR * NEAR_REACH) + 1.0)
        first = {i: near[0] for i, near in ranked.items() if near}
        return {
            i: j
            for i, (j, margin) in chosen.items()
            if margin >= np.log(CLEAR) and first[i][1] == j and first[i][0] <= NEAR_REACH
        }

    def _ranked(self, label: int) -> list[tuple[float, int]]:
        """Return the marks near a label's words, the nearest first, with their distances in text heights."""
        text = self.labels[label].text
        near = self.tree.query_ball_point(text.anchor, CLEAR * NEAR_REACH * text.height + max(map(abs, text.box)))
        far = box_distances(text, self.xyz[near]) / text.height
        return sorted((float(d), j) for d, j in zip(far, near, strict=True) if d <= CLEAR * NEAR_REACH)

    def _untied(self, label: int) -> UntiedLabel:
        """Return an untied label with the marks that it could belong to, the likeliest first."""
        heads = self.heads.get(label) or self.pointers.heads_near(self.labels[label].text)
        pointed = [self.marks[k] for k in heads]
        ranked = self._ranked(label) if self.solid else []
        limit = max(NEAR_REACH, 2.0 * ranked[0][0]) if ranked else 0.0
        near = [self.solid[j] for d, j in ranked[:6] if d <= limit]
        return UntiedLabel(
            self.labels[label], tuple(dict.fromkeys([*pointed, *near])), tuple(pointed), label in self.heads
        )


def box_distances(text: Text, places: Vector) -> Vector:
    """Return how far places, shape (n, 3), are from the box of a text, counting all three directions."""
    u, v, w = text.local(places).T
    left, bottom, right, top = text.box
    aside = np.maximum(np.maximum(left - u, u - right), 0.0)
    upward = np.maximum(np.maximum(bottom - v, v - top), 0.0)
    far: Vector = np.hypot(np.hypot(aside, upward), w)
    return far
