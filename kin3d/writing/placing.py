"""Where words go in a drawing: near what they speak of, on no other words, and across as few lines as can be."""

from __future__ import annotations

from dataclasses import dataclass, field
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from kin3d.writing.drawing import Drawing, Frame, Polyline, Symbol, TextAlign, Words
from kin3d.writing.lettering import block_size, type_size

Array = NDArray[np.float64]
AWAY = (0.9, 1.8, 3.0, 4.5, 6.5, 9.0, 12.0, 16.0)  # tried distances, in heights of capitals
TURNS = np.radians([0, 180, 90, 270, 30, 150, 210, 330, 60, 120, 240, 300])
GRID = 24  # places across the frame that are tried when there is no room near by
LINE_COST, LEADER_COST = 7.0, 0.8  # of a line under words, and of one that a leader crosses, in heights of capitals
AIM_COST = 2.0  # half of what words opposite to where they are liked cost, in heights of capitals
LED = 3.0  # words farther away than so many heights have a leader
ROOM = 0.35  # about words, in heights of capitals


@dataclass(slots=True)
class Placer:
    """Places words in a drawing one after the other; what is drawn first is in nobody's way but its own."""

    drawing: Drawing
    frame: Frame
    boxes: list[Array] = field(default_factory=list)  # (2, 2): low and high corner
    strokes: list[Array] = field(default_factory=list)  # (2, 2): start and end

    def avoid(self, places: Array) -> None:
        """Lines that words should not stand on, shape (n, 2)."""
        self.strokes += [np.stack(pair) for pair in pairwise(places)]

    def keep(self, low: Array, high: Array) -> None:
        """A box that no words may stand on."""
        self.boxes.append(np.array([low, high], dtype=float))

    def learn(self) -> None:
        """Avoid every line that has been drawn, and every word that has been written."""
        for item in self.drawing.items:
            if isinstance(item, Words):
                self.keep(*words_box(item, self.drawing.scale))
            if isinstance(item, Symbol):
                reach = item.size * self.drawing.height
                self.keep(item.at[:2] - reach, item.at[:2] + reach)
            if isinstance(item, Polyline) and (item.width is None or item.width > 0.0):
                self.avoid(np.concatenate([item.places, item.places[:1]]) if item.closed else item.places)

    def lines_under(self, low: Array, high: Array) -> int:
        """How many of the lines pass through a box."""
        return int(_cut(self._strokes(), low, high).sum())

    def words(self, layer: str, at: Array, text: str, size: float = 1.0, aim: float = 0.0, **look: Any) -> None:
        """Write words near a place.

        Parameters
        ----------
        size : float
            Of the letters, over the drawing's.
        aim : float
            Direction in which the words are liked best, degrees from the right, counted to the left.
        """
        lines = text.split("\n")
        wide, high = np.array(block_size(lines, type_size(size), bool(look.get("bold")))) * self.drawing.scale
        half = np.array([wide, high]) / 2.0
        middle = self._best(np.asarray(at, dtype=float), half, np.radians(aim))
        h, way = self.drawing.height, middle - at
        near = np.abs(way) - half
        if float(np.hypot(*np.maximum(near, 0.0))) > LED * h:
            end = middle - np.clip(way, -half - 0.3 * h, half + 0.3 * h)
            self.drawing.line(layer, at, end, colour="mid", width=0.6, dash="solid")
            self.avoid(np.stack([at, end]))
        self.keep(middle - half - ROOM * h, middle + half + ROOM * h)
        over = self.lines_under(middle - half, middle + half) > 0
        # lines are set from the side that faces the place
        align: TextAlign = "center" if abs(way[0]) < half[0] else "left" if way[0] > 0.0 else "right"
        x = {"left": middle[0] - half[0], "center": middle[0], "right": middle[0] + half[0]}[align]
        self.drawing.words(layer, (x, middle[1]), text, align=align, level="middle", size=size, ground=over, **look)

    def _best(self, at: Array, half: Array, aim: float) -> Array:
        near = self._costs(at, self._around(at, half), half, aim)
        if np.isfinite(near[1]).any():
            return np.asarray(near[0][int(near[1].argmin())])
        x, y = (np.linspace(self.frame.low[k] + half[k], self.frame.high[k] - half[k], GRID) for k in (0, 1))
        every = np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2)
        far = self._costs(at, every, half, aim)
        if not np.isfinite(far[1]).any():  # a leader may then cross words
            far = self._costs(at, every, half, aim, led=False)
        return np.asarray(far[0][int(far[1].argmin())])

    def _strokes(self) -> Array:
        """Every line to avoid, shape (lines, 2, 2)."""
        return np.array(self.strokes).reshape(-1, 2, 2)

    def _around(self, at: Array, half: Array) -> Array:
        h = self.drawing.height
        ways = np.stack([np.cos(TURNS), np.sin(TURNS)], axis=-1)
        out = [at + ways * (half * np.abs(ways) ** 0.35 + d * h) for d in AWAY]
        return np.concatenate(out)

    def _costs(
        self, at: Array, middles: Array, half: Array, aim: float, led: bool = True
    ) -> tuple[Array, Array]:
        """Places with their costs, in heights of capitals; infinite where there is no room."""
        h = self.drawing.height
        room = half + ROOM * h
        low, high = middles - room, middles + room
        inside = (low >= self.frame.low).all(axis=1) & (high <= self.frame.high).all(axis=1)
        way = middles - at
        away = np.hypot(*np.maximum(np.abs(way) - half, 0.0).T)
        turned = np.arctan2(way[:, 1], way[:, 0]) - aim
        cost = away / h + AIM_COST * (1.0 - np.cos(turned))
        ends = np.stack([np.broadcast_to(at, middles.shape), middles - np.clip(way, -half, half)], axis=1)
        led_far = away > LED * h
        if self.boxes:
            box = np.array(self.boxes)[:, None]  # (boxes, 1, 2, 2)
            blocked = (low < box[..., 1, :]).all(axis=-1) & (high > box[..., 0, :]).all(axis=-1)
            if led:  # a leader leaves the box that it begins in
                others = ~((at >= box[..., 0, :]) & (at <= box[..., 1, :])).all(axis=-1)
                blocked |= others & led_far & _cut(ends, box[..., 0, :], box[..., 1, :])
            inside &= ~blocked.any(axis=0)
        strokes = self._strokes()[:, None]  # (strokes, 1, 2, 2)
        cost += LINE_COST * _cut(strokes, low, high).sum(axis=0)
        cost += LEADER_COST * (led_far & _crossed(ends, strokes)).sum(axis=0)
        return middles, np.where(inside, cost, np.inf)


def words_box(item: Words, scale: float) -> tuple[Array, Array]:
    """Low and high corner of words as they stand."""
    wide, high = np.array(block_size(item.lines, type_size(item.size), item.bold)) * scale
    x = {"left": 0.0, "center": -wide / 2.0, "right": -wide}[item.align]
    y = {"bottom": 0.0, "middle": -high / 2.0, "top": -high}[item.level]
    turn = np.radians(item.turn_deg)
    onto = np.array([(np.cos(turn), np.sin(turn)), (-np.sin(turn), np.cos(turn))])
    corners = item.at[:2] + np.array([(x, y), (x + wide, y), (x, y + high), (x + wide, y + high)]) @ onto
    return corners.min(axis=0), corners.max(axis=0)


def _cut(strokes: Array, low: Array, high: Array) -> NDArray[np.bool_]:
    """Whether lines (…, 2, 2) pass through boxes of corners (…, 2), shape (…)."""
    start, way = strokes[..., 0, :], strokes[..., 1, :] - strokes[..., 0, :]
    enter, leave = np.zeros(()), np.ones(())
    for k in (0, 1):
        at, along = start[..., k], way[..., k]
        with np.errstate(divide="ignore", invalid="ignore"):
            first, last = (low[..., k] - at) / along, (high[..., k] - at) / along
        # what does not move along an axis is between its edges always or never
        within = np.where((at >= low[..., k]) & (at <= high[..., k]), -np.inf, np.inf)
        enter = np.maximum(enter, np.where(along == 0.0, within, np.minimum(first, last)))
        leave = np.minimum(leave, np.where(along == 0.0, -within, np.maximum(first, last)))
    return np.asarray(enter <= leave)


def _crossed(ends: Array, strokes: Array) -> NDArray[np.bool_]:
    """Whether lines (…, 2, 2) cross other lines (…, 2, 2), shape (…)."""

    def side(of: Array, start: Array, end: Array) -> Array:
        way, to = end - start, of - start
        return np.asarray(way[..., 0] * to[..., 1] - way[..., 1] * to[..., 0])

    (a, b), (c, d) = ((x[..., 0, :], x[..., 1, :]) for x in (ends, strokes))
    return np.asarray((side(c, a, b) * side(d, a, b) < 0.0) & (side(a, c, d) * side(b, c, d) < 0.0))
