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
from kin3d.solve.lanes import Lanes

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]
FIRST_MM, LONGEST_MM, SHORTEST_MM = 0.02, 5.0, 1e-8  # steps along the curve
STRAIGHT = 0.98  # cosine of the angle by which one step may turn the tangent
PULLED = 0.1  # the corrector moves a lane by this part of the step, and no more
CLOSED_MM = 1e-9
LAST_STEP_MM = 1e-6  # Newton's iteration squares it
ITERATIONS = 6
MOST_STEPS = 1500
HALVINGS = 60
TURNING_MM = 1e-6  # along the curve; at a turn the way is level there

CurveSlopes = tuple[Array, Array, Array]


@dataclass(frozen=True, slots=True)
class Curve:
    """The equations of lanes over unknowns and way.

    Attributes
    ----------
    evaluate : callable
        (lanes, share of their way, q) to Jacobian (lanes, m, m), slopes along the whole way (lanes, m) and residuals
        (lanes, m), in mm.
    same : callable
        (lanes, Jacobian) to whether det J of every block has the sign of the design position, (lanes,).
    lanes : Lanes
        Where each lane is to go.
    turning : frozenset of str
        Drives that are angles.
    """

    evaluate: Callable[[Lanes, Array, Array], CurveSlopes]
    same: Callable[[Lanes, Array], Mask]
    lanes: Lanes
    turning: frozenset[str] = frozenset()

    @property
    def length(self) -> Array:
        """Length of the way to the target, mm of the drive that moves most."""
        return self.lanes.way(self.turning)

    def take(self, which: Mask | NDArray[np.intp]) -> Curve:
        """Some of the lanes."""
        return Curve(self.evaluate, self.same, self.lanes.take(which), self.turning)

    def at(self, x: Array) -> CurveSlopes:
        """Jacobian, its column along the way (lanes, m) and residuals at x, shape (lanes, m + 1)."""
        length = self.length
        matrix, along, residual = self.evaluate(self.lanes, x[:, -1] / length, x[:, :-1].T)
        return matrix, along / length[:, None], residual

    def tangent(self, x: Array, before: Array) -> tuple[Array, Mask]:
        """Unit tangents that go the way of `before`, and whether each place is on the side of the design position."""
        matrix, column, _ = self.at(x)
        right = np.zeros_like(x)
        right[:, -1] = 1.0
        t = stack_solve(_bordered(matrix, column, before), right)
        return t / np.linalg.norm(t, axis=1, keepdims=True), self.same(self.lanes, matrix)

    def correct(self, guess: Array, border: Array) -> tuple[Array, Mask]:
        """Newton's iteration with the component along `border` held; which lanes closed."""
        x, size = guess.copy(), np.full(len(guess), np.inf)
        error = size.copy()
        open_, part = np.arange(len(x)), self
        for left in range(ITERATIONS, -1, -1):
            here = x[open_]
            matrix, column, residual = part.at(here)
            error[open_] = np.abs(residual).max(axis=1)
            on = np.flatnonzero((size[open_] >= LAST_STEP_MM) | ~(error[open_] < CLOSED_MM))
            if not left or not on.size:
                break
            off = ((here - guess[open_]) * border[open_]).sum(axis=1)
            full = _bordered(matrix[on], column[on], border[open_[on]])
            step = stack_solve(full, np.column_stack([residual, off])[on])
            open_, part = open_[on], part.take(on)
            fine: Mask = np.asarray(np.isfinite(step).all(axis=1))
            x[open_] -= np.where(fine[:, None], step, 0.0)
            size[open_] = np.where(fine, np.abs(step).max(axis=1), np.inf)
        return x, (size < 10.0 * LAST_STEP_MM) & (error < CLOSED_MM)


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
    """Narrow the last step down to the place where det J changes its sign: the last place before it.

    There the tangent has no component along the way; the straight line through the components at both ends says where.
    Every third time the step is halved, for ends where another branch crosses and the component does not vanish.
    """
    low, high, best = np.zeros(len(x)), step.copy(), x.copy()
    slope_low, slope_high = t[:, -1].copy(), np.full(len(x), -np.inf)
    open_, part = np.arange(len(x)), curve
    for k in range(HALVINGS):
        on = (high - low)[open_] > TURNING_MM
        if not on.any():
            break
        open_, part = open_[on], part.take(on)
        a, b, rise, fall = low[open_], high[open_], slope_low[open_], slope_high[open_]
        share = np.where((k % 3 > 0) & (rise > 0.0) & (fall < 0.0) & np.isfinite(fall), rise / (rise - fall), 0.5)
        # a little to either side in turn, so that both ends close in
        share = np.clip(share + (0.02 if k % 3 == 1 else -0.02) * (share != 0.5), 0.02, 0.98)
        s = a + share * (b - a)
        found, closed = part.correct(x[open_] + s[:, None] * t[open_], t[open_])
        slopes, same = part.tangent(found, t[open_])
        before = closed & same
        best[open_[before]] = found[before]
        low[open_], high[open_] = np.where(before, s, a), np.where(before, b, s)
        slope_low[open_] = np.where(before, slopes[:, -1], rise)
        slope_high[open_] = np.where(before, fall, np.where(closed, slopes[:, -1], -np.inf))
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
