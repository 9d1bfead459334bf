"""Many starts in step over the kernel's lanes: each is led to where its wants are met, all at once."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from kin3d.studies.pieces import PieceRunner
from kin3d.studies.tune_problem import Problem
from kin3d.studies.tune_solve import MET, Answer, least_change, solve_whole

Array = NDArray[np.float64]
STEPS = 32
ROUNDS = 5  # times that moves are put to the ends of their boxes within a step
DAMPING = 1e-2  # of the first steps, beside bounds' slopes of length 1
FROM, FALLS, LEAST = 14, 0.2, 1e-10  # from this step on it falls by that with each, and to no less
AHEAD = 1e-3  # of what is allowed: so far inside a start is led, so that it arrives
AT_ONCE = 1_000  # cars whose slopes are held at once
WORTH_PROCESSES = 4_000  # starts
FINISHED = 10  # starts that are finished by the constrained solver
APART_MM = 0.1  # answers nearer than this are one


def starts_in_step(
    problem: Problem,
    count: int,
    seed: int,
    run: PieceRunner,
    progress: Callable[[int, int], None] | None = None,
) -> tuple[Array, Array]:
    """Lead random places in the boxes to the wants, by damped Gauss–Newton steps of all of them together.

    Parameters
    ----------
    run : callable
        What leads pieces of them, here or in other processes (`kin3d.studies.pieces`).

    Returns
    -------
    x : ndarray, shape (count, moves)
        Scaled moves.
    excess : ndarray, shape (count, wants)
        What is left; 0: met at the problem's positions.
    """
    rng = np.random.default_rng(seed)
    x = rng.uniform(problem.low, problem.high, (count, len(problem.low)))
    excess = np.full((count, len(problem.aims)), np.inf)
    parts = [slice(k, min(k + AT_ONCE, count)) for k in range(0, count, AT_ONCE)]
    for part, (places, left) in zip(parts, run(x[p].copy() for p in parts), strict=True):
        x[part], excess[part] = places, left
        if progress:
            progress(part.stop, count)
    return x, excess


def led(problem: Problem, x: Array) -> tuple[Array, Array]:
    """The same from given places, shape (count, moves)."""
    return _led(problem, np.array(x))


def _led(problem: Problem, x: Array) -> tuple[Array, Array]:
    going = np.arange(len(x))
    for step in range(STEPS):
        damping = max(LEAST, DAMPING * FALLS ** max(0, step - FROM))
        figure, slope = problem.many(x[going])
        miss, slope = _missed(problem, x[going], figure, slope)
        far = np.abs(miss).max(axis=1, initial=0.0) > 0.0
        far &= np.isfinite(miss).all(axis=1) & np.isfinite(slope).all(axis=(1, 2))
        going, miss, slope = going[far], miss[far], slope[far]
        if not going.size:
            break
        x[going] = _stepped(problem, x[going], miss, slope, damping)
    return x, problem.excess(problem.many(x, slopes=False)[0])


def _missed(problem: Problem, x: Array, figure: Array, slope: Array) -> tuple[Array, Array]:
    """How far each bound is missed, in units of what it allows, and its slope; kept lengths too."""
    goal = problem.rest(figure)
    inner = AHEAD * problem.slack
    miss = np.maximum(goal - (problem.most - inner), 0.0) - np.maximum(problem.least + inner - goal, 0.0)
    miss = np.where(np.isfinite(goal), miss, np.nan) / problem.slack
    slope = slope / problem.slack[:, None]
    if problem.space.kept:
        pairs = [problem.kept(one) for one in x]
        miss = np.hstack([miss, np.array([e for e, _ in pairs]) / 1e-3])
        slope = np.concatenate([slope, np.array([s for _, s in pairs]) / 1e-3], axis=1)
    return miss, slope


def _stepped(problem: Problem, x: Array, miss: Array, slope: Array, damping: float) -> Array:
    """A damped step of least change; moves that would leave their boxes go to the end, the others make up for it."""
    active = miss != 0.0
    slope = np.where(active[..., None], slope, 0.0)
    size = np.maximum(np.linalg.norm(slope, axis=2), 1e-9)
    slope, miss = slope / size[..., None], miss / size
    free, fixed, out = np.ones_like(x), np.zeros_like(x), x
    for _ in range(ROUNDS):
        a = slope * free[:, None, :]
        square = np.einsum("cbm,cdm->cbd", a, a) + damping * np.eye(a.shape[1])
        left = miss + np.einsum("cbm,cm->cb", slope, fixed)
        back = np.linalg.solve(square, left[..., None])[..., 0]
        out = x + fixed - np.einsum("cbm,cb->cm", a, back)
        beyond = (free > 0.0) & ((out < problem.low) | (out > problem.high))
        if not beyond.any():
            break
        fixed = np.where(beyond, np.clip(out, problem.low, problem.high) - x, fixed)
        free = np.where(beyond, 0.0, free)
    return np.asarray(np.clip(out, problem.low, problem.high))


def finished(
    problem: Problem, x: Array, excess: Array, known: list[Answer], most: int = FINISHED
) -> list[Answer]:
    """Distinct answers of least change from starts that have met their wants, the least change first.

    Parameters
    ----------
    known : list of Answer
        Answers that there are already.
    most : int
        Starts that are finished: the one with the least change, then each time the one farthest from those before.
    """
    met = np.flatnonzero(excess.max(axis=1) <= MET)
    found = [a for a in known if a.met]
    taken = [a.x for a in found]
    for turn in range(min(most, len(met))):
        if turn == 0 or not taken:
            k = int(np.argmin(np.linalg.norm(x[met], axis=1)))
        else:
            apart = np.min([np.linalg.norm(x[met] - t, axis=1) for t in taken], axis=0)
            k = int(np.argmax(apart))
        taken.append(x[met[k]])
        answer = solve_whole(problem, least_change, x[met[k]])
        if answer.met and answer.converged:
            found.append(answer)
    found.sort(key=lambda a: float(np.linalg.norm(a.x)))
    out: list[Answer] = []
    for a in found:
        if all(np.abs((a.x - b.x) * problem.unit).max() > APART_MM for b in out):
            out.append(a)
    return out
