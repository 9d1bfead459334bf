"""Which pointers there are, and on which mark each has its head.

A pointer is a leader, or a line from a mark to a text; it may be drawn in pieces: lines that go on where another line
of the same layer ends.

Terms
-----
head : the end of a pointer that is on a mark, or stops short of one that it aims at.
bend : a place where exactly two strokes of one layer meet end to end, which is no mark's centre.
tail : the end of a pointer that is not on a mark, or a bend.
score : how badly a tail fits to a text (see `tails`), in text heights; 0 at either end of the words.

What it cannot know
-------------------
Whether a line beyond a bend still belongs to the pointer: so the bends stay tails of their own beside the last end, and
a chain that comes to a second mark is no pointer at all, but a link. Where nothing has a symbol, a line from a joint to
a text may be a leader or a link: see `Pointers.prove`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from kin3d.reading.dxf.content import DrawnMark, Stroke, Text, Vector, grouped, tree_of
from kin3d.reading.dxf.tails import TAIL_REACH, cost_of, tail_scores

GAP = 1.5  # text heights; how far before a symbol's rim a pointer that aims at its centre may stop
AIM = 0.12  # text heights; how far it may then pass by the centre
EXACTLY = 0.005  # text heights; a line that would pass by a second mark's centre by less may be a link that ends early
HEADS = 1.1  # how much more the second mark must cost at a head
CENTRED = 0.01  # text heights; printed figures are rounded
INSIDE = 1.05  # radii; within this a place is on a symbol
ASIDE = 0.1  # radii; within this a line is drawn to a mark's centre, printed figures being rounded
ALONE = 2.5  # how many times farther the centre of a second symbol must be where two lie over each other
LOOSE_END = 1.0  # text heights; a line that ends so near to the words belongs to them
MAX_BENDS = 3  # bends of one pointer; more is an outline


@dataclass(frozen=True, slots=True, eq=False)
class Head:
    """The marks that the end of a stroke may be on, the likeliest first; its cost; whether it is at the centre."""

    marks: tuple[int, ...]
    cost: float
    centred: bool = False


@dataclass(frozen=True, slots=True, eq=False)
class Pointer:
    """A stroke with its head and its tails."""

    head: Head
    tails: tuple[Vector, ...]
    stroke: Stroke
    free: bool = True  # False: counts only for a text that stands at its very end

    @property
    def mark(self) -> int | None:
        """The mark at the head; None where it could be several."""
        return self.head.marks[0] if len(self.head.marks) == 1 else None


class Pointers:
    """All pointers of a drawing, `found`, and what proves lines to be leaders."""

    def __init__(self, marks: Sequence[DrawnMark], strokes: Sequence[Stroke], snap: float, height: float) -> None:
        self.marks, self.strokes, self.snap, self.height = list(marks), list(strokes), snap, height
        self.xyz = np.array([m.xyz for m in marks]).reshape(-1, 3)
        self.reach = np.array([m.reach for m in marks])
        self.bare = np.array([m.kind == "end" for m in marks], dtype=bool)
        self.tree = tree_of(self.xyz)
        self.widest = float(self.reach.max(initial=0.0)) * INSIDE + snap
        self.worst = cost_of(TAIL_REACH)
        ends = np.array([(s.start, s.end) for s in self.strokes]).reshape(-1, 2, 3)
        self.step = max(4.0 * snap, 1e-12)  # ends so near to each other are one place
        keys = np.round(ends.reshape(-1, 3) / self.step).astype(int).tolist()
        others = [(s, end) for s in self.strokes for end in (s.end, s.start)]
        self.meets = grouped(zip(map(tuple, keys), others, strict=True))  # strokes of a place, with their other ends
        far, near = tree_of(self.xyz[~self.bare]).query(ends)  # without symbols infinitely far
        self.ends = ends[far > INSIDE * np.append(self.reach[~self.bare], 0.0)[near] + snap]
        self.end_tree = tree_of(self.ends)
        close = (far.min(axis=1) <= self.widest + GAP * height) | self.bare.all()
        able = [s for s, c in zip(self.strokes, close, strict=True) if c or s.leader]
        self.found = [p for stroke in able for p in self._pointers(stroke) if p.tails]

    def _at(self, place: Vector) -> tuple[int, bool] | None:
        """Return the one mark on whose symbol a place lies and whether at its centre; None where none stands out."""
        near = [i for i in self.tree.query_ball_point(place, self.widest) if not self.bare[i]]
        far = np.linalg.norm(self.xyz[near] - place, axis=1)
        inside = sorted((d, i) for d, i in zip(far, near, strict=True) if d <= INSIDE * self.reach[i] + self.snap)
        if not inside or (len(inside) > 1 and inside[0][0] > self.snap and inside[1][0] < ALONE * inside[0][0]):
            return None
        return int(inside[0][1]), bool(inside[0][0] <= self.snap + ASIDE * self.reach[inside[0][1]])

    def _head(self, place: Vector, other: Vector, leader: bool) -> Head | None:
        """Return the mark that a stroke's end is on or aims at, its cost and whether it is at the centre."""
        near = self.tree.query_ball_point(place, self.widest + GAP * self.height)
        solid = [i for i in near if not self.bare[i]]
        way = (place - other) / (float(np.linalg.norm(place - other)) or 1.0)
        step = self.xyz[solid] - place
        far, along = np.linalg.norm(step, axis=1), step @ way
        aside = np.sqrt(np.maximum(far**2 - along**2, 0.0))
        beyond = far - self.reach[solid]
        inside = far <= INSIDE * self.reach[solid] + self.snap
        aims = (along > 0.0) & (beyond <= GAP * self.height) & (aside <= AIM * self.height)
        if leader:
            aims |= beyond <= 0.5 * self.height
        rim = np.where(self.reach[solid] > 0.0, np.abs(beyond), np.inf)
        miss = np.where(inside, np.minimum(np.minimum(aside, far), rim), aside + 0.1 * np.maximum(beyond, 0.0))
        ranked = sorted(
            (cost_of(float(miss[k]) / self.height), i)
            for k, i in enumerate(solid) if inside[k] or aims[k]
        )  # fmt: skip
        if not ranked:
            return self._bare_head(place, near, leader)
        nearest = int(far.argmin())
        if far[nearest] <= max(self.snap, CENTRED * self.height):  # drawn to the centre itself
            return Head((solid[nearest],), cost_of(float(far[nearest]) / self.height), True)
        if self._is_bend(place):
            return None
        cost, mark = ranked[0]
        alike = tuple(i for c, i in ranked if c - cost < HEADS)
        return Head(alike, cost, bool(far[solid.index(mark)] <= self.snap + ASIDE * self.reach[mark]))

    def _bare_head(self, place: Vector, near: list[int], leader: bool) -> Head | None:
        """Return the bare end that a stroke's end meets: a leader's, or that of a line where other lines end."""
        limit = 0.5 * self.height if leader else self.snap
        ends = sorted((float(np.linalg.norm(self.xyz[i] - place)), i) for i in near if self.bare[i])
        ends = [(d, i) for d, i in ends if d <= limit]
        joint = self.bare.all() and len(self.meets[self._key(place)]) > 1 and not self._is_bend(place)
        if not ends or not (leader or joint):
            return None
        alike = tuple(i for d, i in ends if d <= ALONE * ends[0][0])
        around = self.tree.query_ball_point(self.xyz[ends[0][1]], self.height)
        if leader and self.bare[around].sum() > 1:  # the corners of an outline
            alike = tuple(i for i in around if self.bare[i])
        return Head(alike, cost_of(ends[0][0] / self.height), True)

    def _pointers(self, stroke: Stroke) -> list[Pointer]:
        first = self._head(stroke.start, stroke.end, stroke.leader)
        last = None if stroke.leader else self._head(stroke.end, stroke.start, False)
        found, head, tail = (first, stroke.start, stroke.end) if first is not None else (last, stroke.end, stroke.start)
        if found is None:
            return []
        if first is not None and last is not None:  # from one mark's centre to another: if a text is just there
            one = first.marks == last.marks or first.centred == last.centred
            if one or self.bare[[*first.marks, *last.marks]].any():
                return []
            best, tail = (first, stroke.end) if first.centred else (last, stroke.start)
            return [Pointer(best, (tail,), stroke, False)]
        if not stroke.leader and self._stops_short(head, tail, found):
            return [Pointer(found, (tail,), stroke, False)]
        return [Pointer(found, self._tails(stroke, head, tail), stroke)]

    def _stops_short(self, head: Vector, tail: Vector, found: Head) -> bool:
        """Whether a line from a mark's centre would run on through another's: it may be a link that ends too early."""
        if not found.centred or self.bare[list(found.marks)].any():
            return False
        step = self.xyz[~self.bare] - tail
        way = (tail - head) / (float(np.linalg.norm(tail - head)) or 1.0)
        along = step @ way
        aside = np.linalg.norm(step - along[:, None] * way, axis=1)
        return bool(((along > 0.0) & (aside <= EXACTLY * self.height)).any())

    def prove(self, pointers: Sequence[Pointer]) -> bool:
        """Whether lines on bare ends are leaders: all of their layers are, or every loose end of a line is a tail."""
        tails = {self._key(t) for p in pointers for t in p.tails}
        chosen = {id(p.stroke) for p in pointers}
        layers = {p.stroke.origin.layer for p in pointers}
        others = [
            s for s in self.strokes
            if s.origin.layer in layers and id(s) not in chosen and not s.leader
            and not {self._key(s.start), self._key(s.end)} & tails
        ]  # fmt: skip
        return len(others) <= 0.1 * len(pointers) or {k for k, ends in self.meets.items() if len(ends) == 1} <= tails

    def loose_near(self, text: Text) -> bool:
        """Whether a line ends beside a text and on no symbol: then it has a pointer, which was not understood."""
        near = self.end_tree.query_ball_point(text.anchor, 1.5 * max(map(abs, text.box)) + text.height)
        local = text.local(self.ends[near])
        return bool(len(local)) and bool((tail_scores(text, local) <= LOOSE_END).any())

    def heads_near(self, text: Text) -> list[int]:
        """Return the marks at the heads of the pointers whose tails end near a text, the nearest first."""
        scored = ((float(tail_scores(text, text.local(np.array(p.tails))).min()), p.head.marks) for p in self.found)
        return [mark for _, mark in sorted((s, m) for s, marks in scored if s <= TAIL_REACH for m in marks)[:6]]


    # --- which strokes meet where ---------------------------------------------------------------------------------

    def _key(self, place: Vector) -> tuple[int, ...]:
        """Return what two ends at one place have in common."""
        return tuple(np.round(place / self.step).astype(int).tolist())

    def _is_bend(self, place: Vector) -> bool:
        """Whether exactly two strokes of one layer meet at a place."""
        meeting = self.meets.get(self._key(place), [])
        return len(meeting) == 2 and meeting[0][0].origin.layer == meeting[1][0].origin.layer

    def _tails(self, stroke: Stroke, head: Vector, tail: Vector) -> tuple[Vector, ...]:
        """Return the tail of a stroke whose head is on a mark, and those of the strokes that go on from it.

        Nothing is returned where they lead to a second mark's centre, or to a second mark from one that is not
        hit at its centre either: which of the two is pointed at cannot be told.
        """
        found = [tail]
        start = self._at(head)
        centred = start is not None and start[1]
        before = stroke
        while len(found) <= MAX_BENDS:
            others = [(s, end) for s, end in self.meets.get(self._key(found[-1]), []) if s is not before]
            if len(others) != 1 or not self._is_bend(found[-1]):
                return tuple(found)
            before, end = others[0]
            second = self._at(end)  # a mark that only happens to stand at a bend is none
            if second is not None and (second[1] or not (centred or self._is_bend(end))):
                return ()
            found.append(end)
        return (tail,)
