"""Solvers of a targets file's problem: linear programme, least change, the nearest where it cannot be had."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kin3d.studies.tune_problem import INSIDE, UNCHANGED, LinearWants, Problem
from kin3d.studies.tune_wants import look

Array = NDArray[np.float64]
MET = INSIDE  # excess that is rounding: bounds are aimed at so much inside
STEPS = 60
ROUNDS = 6  # times that the extremes of intervals join the positions
SETTLED = 1e-8  # part of the cost; where a step changes it by less, the nearest is found
WANDERS = 1e-12  # the same of the least change, three steps one after the other
GIVEN = 1e-6  # of what is allowed: by so much the nearest may be missed where little change is looked for
ACTIVE = 1e-5  # of what is allowed: a bound nearer than this holds the answer
PRESSES = 1e-6  # a bound nearer than this is pressed upon, in units of change
STILL = 1e-9  # a step that is rounding
FRUITLESS = 5  # steps one after the other that leave more than `LESS` of what is missed most: it will not be met
LESS = 0.9
UNMOVED = 1e-6  # of what is allowed, per unit of change: a bound that does less is moved by nothing
ASIDE = 1e-3  # of a unit of change: so far is stepped from a place where what is kept has no slope
BAD = 1e3  # what stands for a bound's figure where a car cannot be assembled


@dataclass(frozen=True, slots=True, eq=False)
class LinearAnswer:
    """The nearest of a linear model.

    Attributes
    ----------
    x : ndarray, shape (moves,)
        Scaled moves.
    excess : ndarray, shape (wants,)
    wants : ndarray, shape (wants,)
        What a further `within` of each want would take off the weighted sum of excesses; 0: it is not in the way.
    low, high : ndarray, shape (moves,)
        What a further unit of each box would take off it, at its lower and its upper end.
    """

    x: Array
    excess: Array
    wants: Array
    low: Array
    high: Array

    @property
    def met(self) -> bool:
        """Whether all can be had."""
        return bool(self.excess.max(initial=0.0) <= MET)


def linear_nearest(
    problem: Problem, about: Array, here: LinearWants, only: Iterable[int] | None = None, cost: Array | None = None
) -> LinearAnswer:
    """Least weighted excess of a linear model about a place.

    Parameters
    ----------
    about : ndarray, shape (moves,)
        Scaled moves there.
    only : iterable of int, optional
        Wants that count, from 0; the others may have anything.
    cost : ndarray, shape (moves,), optional
        What a unit of each move costs beside the excesses.
    """
    from scipy.optimize import linprog

    n, m, count = len(about), problem.middles, len(problem.aims)
    chosen = set(range(count)) if only is None else set(only)
    rows = np.flatnonzero([k in chosen for k in problem.want])
    start = here.figure - here.slope @ about
    excess = np.zeros((len(rows), count))
    excess[np.arange(len(rows)), problem.want[rows]] = problem.slack[rows]
    left = np.hstack([here.slope[rows], -problem.middle[rows], -excess])
    right = np.hstack([-here.slope[rows], problem.middle[rows], -excess])
    a = np.vstack([left, right])
    b = np.concatenate([problem.most[rows] - start[rows], start[rows] - problem.least[rows]])
    scale = np.concatenate([problem.slack[rows]] * 2)
    finite = np.isfinite(b)
    c = np.concatenate([np.zeros(n) if cost is None else cost, np.zeros(m), problem.weights])
    bounds = [*zip(problem.low, problem.high, strict=True), *[(None, None)] * m, *[(0.0, None)] * count]
    error, slope = problem.kept(about)
    equal = np.hstack([slope, np.zeros((len(error), m + count))]) if len(error) else None
    found = linprog(c, a[finite] / scale[finite, None], b[finite] / scale[finite], equal,
                    slope @ about - error if len(error) else None, bounds, method="highs")  # fmt: skip
    if found.x is None:
        return LinearAnswer(about, np.full(count, np.inf), np.ones(count), np.zeros(n), np.zeros(n))
    price = np.zeros(len(b))
    price[finite] = -found.ineqlin.marginals
    by_want = np.zeros(count)
    np.add.at(by_want, np.concatenate([problem.want[rows]] * 2), price)
    return LinearAnswer(
        found.x[:n], np.where(found.x[n + m :] <= MET, 0.0, found.x[n + m :]), by_want,
        found.lower.marginals[:n], -found.upper.marginals[:n],
    )  # fmt: skip


@dataclass(frozen=True, slots=True, eq=False)
class Answer:
    """Where a solve has ended.

    Attributes
    ----------
    x : ndarray, shape (moves,)
        Scaled moves; their length is the change.
    excess : ndarray, shape (wants,)
        At the positions of the problem.
    converged : bool
    """

    x: Array
    excess: Array
    converged: bool

    @property
    def met(self) -> bool:
        """Whether all wants are met there, at the positions of the problem."""
        return bool(self.excess.max(initial=0.0) <= MET)


def least_change(problem: Problem, start: Array, about: Array | None = None) -> Answer:
    """Least change, all wants as bounds, from a start; see `Answer.met`.

    Parameters
    ----------
    about : ndarray, shape (moves,), optional
        From where the change is measured; default the present places.
    """
    origin = np.zeros(len(start)) if about is None else about

    def cost(x: Array, _rest: Array) -> tuple[float, Array, Array]:
        away = x - origin
        return 0.5 * float(away @ away), away, np.zeros(len(_rest))

    return _slsqp(problem, start, cost, excesses=False)


def nearest(problem: Problem, start: Array) -> Answer:
    """Least weighted sum of excesses, from a start: one of the cars that have it."""
    count = len(problem.aims)

    def cost(x: Array, rest: Array) -> tuple[float, Array, Array]:
        gradient = np.concatenate([np.zeros(len(rest) - count), problem.weights])
        return float(problem.weights @ rest[-count:]), np.zeros_like(x), gradient

    return _slsqp(problem, start, cost, excesses=True)


def least_of_nearest(problem: Problem, answer: Answer) -> Answer:
    """Of the cars that miss each want by no more than the nearest does, the one with the least change."""
    with problem.allowing(np.where(answer.excess > MET, answer.excess + GIVEN, 0.0)):
        found = solve_whole(problem, least_change, answer.x)
        met = found.met
    x = found.x if met and found.converged else answer.x
    return Answer(x, problem.excess(problem.at(x).figure), answer.converged)


Cost = Callable[[Array, Array], tuple[float, Array, Array]]


def _slsqp(problem: Problem, start: Array, cost: Cost, *, excesses: bool) -> Answer:
    """SciPy's sequential quadratic programming with exact gradients; it ends where a car cannot be assembled."""
    from scipy.optimize import minimize

    n, m, count = len(start), problem.middles, len(problem.aims) if excesses else 0
    size = _row_size(problem, start)
    least, most = np.isfinite(problem.least), np.isfinite(problem.most)
    of_within = np.concatenate([(size / problem.slack)[least], (size / problem.slack)[most]])
    wide = np.zeros((len(problem.want), count))
    if count:
        wide[np.arange(len(wide)), problem.want] = problem.slack

    def value(v: Array) -> float:
        return cost(v[:n], v[n:])[0]

    def gradient(v: Array) -> Array:
        _, of_x, of_rest = cost(v[:n], v[n:])
        return np.concatenate([of_x, of_rest])

    def bounds(v: Array) -> Array:
        figure = problem.at(v[:n]).figure - problem.middle @ v[n : n + m]
        more = wide @ v[n + m :] if count else 0.0
        out = np.concatenate([((figure - problem.least + more) / size)[least],
                              ((problem.most - figure + more) / size)[most]])  # fmt: skip
        return np.where(np.isfinite(out), out, -BAD)

    def slopes(v: Array) -> Array:
        both = np.hstack([problem.at(v[:n]).slope, -problem.middle]) / size[:, None]
        more = wide / size[:, None]
        out = np.vstack([np.hstack([both, more])[least], np.hstack([-both, more])[most]])
        return np.where(np.isfinite(out), out, 0.0)

    constraints = [{"type": "ineq", "fun": bounds, "jac": slopes}]
    x = np.clip(start, problem.low, problem.high)
    held, across = problem.kept(x)
    if len(held):
        if np.linalg.matrix_rank(across, UNCHANGED) < len(held):  # moves square to a length change it only when moved
            x = np.clip(x + ASIDE * np.cos(np.arange(n)), problem.low, problem.high)
        pad = np.zeros((len(held), m + count))
        constraints.append({
            "type": "eq",
            "fun": lambda v: problem.kept(v[:n])[0],
            "jac": lambda v: np.hstack([problem.kept(v[:n])[1], pad]),
        })  # fmt: skip
    figure = problem.at(x).figure
    middles = problem.middles_at(figure)
    first = np.concatenate([x, middles, problem.excess(figure)[:count]])
    if not np.isfinite(first).all():
        return Answer(x, problem.excess(figure), False)
    ends = [*zip(problem.low, problem.high, strict=True), *[(None, None)] * m, *[(0.0, None)] * count]
    last, costs = [first], [np.inf] * (2 if excesses else 4)
    settled, missed = SETTLED if excesses else WANDERS, [np.inf] * (FRUITLESS + 1)

    def watch(v: Array) -> None:
        """End where steps have become rounding: the solver's own test, of the cost alone, may never be satisfied.

        Of the nearest there may be many, among which the solver wanders: there the cost decides.
        """
        step, last[0] = np.abs(v - last[0]).max(), v.copy()
        costs[:] = [*costs[1:], value(v)]
        still = max(costs) - min(costs) < settled * (1.0 + abs(costs[-1]))
        stands = step < STILL * (1.0 + np.abs(v).max())
        worst = -float((bounds(v) * of_within).min(initial=0.0))
        missed.append(min(worst, missed[-1]))
        met = worst < INSIDE
        if ((still or stands) and met) or (not met and missed[-1] > LESS * missed[-1 - FRUITLESS]):
            raise _StandsStillError(last[0], met)

    try:
        done = minimize(value, first, jac=gradient, bounds=ends, constraints=constraints, method="SLSQP",
                        callback=watch, options={"maxiter": STEPS, "ftol": 1e-13})  # fmt: skip
        at, converged = done.x, bool(done.success)
    except _StandsStillError as still:
        at, converged = still.at, still.met
    x = np.clip(at[:n], problem.low, problem.high)
    return Answer(x, problem.excess(problem.at(x).figure), converged)


class _StandsStillError(Exception):
    """Steps have become rounding."""

    def __init__(self, at: Array, met: bool) -> None:
        self.at, self.met = at, met
        super().__init__()


def _row_size(problem: Problem, x: Array) -> Array:
    """Size of each bound's slope, by which it is divided; where nothing moves it, of what it allows."""
    slope = problem.at(np.clip(x, problem.low, problem.high)).slope
    size = np.linalg.norm(slope, axis=1)
    return np.where(np.isfinite(size), np.maximum(size, UNMOVED * problem.slack), problem.slack)


def solve_whole(problem: Problem, solve: Callable[[Problem, Array], Answer], start: Array) -> Answer:
    """Solve, let the extremes of intervals join the positions, and solve again until they hold all over."""
    found = solve(problem, start)
    for _ in range(ROUNDS):
        if not np.isfinite(found.excess).all():
            return found
        before = [len(a.at) for a in problem.aims], [a.pair for a in problem.aims]
        got = look(problem.aims, problem.model, found.x * problem.unit, add=True)
        whole = np.array([g.excess for g in got])
        settled = any(a.along == "lateral" for a in problem.aims)
        if ([len(a.at) for a in problem.aims], [a.pair for a in problem.aims]) == before and not settled:
            break
        problem.refresh()
        if (whole <= np.maximum(found.excess, 0.0) + MET).all():
            break
        found = solve(problem, found.x)
    return found


@dataclass(frozen=True, slots=True, eq=False)
class Pressing:
    """First-order conditions of an answer: what presses, and by how much.

    Attributes
    ----------
    low, high : ndarray, shape (moves,)
        Multipliers of the boxes' ends.
    wants : ndarray, shape (wants,)
        What a further `within` of each want would take off half the square of the change.
    residual : float
        What is left of the gradient, as a part of it.
    """

    low: Array
    high: Array
    wants: Array
    residual: float


def pressing(problem: Problem, answer: Answer) -> Pressing:
    """Multipliers of least change, by non-negative least squares over what is active."""
    from scipy.optimize import nnls

    x, here = answer.x, problem.at(answer.x)
    n, m = len(x), problem.middles
    full = np.hstack([here.slope, -problem.middle])
    size = np.maximum(np.linalg.norm(full, axis=1), 1e-12)
    unit = np.eye(n, n + m)
    rest, near = problem.rest(here.figure), ACTIVE * problem.slack
    rows = [(r, 1.0) for r in np.flatnonzero(problem.most - rest < near)]
    rows += [(r, -1.0) for r in np.flatnonzero(rest - problem.least < near)]
    over, under = (np.flatnonzero(gap < PRESSES) for gap in (problem.high - x, x - problem.low))
    kept = problem.kept(x)[1]
    kept = np.hstack([kept, np.zeros((len(kept), m))])
    columns = [*(sign * full[r] / size[r] for r, sign in rows), *unit[over], *-unit[under], *kept, *-kept]
    goal = np.concatenate([-x, np.zeros(m)])
    wants, high, low = np.zeros(len(problem.aims)), np.zeros(n), np.zeros(n)
    length = float(np.linalg.norm(goal))
    if not columns:
        return Pressing(low, high, wants, float(length > PRESSES))
    force, left = nnls(np.array(columns).T, goal)
    for (r, _), f in zip(rows, force, strict=False):
        wants[problem.want[r]] += f * problem.slack[r] / size[r]
    high[over] = force[len(rows) : len(rows) + len(over)]
    low[under] = force[len(rows) + len(over) : len(rows) + len(over) + len(under)]
    return Pressing(low, high, wants, left / length if length > PRESSES else 0.0)
