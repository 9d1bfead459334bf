"""Uprights on five links, with a rod and rocker or without, followed along their branch by pseudo-arclength.

An independent way to the end of a linkage's travel: the upright as a turn and a shift, the rocker as an angle, lengths
of links and rod and the height of the wheel centre as equations, the travel itself as one of the unknowns. Small steps
along the curve of positions, each closed by a simplified Newton iteration (H. B. Keller's pseudo-arclength; from
memory). At a limit the curve turns back in the travel. Many linkages of one kind are followed at once, each with a
step of its own.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]
ARM_MM = 100.0  # a turn counts as the way at this arm
STEP_MM = 1.0
SHORTEST_MM = 1e-7
STRAIGHT = 0.9995  # cosine of the angle by which one step may turn the tangent
CLOSED_MM = 1e-10
ITERATIONS = 12
MOST_STEPS = 40_000
HALVINGS = 40


def turned(vectors: Array) -> Array:
    """Rotation matrices (n, 3, 3) of rotation vectors (n, 3)."""
    angle = np.sqrt((vectors**2).sum(axis=1))
    k = np.zeros((len(vectors), 3, 3))
    k[:, 2, 1], k[:, 0, 2], k[:, 1, 0] = vectors.T
    k -= k.transpose(0, 2, 1)
    first, second = np.sinc(angle / np.pi), 0.5 * np.sinc(0.5 * angle / np.pi) ** 2
    return np.asarray(np.eye(3) + first[:, None, None] * k + second[:, None, None] * (k @ k))


def _size(vectors: Array) -> Array:
    return np.asarray(np.sqrt((vectors**2).sum(axis=-1)))


def _cross(a: Array, b: Array) -> Array:
    return np.asarray(a[:, [1, 2, 0]] * b[:, [2, 0, 1]] - a[:, [2, 0, 1]] * b[:, [1, 2, 0]])


def _apply(matrices: Array, vectors: Array) -> Array:
    return np.asarray((matrices @ vectors[:, :, None])[:, :, 0])


@dataclass(frozen=True)
class Linkages:
    """Linkages of one kind: five links to one upright each; the rod and its rocker, if any.

    Attributes
    ----------
    inner, outer : ndarray, shape (n, 5, 3)
        Design places of the links' ends, mm.
    centre : ndarray, shape (n, 3)
        Wheel centre.
    rod : ndarray, shape (n, 4, 3), or None
        Outer end on the upright's side, inner end on the rocker, a point and the direction of the rocker's axis.
    arm : int
        With a rod on an arm: the two links (2 k, 2 k + 1) of that arm; −1: the rod's outer end is on the upright.
    """

    inner: Array
    outer: Array
    centre: Array
    rod: Array | None = None
    arm: int = -1

    @property
    def size(self) -> int:
        """Number of equations."""
        return 6 if self.rod is None else 7

    def take(self, which: Any) -> Linkages:
        """Some of the linkages."""
        rod = None if self.rod is None else self.rod[which]
        return replace(self, inner=self.inner[which], outer=self.outer[which], centre=self.centre[which], rod=rod)

    def outer_ends(self, x: Array) -> Array:
        """Places of the links' outer ends, (n, 5, 3)."""
        turn = turned(x[:, 3:6] / ARM_MM)
        arms = (self.outer - self.centre[:, None]) @ turn.transpose(0, 2, 1)
        return np.asarray(self.centre[:, None] + x[:, None, :3] + arms)

    def rod_inner(self, x: Array) -> Array:
        """Place of the rod's end on the rocker, (n, 3)."""
        assert self.rod is not None
        _, end, pivot, axis = self.rod.transpose(1, 0, 2)
        return np.asarray(pivot + _apply(turned(axis * x[:, 6:7] / ARM_MM), end - pivot))

    def residual(self, x: Array) -> Array:
        """Errors of lengths and height (n, size), mm; x is shift, turn times the arm, perhaps the rocker's, travel."""
        ends = self.outer_ends(x)
        out = np.empty((len(x), self.size))
        out[:, :5] = _size(ends - self.inner) - _size(self.outer - self.inner)
        out[:, 5] = x[:, 2] - x[:, -1]
        if self.rod is not None:
            start, end = self.rod[:, 0], self.rod[:, 1]
            out[:, 6] = _size(self.rod_inner(x) - self._rod_start(x, ends)) - _size(end - start)
        return out

    def _rod_start(self, x: Array, ends: Array) -> Array:
        """Places of the rod's outer end, on the upright or on an arm that turns about its two inner joints."""
        assert self.rod is not None
        start = self.rod[:, 0]
        if self.arm < 0:
            return np.asarray(self.centre + x[:, :3] + _apply(turned(x[:, 3:6] / ARM_MM), start - self.centre))
        pivot = self.inner[:, 2 * self.arm]
        then, now = (self._frame(e[:, 2 * self.arm]) for e in (self.outer, ends))
        return np.asarray(pivot + _apply(now, _apply(then.transpose(0, 2, 1), start - pivot)))

    def _frame(self, end: Array) -> Array:
        """Axes of the arm whose end is there: along its pivots, across, and square to it, as columns."""
        a, b = self.inner[:, 2 * self.arm], self.inner[:, 2 * self.arm + 1]
        along = (b - a) / _size(b - a)[:, None]
        up = _cross(along, end - a)
        up /= _size(up)[:, None]
        return np.stack([along, up, _cross(along, up)], axis=2)

    def slopes(self, x: Array) -> Array:
        """Jacobians by central differences, (n, size, size + 1)."""
        out = np.empty((len(x), self.size, self.size + 1))
        for k in range(self.size + 1):
            e = np.zeros(self.size + 1)
            e[k] = 1e-4
            out[:, :, k] = (self.residual(x + e) - self.residual(x - e)) / 2e-4
        return out


def _inverse(slopes: Array, border: Array) -> Array:
    return np.linalg.inv(np.concatenate([slopes, border[:, None, :]], axis=1))


def _tangents(slopes: Array, before: Array) -> Array:
    """Unit vectors along the curves, the way that `before` goes."""
    t = _inverse(slopes, before)[:, :, -1]
    return np.asarray(t / _size(t)[:, None])


def _closed(linkages: Linkages, guess: Array, slopes: Array, border: Array) -> tuple[Array, Mask]:
    """Simplified Newton iteration with the component along `border` held; which closed."""
    x, inverse = guess.copy(), _inverse(slopes, border)
    size = np.full(len(x), np.inf)
    with np.errstate(all="ignore"):
        for _ in range(ITERATIONS):
            off = ((x - guess) * border).sum(axis=1)
            step = _apply(inverse, np.column_stack([linkages.residual(x), off]))
            x = x - step
            size = np.abs(step).max(axis=1)
            if (size < CLOSED_MM).all():
                break
    good = size < CLOSED_MM
    x[~good] = guess[~good]
    return x, good


@dataclass(frozen=True)
class Followed:
    """What was found.

    Attributes
    ----------
    end : ndarray, shape (n,)
        Travel at which the branch turns back on the way to the last station, or that station when it is reached;
        NaN where the curve cannot be followed.
    places : ndarray, shape (n, stations, size + 1)
        Unknowns at each station; NaN where it was not reached.
    """

    end: Array
    places: Array


def follow(linkages: Linkages, stations: Array, step_mm: float = STEP_MM) -> Followed:
    """Follow every linkage from its design position towards the last station.

    Parameters
    ----------
    stations : ndarray
        Travels in the order in which they are passed, all of one sign, farther apart than a step, mm.
    """
    count, width = len(linkages.centre), linkages.size + 1
    sign = float(np.sign(stations[0]))
    end, places = np.full(count, np.nan), np.full((count, len(stations), width), np.nan)
    x = np.zeros((count, width))
    slopes = linkages.slopes(x)
    t = _tangents(slopes, np.broadcast_to(np.eye(width)[-1] * sign, x.shape))
    step, due, turns = np.full(count, step_mm), np.zeros(count, dtype=int), np.zeros(count, dtype=bool)
    going = np.arange(count)
    for _ in range(MOST_STEPS):
        going = going[(step[going] > SHORTEST_MM) & (due[going] < len(stations)) & ~turns[going]]
        if not going.size:
            break
        here = linkages.take(going)
        new, good = _closed(here, x[going] + step[going, None] * t[going], slopes[going], t[going])
        there = here.slopes(new)
        ahead = _tangents(there, t[going])
        good &= (ahead * t[going]).sum(axis=1) > STRAIGHT
        back = good & (ahead[:, -1] * sign <= 0.0)
        turns[going[back]] = True
        passed = good & ~back & (sign * new[:, -1] >= sign * stations[due[going]])
        if passed.any():
            which = going[passed]
            places[which, due[which]] = _landed(linkages.take(which), x[which], new[passed], stations[due[which]])
            due[which] += 1
        on = good & ~back
        x[going[on]], t[going[on]], slopes[going[on]] = new[on], ahead[on], there[on]
        step[going[on]] = np.minimum(1.5 * step[going[on]], step_mm)
        step[going[~good]] *= 0.5
    end[due == len(stations)] = stations[-1]
    mine = np.flatnonzero(turns)
    end[mine] = _turn(linkages.take(mine), x[mine], t[mine], slopes[mine], step[mine], sign)
    return Followed(end, places)


def _landed(linkages: Linkages, before: Array, beyond: Array, station: Array) -> Array:
    """Unknowns at a station between two places of each curve; NaN where Newton's iteration does not close there."""
    share = (station - before[:, -1]) / (beyond[:, -1] - before[:, -1])
    x = before + share[:, None] * (beyond - before)
    x[:, -1] = station
    size = np.full(len(x), np.inf)
    with np.errstate(all="ignore"):
        for _ in range(6):
            step = np.linalg.solve(linkages.slopes(x)[:, :, :-1], linkages.residual(x)[:, :, None])[:, :, 0]
            x[:, :-1] -= step
            size = np.abs(step).max(axis=1)
            if (size < CLOSED_MM).all():
                break
    x[~(size < 1e-7) | (_size(x - before) > 2.0 * _size(beyond - before))] = np.nan
    return x


def _turn(linkages: Linkages, x: Array, t: Array, slopes: Array, step: Array, sign: float) -> Array:
    """Travel where it is largest on the last step of each curve, by halving; NaN where the curve cannot be followed."""
    low, high, best = np.zeros(len(x)), step.copy(), x.copy()
    lost = np.zeros(len(x), dtype=bool)
    for _ in range(HALVINGS):
        middle = 0.5 * (low + high)
        best, good = _closed(linkages, x + middle[:, None] * t, slopes, t)
        lost |= ~good
        rising = _tangents(linkages.slopes(best), t)[:, -1] * sign > 0.0
        low, high = np.where(rising, middle, low), np.where(rising, high, middle)
    return np.where(lost, np.nan, best[:, -1])
