"""The chance that a made car holds all wants, its points off by what manufacture errs; and the car that raises it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kin3d.errors import Finding, RequestError
from kin3d.linkage.names import AxleName
from kin3d.studies.corner_model import CornerModel
from kin3d.studies.monte_carlo import normal_samples
from kin3d.studies.tune_problem import Problem
from kin3d.studies.tune_samples import SampleModel
from kin3d.studies.tune_solve import Answer
from kin3d.studies.tune_space import MoveSpace
from kin3d.writing.numbers import fixed, percent
from kin3d.writing.tables import Cell, Column, Table

Array = NDArray[np.float64]
SAMPLES = 2_000
PART = 500  # cars whose figures are held at once
ENOUGH = 4.0  # standard deviations from every bound, beyond which nothing is gained
STEPS = 12


@dataclass(frozen=True, slots=True, eq=False)
class MadeCars:
    """Errors of manufacture of a table: every coordinate by itself.

    Attributes
    ----------
    axle : {"front", "rear"}
    space : MoveSpace
        Each coordinate with a deviation as a move.
    sigma_mm : ndarray, shape (coordinates,)
    """

    axle: AxleName
    space: MoveSpace
    sigma_mm: Array


def made_cars(space: MoveSpace, corner: CornerModel, sigma_mm: float | None) -> MadeCars:
    """Coordinates that may be off, by the deviations of the table, or by one for all that have none.

    Raises
    ------
    RequestError
        When there is no deviation at all, or one below 0.
    """
    own = np.where((corner.sigma_mm == 0.0) & (sigma_mm is not None), sigma_mm or 0.0, corner.sigma_mm)
    if not own.any() or (own < 0.0).any() or not np.isfinite(own).all():
        text = "no coordinate has a standard deviation; give sigma in the point table, or --sigma in mm"
        raise RequestError(Finding("sigma-missing", text, str(corner.table.source)))
    where = np.argwhere(own > 0.0)
    ways = np.zeros((len(where), *own.shape))
    ways[np.arange(len(where)), where[:, 0], where[:, 1]] = 1.0
    far = np.full(len(where), 1e3)
    names = tuple(f"{corner.names[r]}.{'xyz'[a]}" for r, a in where)
    errors = MoveSpace(names, -far, far, np.ones(len(where)), ways, space.points, space.places_mm)
    return MadeCars(corner.model.axle.name, errors, own[where[:, 0], where[:, 1]])


def held_by(problem: Problem, made: MadeCars, moves: Array, samples: int, seed: int) -> tuple[float, Array]:
    """Part of made cars that hold all wants, and each want, at the positions of the problem.

    Parameters
    ----------
    moves : ndarray, shape (moves,)
        mm, of the car as it is meant.
    """
    errors = normal_samples(samples, len(made.sigma_mm), seed) * made.sigma_mm
    model = _about(problem, made, moves)
    every = []
    for first in range(0, samples, PART):
        value, _ = model.evaluate(problem.keys, errors[first : first + PART], slopes=False)
        every.append(problem.excess(value @ problem.parts.T))
    held = np.concatenate(every) <= 0.0
    return float(held.all(axis=1).mean()), held.mean(axis=0)


def _about(problem: Problem, made: MadeCars, moves: Array) -> SampleModel:
    """The tuned car, its errors as moves."""
    car = problem.model.car.with_points(problem.space.places(moves), made.axle)
    out = SampleModel(car, made.space, (), problem.model.measures)
    out.cases = problem.model.cases
    return out


def spread(problem: Problem, made: MadeCars, moves: Array) -> Array:
    """Standard deviation of every bound's figure for the errors, to first order, shape (bounds,).

    Of a range's bounds the part that its middle does not take.
    """
    none = np.zeros((1, len(made.sigma_mm)))
    slope = problem.rest_slope(problem.parts @ _about(problem, made, moves).evaluate(problem.keys, none)[1][0])
    return np.asarray(np.linalg.norm(slope * made.sigma_mm, axis=1))


def more_robust(problem: Problem, made: MadeCars, answer: Answer) -> Array | None:
    """Scaled moves that stand farther inside of every want, in standard deviations of it; None where there are none.

    A linear programme about each car found, in steps that become shorter where it overshoots.
    """
    from scipy.optimize import linprog

    if problem.space.kept:
        return None
    x, n, m = answer.x.copy(), len(answer.x), problem.middles
    sigma = np.maximum(spread(problem, made, x * problem.unit), 1e-9)
    best, reach = _margin(problem, x, sigma), 0.5
    for _ in range(STEPS):
        here = problem.at(x)
        start = here.figure - here.slope @ x
        up = np.hstack([here.slope, -problem.middle, sigma[:, None]])
        down = np.hstack([-here.slope, problem.middle, sigma[:, None]])
        b = np.concatenate([problem.most - start, start - problem.least])
        a, finite = np.vstack([up, down]), np.isfinite(b)
        ends = [*zip(np.maximum(problem.low, x - reach), np.minimum(problem.high, x + reach), strict=True),
                *[(None, None)] * m, (None, ENOUGH)]  # fmt: skip
        found = linprog(np.concatenate([np.zeros(n + m), [-1.0]]), a[finite], b[finite], bounds=ends, method="highs")
        if found.x is None:
            break
        margin = _margin(problem, found.x[:n], sigma)
        if margin > best + 1e-3:
            x, best = found.x[:n], margin
        else:
            reach *= 0.5
    return x if np.abs(x - answer.x).max() > 0.0 else None


def _margin(problem: Problem, x: Array, sigma: Array) -> float:
    """Least distance to a bound in standard deviations."""
    rest = problem.rest(problem.at(x).figure)
    away = np.minimum(rest - problem.least, problem.most - rest) / sigma
    return float(min(away.min(), ENOUGH)) if np.isfinite(rest).all() else -np.inf


def robust_table(problem: Problem, made: MadeCars, answer: Answer, seed: int, samples: int) -> tuple[Table, str]:
    """The chance of all wants and of each, for the least change and for the car that stands farther inside."""
    chance, each = held_by(problem, made, answer.x * problem.unit, samples, seed)
    better = more_robust(problem, made, answer)
    moves = [answer.x * problem.unit]
    chances = [(chance, each)]
    if better is not None:
        other = held_by(problem, made, better * problem.unit, samples, seed)
        if other[0] > chance:
            moves.append(better * problem.unit)
            chances.append(other)
    heads = ("least change", "more robust")[: len(moves)]
    columns = (Column("what", text=True, key=True), *(Column(h.replace(" ", "_"), head=h) for h in heads))
    rows: list[tuple[Cell, ...]] = [("all wants held", *(percent(c) for c, _ in chances))]
    rows += [(f"{a.number}. {a.name}", *(percent(float(e[k])) for _, e in chances)) for k, a in enumerate(problem.aims)]
    start = len(rows)
    rows += [(f"{name}, mm", *(fixed(float(v[k]), 3) for v in moves)) for k, name in enumerate(problem.space.names)]
    rows.append(("change", *(f"{problem.space.change(v):.3f}" for v in moves)))
    error = 100.0 * float(np.sqrt(max(chance * (1.0 - chance), 0.25 / samples) / samples))
    note = (
        f"Chances are of {samples} made cars, every coordinate off by itself, normal, σ {made.sigma_mm.min():g} to "
        f"{made.sigma_mm.max():g} mm; ± {error:.1f} points. Intervals are judged at the positions of the solve."
    )
    if len(moves) == 1:
        note += " No car that stands farther inside was found."
    return Table.of("robust", columns, rows, "Made cars that hold all that is wanted", breaks=[start]), note
