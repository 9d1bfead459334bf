"""The few-points answer, and answers on a grid: what a workshop would rather do."""

from __future__ import annotations

import os
import sys
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from kin3d.studies.tune_problem import Problem
from kin3d.studies.tune_solve import MET, Answer, least_change, solve_whole

Array = NDArray[np.float64]
SECONDS = 1.0  # of the search for a choice
TRIES = 4
GRID_MM = 0.5


def few_moves(problem: Problem, answer: Answer) -> Answer | None:
    """An answer that moves as few as can be found; None where none with fewer is found.

    The choice is that of the linear model about the answer (a mixed-integer programme); it is then solved exactly.
    """
    n = len(answer.x)
    moved = np.abs(answer.x) * problem.unit > 1e-6
    chosen = _chosen(problem, answer)
    if chosen is None:
        return None
    for _ in range(TRIES):
        if chosen.sum() >= moved.sum():
            return None
        found = _held_to(problem, chosen, answer.x)
        if found is not None and found.met:
            return found
        rest = np.where(chosen, -1.0, np.abs(answer.x))
        chosen[int(np.argmax(rest))] = True
        if chosen.sum() == n:
            return None
    return None


def _held_to(problem: Problem, chosen: NDArray[np.bool_], start: Array) -> Answer | None:
    """Least change with some moves alone."""
    low, high = problem.low, problem.high
    problem.low, problem.high = np.where(chosen, low, 0.0), np.where(chosen, high, 0.0)
    try:
        found = solve_whole(problem, least_change, np.where(chosen, start, 0.0))
    finally:
        problem.low, problem.high = low, high
    return Answer(np.where(chosen, found.x, 0.0), found.excess, found.converged) if found.met else None


def _chosen(problem: Problem, answer: Answer) -> NDArray[np.bool_] | None:
    """The fewest moves that meet the linear model about an answer."""
    from scipy.optimize import Bounds, LinearConstraint

    here, n, m = problem.at(answer.x), len(answer.x), problem.middles
    start = here.figure - here.slope @ answer.x
    rows = np.hstack([here.slope, -problem.middle, np.zeros((len(start), n))])
    scale = problem.slack
    parts = [LinearConstraint(rows / scale[:, None], (problem.least - start) / scale, (problem.most - start) / scale)]
    eye, none = np.eye(n), np.zeros((n, m))
    parts.append(LinearConstraint(np.hstack([eye, none, -np.diag(problem.high)]), -np.inf, 0.0))
    parts.append(LinearConstraint(np.hstack([-eye, none, np.diag(problem.low)]), -np.inf, 0.0))
    if problem.space.kept:
        error, slope = problem.kept(answer.x)
        parts.append(LinearConstraint(np.hstack([slope, np.zeros((len(error), m + n))]), slope @ answer.x - error,
                                      slope @ answer.x - error))  # fmt: skip
    ends = Bounds(np.concatenate([problem.low, np.full(m, -np.inf), np.zeros(n)]),
                  np.concatenate([problem.high, np.full(m, np.inf), np.ones(n)]))  # fmt: skip
    whole = np.concatenate([np.zeros(n + m), np.ones(n)])
    # of equally few the ones that move most now
    cost = np.concatenate([np.zeros(n + m), 1.0 + 0.1 * (1.0 - np.abs(answer.x) / max(np.abs(answer.x).max(), 1e-9))])
    found = _whole_numbers(cost, parts, whole, ends)
    if found.x is None:
        return None
    return np.asarray(found.x[n + m :] > 0.5)


def _whole_numbers(cost: Array, parts: Sequence[Any], whole: Array, ends: Any) -> Any:
    """SciPy's mixed-integer solver; what its library prints past Python now and then is kept from standard output."""
    from scipy.optimize import milp

    sys.stdout.flush()
    try:
        kept = os.dup(1)
    except OSError:  # there is no standard output
        return milp(cost, constraints=parts, integrality=whole, bounds=ends, options={"time_limit": SECONDS})
    nowhere = os.open(os.devnull, os.O_WRONLY)
    try:
        os.dup2(nowhere, 1)
        return milp(cost, constraints=parts, integrality=whole, bounds=ends, options={"time_limit": SECONDS})
    finally:
        os.dup2(kept, 1)
        os.close(kept)
        os.close(nowhere)


@dataclass(frozen=True, slots=True, eq=False)
class Rounded:
    """Places on a grid.

    Attributes
    ----------
    places : mapping of point to ndarray, shape (3,)
        Moved coordinates on the grid, mm.
    change : float
        As `MoveSpace.change` tells it.
    """

    places: Mapping[str, Array]
    change: float


def rounded_ways(problem: Problem, answer: Answer, grid_mm: float = GRID_MM) -> list[Rounded]:
    """Answers on a grid, those to be tried first first: each coordinate to its nearest place, then as wants have it.

    Coordinates that move as one are put on the grid each by itself, from one common move.
    """
    from scipy.optimize import Bounds, LinearConstraint

    space, n, m = problem.space, len(answer.x), problem.middles
    out = [_on_grid(problem, answer.x * problem.unit, grid_mm)]
    here = problem.at(answer.x)
    start = here.figure - here.slope @ answer.x
    # moves that put the first coordinate of each on the grid: base + grid · whole number
    first = [tuple(np.argwhere(w)[0]) for w in space.ways]
    base = np.array([-space.places_mm[c] % grid_mm for c in first])
    low, high = np.ceil((space.low - base) / grid_mm - 1e-9), np.floor((space.high - base) / grid_mm + 1e-9)
    if problem.space.kept or (low > high).any():
        return out
    per = here.slope / problem.unit
    fixed = start + per @ base
    rows = np.hstack([per * grid_mm, -problem.middle, np.zeros((len(start), n))])
    scale = problem.slack
    parts = [LinearConstraint(rows / scale[:, None], (problem.least - fixed) / scale, (problem.most - fixed) / scale)]
    goal = (answer.x * problem.unit - base) / grid_mm
    eye, none = np.eye(n), np.zeros((n, m))
    parts.append(LinearConstraint(np.hstack([eye, none, -eye]), -np.inf, goal))
    parts.append(LinearConstraint(np.hstack([-eye, none, -eye]), -np.inf, -goal))
    ends = Bounds(np.concatenate([low, np.full(m, -np.inf), np.zeros(n)]),
                  np.concatenate([high, np.full(m, np.inf), np.full(n, np.inf)]))  # fmt: skip
    whole = np.concatenate([np.ones(n), np.zeros(m + n)])
    cost = np.concatenate([np.zeros(n + m), grid_mm / problem.unit])
    found = _whole_numbers(cost, parts, whole, ends)
    if found.x is not None:
        out.append(_on_grid(problem, base + grid_mm * np.round(found.x[:n]), grid_mm))
    return out


def _on_grid(problem: Problem, moves: Array, grid_mm: float) -> Rounded:
    """Every moved coordinate at its nearest place of the grid; what has not moved stays."""
    space = problem.space
    shift = space.shifts(moves)
    places = {}
    for name, place in space.places(moves).items():
        k = space.points.index(name)
        near = np.round(place / grid_mm) * grid_mm
        places[name] = np.where(np.abs(shift[k]) > MET, near, space.places_mm[k])
    moved = np.array([np.mean([places[space.points[r]][a] - space.places_mm[r, a] for r, a in np.argwhere(w)])
                      for w in space.ways])  # fmt: skip
    return Rounded(places, space.change(moved))
