"""Following lanes along their curve of positions, past which the way itself may turn back: where a limit is, exactly.

Stepping along the way to the target stops short of a limit, and sometimes where none is: near a limit the unknowns move
much for little way. Along the curve (unknowns and way together) nothing is singular there. A limit is where det J of a
block changes its sign: the curve turns back, or another branch crosses it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kin3d.solve.implicit import stack_solve
from kin3d.solve.lanes import Lanes, Variants

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]
FIRST_MM, LONGEST_MM, SHORTEST_MM = 0.02, 5.0, 1e-8  # steps along the curve
STRAIGHT = 0.98  # cosine of the angle by which one step may turn the tangent
PULLED = 0.1  # the corrector moves a lane by this part of the step, and no more
CLOSED_MM = 1e-9
ITERATIONS = 6
MOST_STEPS = 1500
HALVINGS = 60
WAY_MM = 1e-3  # step of the central difference along the way; the equations are of second degree in it


@dataclass(frozen=True, slots=True)
class Curve:
    """The equations of lanes over unknowns and way.

    Attributes
    ----------
    evaluate : callable
        (lanes, q) to Jacobian (lanes, m, m) and residuals (lanes, m), both in mm.
    same : callable
        (lanes, Jacobian) to whether det J of every block has the sign of the design position, (lanes,).
    lanes : Lanes
        Where each lane is to go.
    variants : Variants
    """

    evaluate: Callable[[Lanes, Array], tuple[Array, Array]]
    same: Callable[[Lanes, Array], Mask]
    lanes: Lanes
    variants: Variants

    @property
    def length(self) -> Array:
        """Length of the way to the target, mm of travel or rack, whichever is more."""
        return np.asarray(np.maximum(np.abs(self.lanes.travel), np.abs(self.lanes.rack)))

    def take(self, which: Mask | NDArray[np.intp]) -> Curve:
        """Some of the lanes."""
        return Curve(self.evaluate, self.same, self.lanes.take(which), self.variants)

    def at(self, x: Array) -> tuple[Array, Array, Array]:
        """Jacobian, its column along the way (lanes, m) and residuals at x, shape (lanes, m + 1)."""
        q, way = x[:, :-1].T, x[:, -1] / self.length
        matrix, residual = self.evaluate(self.lanes.part(way), q)
        off = WAY_MM / self.length
        ahead, behind = (self.evaluate(self.lanes.part(way + s * off), q)[1] for s in (1.0, -1.0))
        return matrix, (ahead - behind) / (2.0 * WAY_MM), residual

    def tangent(self, x: Array, before: Array) -> tuple[Array, Mask]:
        """Unit tangents that go the way of `before`, and whether each place is on the side of the design position."""
        matrix, column, _ = self.at(x)
        right = np.zeros_like(x)
        right[:, -1] = 1.0
        t = stack_solve(_bordered(matrix, column, before), right)
        return t / np.linalg.norm(t, axis=1, keepdims=True), self.same(self.lanes, matrix)

    def correct(self, guess: Array, border: Array) -> tuple[Array, Mask]:
        """Newton's iteration with the component along `border` held; which lanes closed."""
        x = guess.copy()
        size = np.full(len(x), np.inf)
        for _ in range(ITERATIONS):
            matrix, column, residual = self.at(x)
            off = ((x - guess) * border).sum(axis=1)
            step = stack_solve(_bordered(matrix, column, border), np.column_stack([residual, off]))
            x = x - np.where(np.isfinite(step), step, 0.0)
            size = np.where(np.isfinite(step).all(axis=1), np.abs(step).max(axis=1), np.inf)
            if (size < CLOSED_MM).all():
                break
        return x, (size < 1e-5) & (np.abs(self.at(x)[2]).max(axis=1) < CLOSED_MM)


def _bordered(matrix: Array, column: Array, border: Array) -> Array:
    top = np.concatenate([matrix, column[:, :, None]], axis=2)
    full = np.concatenate([top, border[:, None, :]], axis=1)
    bad = ~np.isfinite(full).all(axis=(1, 2))
    full[bad] = np.eye(full.shape[1])
    return full


@dataclass(frozen=True, slots=True)
class Followed:
    """Where each lane came: unknowns (m, lanes), share of the way, whether at the target, whether at a limit."""

    q: Array
    reached: Array
    arrived: Mask
    ended: Mask


def follow(curve: Curve, q: Array, reached: Array) -> Followed:
    """Follow every lane from a place on its curve to its target or to its limit.

    Parameters
    ----------
    curve : Curve
    q : ndarray, shape (m, lanes)
        Closed places on the branch of the design position.
    reached : ndarray, shape (lanes,)
        Share of the way at which each stands.
    """
    x = np.column_stack([q.T, reached * curve.length])
    ahead = np.zeros_like(x)
    ahead[:, -1] = 1.0
    t, _ = curve.tangent(x, ahead)
    step = np.full(len(x), FIRST_MM)
    arrived, ended = np.zeros(len(x), bool), np.zeros(len(x), bool)
    for _ in range(MOST_STEPS):
        active = np.flatnonzero(~arrived & ~ended & (step > SHORTEST_MM))
        if not active.size:
            break
        part = curve.take(active)
        new, good = part.correct(x[active] + step[active, None] * t[active], t[active])
        turned, same = part.tangent(new, t[active])
        good &= _near(x[active], t[active], step[active], new, turned) | (~same & (step[active] < FIRST_MM))
        stop = good & ~same
        if stop.any():
            turning = _turning(part.take(stop), x[active[stop]], t[active[stop]], step[active[stop]])
            short = turning[:, -1] < part.length[stop]  # a limit behind the target is none of this lane's: go nearer
            ended[active[stop][short]] = True
            x[active[stop][short]] = turning[short]
            good[np.flatnonzero(stop)[~short]] = False
        on = good & same
        over = on & (new[:, -1] >= part.length)
        going = active[on & ~over]
        x[going], t[going] = new[on & ~over], turned[on & ~over]
        if over.any():
            target, closed = _landed(part.take(over), x[active[over]], new[over])
            x[active[over]], arrived[active[over]] = target, closed
            good[np.flatnonzero(over)[~closed]] = False
        step[active] = np.where(good, np.minimum(2.0 * step[active], LONGEST_MM), 0.5 * step[active])
    length = curve.length
    return Followed(x[:, :-1].T, np.where(arrived, 1.0, x[:, -1] / length), arrived, ended)


def _near(x: Array, t: Array, step: Array, new: Array, turned: Array) -> Mask:
    """Whether a step kept to its curve: little correction, little turn, and no turn of the way and back between."""
    pulled = np.linalg.norm(new - x - step[:, None] * t, axis=1) < PULLED * step + 1e-9
    straight = (t * turned).sum(axis=1) > STRAIGHT
    first, last, mean = t[:, -1], turned[:, -1], (new - x)[:, -1] / step
    # the slope of the cubic through both ends, in its middle
    middle = 1.5 * mean - 0.25 * (first + last)
    there_and_back = (first > 0.0) & (last > 0.0) & (middle < 0.0) & (step > 1e-3)
    return np.asarray(pulled & straight & ~there_and_back)


def _turning(curve: Curve, x: Array, t: Array, step: Array) -> Array:
    """Halve the last step down to the place where det J changes its sign."""
    low, high = np.zeros(len(x)), step.copy()
    best = x.copy()
    for _ in range(HALVINGS):
        middle = 0.5 * (low + high)
        found, closed = curve.correct(x + middle[:, None] * t, t)
        same = curve.same(curve.lanes, curve.at(found)[0])
        before = closed & same
        best[before] = found[before]
        low, high = np.where(before, middle, low), np.where(before, high, middle)
        if float((high - low).max()) < SHORTEST_MM:
            break
    return best


def _landed(curve: Curve, before: Array, beyond: Array) -> tuple[Array, Mask]:
    """The target itself, from the places on both sides of it; which lanes closed there on their branch."""
    share = (curve.length - before[:, -1]) / (beyond[:, -1] - before[:, -1])
    guess = before + share[:, None] * (beyond - before)
    guess[:, -1] = curve.length
    border = np.zeros_like(guess)
    border[:, -1] = 1.0
    found, closed = curve.correct(guess, border)
    near = np.linalg.norm(found - guess, axis=1) < np.linalg.norm(beyond - before, axis=1)
    return found, closed & near & curve.same(curve.lanes, curve.at(found)[0])
