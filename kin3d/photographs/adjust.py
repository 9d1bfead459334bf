"""The adjustment: parameters that fit marks and figures best, by damped Gauss-Newton, and their covariance.

Every mark and every figure known beforehand is one independent observation of deviation 1, so that the estimate is
the least sum of squares; robust losses take the place of squares while wrong marks may be among them.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from math import inf

import numpy as np
from numpy.typing import NDArray

from kin3d.photographs.model import MarkEquations, Model, State

Array = NDArray[np.float64]
MOST_STEPS = 120
SETTLED = 1e-8  # sigma that the last step may move anything by
MEMORY = 4  # steps that Anderson's looks back, beside the last one
SEARCHED = (2, 4, 8, 16)  # steps after which the feet are looked for anew


@dataclass(frozen=True, slots=True)
class Loss:
    """What a mark that misses by `size` sigmas costs (half its square, or less), and its weight."""

    name: str
    cost: Callable[[Array], Array]
    weight: Callable[[Array], Array]


SQUARES = Loss("squares", lambda t: 0.5 * t**2, np.ones_like)


def huber(edge: float) -> Loss:
    """Huber's loss: beyond `edge` sigmas a mark pulls no harder."""
    return Loss(
        "Huber",
        lambda t: np.where(t <= edge, 0.5 * t**2, edge * (t - 0.5 * edge)),
        lambda t: np.minimum(1.0, edge / np.maximum(t, edge)),
    )


def cauchy(edge: float) -> Loss:
    """Cauchy's loss: beyond `edge` sigmas a mark pulls less and less."""
    return Loss("Cauchy", lambda t: 0.5 * edge**2 * np.log1p((t / edge) ** 2), lambda t: 1.0 / (1.0 + (t / edge) ** 2))


@dataclass(frozen=True, slots=True)
class Known:
    """What is known of the parameters beforehand, as an adjustment takes it.

    Attributes
    ----------
    value, sigma : ndarray, shape (parameters,)
        sigma is infinite where nothing is known and 0 for a parameter that is held.
    """

    value: Array
    sigma: Array

    @property
    def free(self) -> NDArray[np.bool_]:
        """Parameters that are not held."""
        return self.sigma > 0.0

    @property
    def observed(self) -> NDArray[np.bool_]:
        """Parameters of which something is known."""
        return (self.sigma > 0.0) & np.isfinite(self.sigma)

    def misses(self, numbers: Array) -> Array:
        """Parameter minus what is known of it in sigmas, 0 where nothing is, shape (parameters,)."""
        seen = self.observed
        return np.where(seen, (numbers - self.value) / np.where(seen, self.sigma, 1.0), 0.0)


@dataclass(frozen=True, slots=True)
class Fit:
    """Where an adjustment ended.

    Attributes
    ----------
    model : Model
    known : Known
    equations : MarkEquations
        At the end.
    cost : float
        Half the sum of squares, or of losses.
    settled : bool
        Whether the last step moved nothing that matters.
    steps : int
    """

    model: Model
    known: Known
    equations: MarkEquations
    cost: float
    settled: bool
    steps: int

    @property
    def state(self) -> State:
        """The state at the end."""
        return self.equations.state


def known_of(model: Model) -> Known:
    """What figures, template and defaults say."""
    return Known(model.parameters.value, model.parameters.sigma)


def sizes(model: Model, residual: Array) -> Array:
    """How far each mark misses in sigmas, shape (marks,)."""
    out: Array = np.sqrt(np.bincount(model.rows, residual**2, len(model.marks)))
    return out


def adjust(
    model: Model, start: State, known: Known | None = None, loss: Loss = SQUARES, most: int = MOST_STEPS,
    settled: float = SETTLED, free: NDArray[np.bool_] | None = None,
) -> Fit:  # fmt: skip
    """Find the least cost from a start.

    Parameters
    ----------
    model : Model
    start : State
    known : Known, optional
        In place of what the parameters themselves say.
    loss : Loss
        For marks; figures always count by their squares.
    most : int
        Steps that are made at most.
    settled : float
        sigma that the last step may move anything by.
    free : ndarray of bool, optional
        Parameters that may move; default all that are not held.
    """
    known = known or known_of(model)
    system = _NormalEquations(model, known, loss, np.flatnonzero(known.free if free is None else known.free & free))
    now = model.evaluate(start)
    cost = _cost(model, known, now, loss)
    damping, steps, done = 0.0, 0, False
    past: list[tuple[Array, Array]] = []  # steps made, and those that Gauss-Newton had proposed
    while steps < most and not done:
        normal, slope = system.at(now)
        accepted = False
        while not accepted and steps < most:
            plain, upper = _step(normal, slope, damping)
            moved = float(-slope @ plain)  # step · N · step at least
            done = moved < settled**2 and damping < 1e-3
            for step in _tries(past, plain, upper, damping):
                steps += 1
                step = _held_back(step)
                then = model.evaluate(model.moved(now.state, system.full(step)))
                new = _cost(model, known, then, loss)
                # close to the end the cost no longer tells a better place from a worse one
                accepted = new <= cost * (1.0 + (1e-12 if moved < 1e-9 * cost else 0.0)) + 1e-20
                if accepted:
                    break
            if accepted:
                past = [*past[-MEMORY:], (step, plain)] if damping == 0.0 else []
                now, cost = then, new
                damping = 0.0 if damping < 1e-6 else 0.1 * damping
                if done or steps in SEARCHED:  # a foot may have stayed on the far arc of a rim
                    now, cost, done = _searched(model, known, now, cost, loss, done)
            else:
                done, past = False, []
                damping = max(1e-4, 8.0 * damping)
                if damping > 1e8:
                    return Fit(model, known, now, cost, False, steps)
    return Fit(model, known, now, cost, done, steps)


@dataclass(frozen=True, slots=True)
class _NormalEquations:
    """The normal equations of an adjustment, each parameter in units of its deviation or of a change that matters."""

    model: Model
    known: Known
    loss: Loss
    chosen: NDArray[np.intp]

    @property
    def scale(self) -> Array:
        seen = self.known.observed
        out: Array = np.where(seen, np.where(seen, self.known.sigma, 1.0), self.model.parameters.scale)[self.chosen]
        return out

    def at(self, now: MarkEquations) -> tuple[Array, Array]:
        """Normal matrix and slope of the cost."""
        observed = self.known.observed[self.chosen].astype(float)
        jacobian = now.jacobian[:, self.chosen] * self.scale
        weight = self.loss.weight(sizes(self.model, now.residual))[self.model.rows]
        normal = jacobian.T @ (weight[:, None] * jacobian)
        normal[np.diag_indices_from(normal)] += observed
        misses = self.known.misses(now.state.numbers)[self.chosen]
        return normal, jacobian.T @ (weight * now.residual) + misses * observed

    def full(self, step: Array) -> Array:
        """A step of all parameters, in their own units."""
        out = np.zeros(len(self.known.value))
        out[self.chosen] = self.scale * step
        return out


def _step(normal: Array, slope: Array, damping: float) -> tuple[Array, Array]:
    """The damped step of Gauss and Newton, and the factor of the matrix (upper, its square is the matrix)."""
    damped = normal.copy()
    diagonal = normal.diagonal()
    damped[np.diag_indices_from(damped)] += damping * diagonal + 1e-14 * diagonal.max()
    from scipy.linalg import cho_factor, cho_solve

    upper, lower = cho_factor(damped, check_finite=False)
    return -np.asarray(cho_solve((upper, lower), slope, check_finite=False)), np.triu(upper)


def _tries(past: list[tuple[Array, Array]], plain: Array, upper: Array, damping: float) -> list[Array]:
    """Steps to try in turn: the foreseen one, the plain one, and half of it where it overshoots."""
    if damping > 0.0:
        return [plain]
    return [*([_ahead(past, plain, upper)] if past else []), plain, 0.4 * plain]


def _ahead(past: list[tuple[Array, Array]], plain: Array, upper: Array) -> Array:
    """Anderson's step: what the proposals before tell of where they lead (D. G. Anderson, J. ACM 12, 1965).

    Gauss and Newton's steps shrink by a constant part each where marks miss and curves bend, nine tenths in the
    worst cases; from a few of them the end is foreseen.
    """
    proposals = [p for _, p in past] + [plain]
    made = np.array([m for m, _ in past]).T
    change = np.diff(np.array(proposals), axis=0).T
    weights = np.linalg.lstsq(upper @ change, upper @ plain, rcond=1e-8)[0]
    out: Array = plain - (made + change) @ weights
    return out


def _searched(
    model: Model, known: Known, now: MarkEquations, cost: float, loss: Loss, done: bool
) -> tuple[MarkEquations, float, bool]:
    """Look for the feet of all marks along their whole curves; nearer ones are taken, and the adjustment goes on."""
    fresh = model.evaluate(model.state(now.state.numbers, now.state.turns))
    new = _cost(model, known, fresh, loss)
    return (fresh, new, False) if new < cost * (1.0 - 1e-9) else (now, cost, done)


def _held_back(step: Array) -> Array:
    """The step, shortened where it would carry a parameter farther than its scale allows at once."""
    longest = float(np.abs(step).max())
    return step * min(1.0, 40.0 / longest) if longest > 0.0 else step


def _cost(model: Model, known: Known, at: MarkEquations, loss: Loss) -> float:
    if not at.sound or not np.isfinite(at.residual).all():
        return inf
    return float(loss.cost(sizes(model, at.residual)).sum() + 0.5 * (known.misses(at.state.numbers) ** 2).sum())


@dataclass(frozen=True, slots=True)
class Spread:
    """Covariance of an adjustment, kept as a factor.

    Attributes
    ----------
    factor : ndarray, shape (parameters, free)
        Its product with its transpose is the covariance of the parameters; turns are rotation vectors.
    effect : ndarray, shape (parameters, rows)
        Change of the estimate for one sigma of each row of a mark: C · Jᵀ.
    known_effect : ndarray, shape (parameters, parameters)
        Change of the estimate for one sigma of each figure known beforehand; 0 where nothing is known.
    """

    factor: Array
    effect: Array
    known_effect: Array

    @property
    def covariance(self) -> Array:
        """Covariance of all parameters, shape (parameters, parameters)."""
        out: Array = self.factor @ self.factor.T
        return out


def spread(fit: Fit) -> Spread:
    """Covariance of a fit, and what each mark and figure does to the estimate.

    The squares of the effects sum to the variances: each row of a mark and each figure is an independent source.
    """
    known = fit.known
    free = np.flatnonzero(known.free)
    observed = known.observed[free]
    scale = np.where(observed, known.sigma[free], fit.model.parameters.scale[free])
    stacked = np.vstack([fit.equations.jacobian[:, free] * scale, np.diag(observed.astype(float))])
    from scipy.linalg import qr, solve_triangular

    upper = qr(stacked, mode="r", check_finite=False)[0][: len(free)]
    inverse = solve_triangular(upper, np.eye(len(free)), check_finite=False)
    count = len(known.value)
    factor = np.zeros((count, len(free)))
    factor[free] = scale[:, None] * inverse
    covariance = inverse @ inverse.T
    effect = np.zeros((count, len(fit.equations.residual)))
    effect[free] = scale[:, None] * (covariance @ (fit.equations.jacobian[:, free] * scale).T)
    known_effect = np.zeros((count, count))
    known_effect[np.ix_(free, free[observed])] = scale[:, None] * covariance[:, observed]
    return Spread(factor, effect, known_effect)
