"""The inverse question: which places of the points agree with figures that are known within bands.

All cars in the boxes are taken as equally likely beforehand; of these the ones that have every figure within its band
are kept. They are drawn by many random walks at once over the kernel's lanes (Metropolis, each step proposed along the
directions that the bands leave open).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import NDArray

from kin3d.errors import Finding, RequestError
from kin3d.studies.tune_problem import Problem
from kin3d.studies.tune_solve import linear_nearest
from kin3d.studies.tune_starts import led, starts_in_step
from kin3d.writing.numbers import percent
from kin3d.writing.tables import Cell, Column, Table

Array = NDArray[np.float64]
WALKS = 128
BURNT = 0.4  # part of each walk that is not counted
STEP = 2.4  # times what a band leaves, over the root of the number of moves
WIDE = 1.0 / np.sqrt(3.0)  # standard deviation of a uniform distribution over a half box of 1
FEWEST = 8  # walks that must have found a consistent car


@dataclass(frozen=True, slots=True, eq=False)
class ConsistentCars:
    """Cars that agree with all bands.

    Attributes
    ----------
    moves : ndarray, shape (walks, steps, moves)
        mm.
    low, high : ndarray, shape (moves,)
        Ends of what was found for each, all walks and the linear model about them together.
    accepted : float
        Part of the steps that were taken.
    """

    moves: Array
    low: Array
    high: Array
    accepted: float

    @property
    def every(self) -> Array:
        """All of them, shape (cars, moves)."""
        return self.moves.reshape(-1, self.moves.shape[-1])

    def chance(self, true: NDArray[np.bool_]) -> tuple[float, float]:
        """Part of the cars of which something is true, and its standard error, from how the walks differ.

        `true` has the shape (walks, steps).
        """
        each = true.mean(axis=1)
        return float(each.mean()), float(each.std(ddof=1) / np.sqrt(len(each)))

    def mixing(self) -> Array:
        """Ratio of the spread of all to that within walks, shape (moves,); near 1 where the walks have met.

        (A. Gelman, D. B. Rubin, 1992; from memory.)
        """
        count = self.moves.shape[1]
        within = self.moves.var(axis=1, ddof=1).mean(axis=0)
        between = self.moves.mean(axis=1).var(axis=0, ddof=1)
        return np.asarray(np.sqrt(((count - 1) / count * within + between) / np.maximum(within, 1e-30)))


def consistent_cars(problem: Problem, steps: int, seed: int) -> ConsistentCars:
    """Draw cars that have every figure within its band.

    Parameters
    ----------
    steps : int
        Of each of `WALKS` walks.

    Raises
    ------
    RequestError
        When hardly any car in the boxes agrees, or lengths are kept: those leave no volume to draw from.
    """
    if problem.space.kept:
        text = "consistent cars are drawn from boxes; take [keep] lengths out, or ask for each as a band"
        raise RequestError(Finding("consistent-lengths", text, "[keep] lengths"))
    x, excess = starts_in_step(problem, 2 * WALKS, seed, partial(map, partial(led, problem)))
    good = x[excess.max(axis=1) <= 0.0]
    if len(good) < FEWEST:
        text = f"of {2 * WALKS} starts in the boxes {len(good)} led to cars that agree with all bands; widen them"
        raise RequestError(Finding("consistent-none", text))
    rng = np.random.default_rng(seed)
    x = good[rng.integers(len(good), size=WALKS)]
    root = _proposals(problem, x)
    kept, taken = [], 0
    size = STEP / np.sqrt(x.shape[1])
    for step in range(steps):
        scale = size * 10.0 ** rng.uniform(-0.8, 0.3, (WALKS, 1))  # long and short steps, whatever the band's shape
        new = x + scale * (rng.standard_normal(x.shape) @ root.T)
        inside = ((new >= problem.low) & (new <= problem.high)).all(axis=1)
        if inside.any():
            figure, _ = problem.many(new[inside], slopes=False)
            inside[inside] = problem.excess(figure).max(axis=1) <= 0.0
        x = np.where(inside[:, None], new, x)
        taken += int(inside.sum())
        if step >= BURNT * steps:
            kept.append(x)
    moves = np.stack(kept, axis=1) * problem.unit
    low, high = _ends(problem, moves)
    return ConsistentCars(moves, low, high, taken / (steps * WALKS))


def _proposals(problem: Problem, x: Array) -> Array:
    """Root of the covariance of proposed steps: the boxes' where nothing is known, narrow where bands are."""
    middle = x[int(np.argmin(((x - x.mean(axis=0)) ** 2).sum(axis=1)))]
    rows = problem.rest_slope(problem.at(middle).slope / problem.slack[:, None] / WIDE)
    half = 0.5 * (problem.high - problem.low) * WIDE
    value, vector = np.linalg.eigh(rows.T @ rows + np.diag(1.0 / half**2))
    return np.asarray(vector / np.sqrt(value))


def _ends(problem: Problem, moves: Array) -> tuple[Array, Array]:
    """How far each move goes among the cars, and as far as the linear model about the last of them carries it."""
    every = moves.reshape(-1, moves.shape[-1])
    low, high = every.min(axis=0), every.max(axis=0)
    for k in range(len(low)):
        for sign, ends in ((1.0, low), (-1.0, high)):
            car = every[int(np.argmin(sign * every[:, k]))] / problem.unit
            cost = np.zeros(len(low))
            cost[k] = sign * 1e-3
            found = linear_nearest(problem, car, problem.at(car), cost=cost)
            if not found.met:
                continue
            there = problem.many(found.x[None], slopes=False)[0]
            if problem.excess(there).max() <= 0.05:  # the curve of a bound costs a little of it
                ends[k] = sign * min(sign * ends[k], sign * found.x[k] * problem.unit[k])
    return low, high


def consistent_table(problem: Problem, cars: ConsistentCars) -> tuple[Table, tuple[str, ...]]:
    """Ranges and the chance to have gone up, by move, with what was assumed."""
    names, every = problem.space.names, cars.every
    cuts = np.quantile(every, (0.05, 0.5, 0.95), axis=0)
    columns = (
        Column("move", text=True, key=True), Column("from_mm", "mm", "can be from", places=2),
        Column("to_mm", "mm", "to", places=2), Column("low_mm", "mm", "5 %", places=2),
        Column("median_mm", "mm", "middle", places=2), Column("high_mm", "mm", "95 %", places=2),
        Column("rose", head="chance > 0"), Column("error", head="±"), Column("must", text=True),
    )  # fmt: skip
    rows: list[tuple[Cell, ...]] = []
    for k, name in enumerate(names):
        chance, error = cars.chance(cars.moves[:, :, k] > 0.0)
        must = "must be > 0" if cars.low[k] > 0.0 else "must be < 0" if cars.high[k] < 0.0 else ""
        rows.append((name, float(cars.low[k]), float(cars.high[k]), *map(float, cuts[:, k]), percent(chance),
                     percent(error), must))  # fmt: skip
    worst = float(cars.mixing().max())
    notes = (
        f"Assumed: every car in the boxes is equally likely beforehand, every figure lies within its band and "
        f"anywhere in it alike; points without a box have not moved. {len(every)} cars of {len(cars.moves)} walks; "
        f"{percent(cars.accepted)} of the steps taken; spread of all over that within walks at most {worst:.2f} "
        f"({'the walks have met' if worst < 1.1 else 'above 1.1: ask for more steps'}).",
        "Chances follow the boxes: with other boxes they are others. 'Must' holds for every car that was found, and "
        "for those that the linear model about them reaches.",
    )
    return Table.of("consistent", columns, rows, "Cars that agree with all bands"), notes
