"""Marks and figures that cannot be right: tested one by one against all others, left out, tried again, named.

Data snooping after W. Baarda, *A testing procedure for use in geodetic networks* (1968): an observation's residual over
that residual's own deviation is w; one that is right is beyond 3.5 once in two thousand times.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import inf

import numpy as np
from numpy.typing import NDArray

from kin3d.photographs.adjust import Fit, Known, Spread, adjust, known_of, sizes, spread
from kin3d.photographs.marked import rows_of
from kin3d.photographs.model import Model, State

Array = NDArray[np.float64]
BEYOND = 3.5  # w of one number that is not believed
BEYOND_TWO = 3.917  # w of a place (two numbers), equally seldom
GROSS = 6.0  # sigmas off a robust fit at which a mark is out before the tests begin
UNCHECKED = 0.05  # redundancy below which no other mark checks this one
LEAST_REDUNDANCY = 1e-4  # of a figure that is tested: an error shows in its own residual by this part
ROUNDS = 60


@dataclass(frozen=True, slots=True)
class Checked:
    """An adjustment whose marks and figures have been tested.

    Attributes
    ----------
    fit : Fit
        With what is believed.
    spread : Spread
    model : Model
        All marks, also those left out.
    out : tuple of int
        Numbers of the marks left out, in `model`.
    figures_out : tuple of int
        Parameters whose figure was left out.
    w : ndarray, shape (marks of model,)
        Test value of each mark, in units of its limit's single number: over `BEYOND` is not believed.
    redundancy : ndarray, shape (marks of model,)
        Part of each mark that the others check, 0 to 1; for one left out as if it were in.
    miss_px : ndarray, shape (marks of model, 2)
        Marked minus seen by the model, px: u and v, or the distance from the curve and 0.
    figure_w : ndarray, shape (parameters,)
        Test value of every figure; 0 where nothing is known.
    figure_redundancy : ndarray, shape (parameters,)
    """

    fit: Fit
    spread: Spread
    model: Model
    out: tuple[int, ...]
    figures_out: tuple[int, ...]
    w: Array
    redundancy: Array
    miss_px: Array
    figure_w: Array
    figure_redundancy: Array

    @property
    def freedom(self) -> int:
        """Numbers more than needed."""
        known = self.fit.known
        return int(len(self.fit.equations.residual) + known.observed.sum() - known.free.sum())

    @property
    def figure_unseen(self) -> Array:
        """The least error of each figure that would show, in its own unit, shape (parameters,).

        W. Baarda's reliability: an error shows by the part that the redundancy says; infinite where nothing checks.
        """
        sigma = known_of(self.model).sigma
        part = np.where(self.figure_redundancy > LEAST_REDUNDANCY, self.figure_redundancy, np.nan)
        out: Array = np.where(np.isfinite(sigma) & np.isfinite(part), BEYOND * sigma / np.sqrt(part), inf)
        return out

    @property
    def square_sum(self) -> float:
        """Sum of squares of all misses in sigmas."""
        return 2.0 * self.fit.cost

    @property
    def chance(self) -> float:
        """Probability that right marks miss by as much or more."""
        from scipy.special import gammaincc

        return float(gammaincc(0.5 * self.freedom, 0.5 * self.square_sum))


def snoop(robust: Fit) -> Checked:
    """Test all marks and stated figures from a robust fit on, until none is left out or let in any more."""
    model = robust.model
    out = {int(k) for k in np.flatnonzero(sizes(model, robust.equations.residual) > GROSS)}
    return _settled(model, robust.state, out, set())


def snoop_on(checked: Checked, fit: Fit) -> Checked:
    """The same from another fit of what was believed."""
    return _settled(checked.model, fit.state, set(checked.out), set(checked.figures_out))


def _settled(model: Model, state: State, out: set[int], figures: set[int]) -> Checked:
    seen: set[tuple[frozenset[int], frozenset[int]]] = set()
    while True:
        checked = _checked(model, state, out, figures)
        state = checked.fit.state
        seen.add((frozenset(out), frozenset(figures)))
        before = (set(out), set(figures))
        _change(checked, out, figures)
        if (out, figures) == before or (frozenset(out), frozenset(figures)) in seen or len(seen) > ROUNDS:
            return checked


def _change(checked: Checked, out: set[int], figures: set[int]) -> None:
    """Let in what fits after all, all at once; else leave out the one that fits least."""
    back = {k for k in out if checked.w[k] <= BEYOND}
    figures_back = {k for k in figures if abs(checked.figure_w[k]) <= BEYOND}
    if back or figures_back:
        out -= back
        figures -= figures_back
        return
    inside = np.array([k not in out for k in range(len(checked.w))], dtype=bool)
    w = np.where(inside & (checked.redundancy > 0.01), checked.w, 0.0)
    stated = np.array([p.stated for p in checked.model.parameters.listed], dtype=bool)
    tested = stated & (checked.figure_redundancy > LEAST_REDUNDANCY)
    figure_w = np.where(tested & ~np.isin(np.arange(len(stated)), list(figures)), np.abs(checked.figure_w), 0.0)
    worst, worst_figure = float(w.max(initial=0.0)), float(figure_w.max(initial=0.0))
    if max(worst, worst_figure) <= BEYOND:
        return
    if worst >= worst_figure:
        out.add(int(np.argmax(w)))
    else:
        figures.add(int(np.argmax(figure_w)))


def _checked(model: Model, state: State, out: set[int], figures: set[int]) -> Checked:
    known = known_of(model)
    if figures:
        sigma = known.sigma.copy()
        sigma[list(figures)] = inf
        known = Known(known.value, sigma)
    inner = model.without(out)
    fit = adjust(inner, inner.state(state.numbers, state.turns), known)
    found = spread(fit)
    everything = model.evaluate(model.state(fit.state.numbers, fit.state.turns))
    free = np.flatnonzero(known.free)
    leverage = everything.jacobian[:, free] @ found.factor[free]
    w, redundancy, miss = np.zeros(len(model.marks)), np.zeros(len(model.marks)), np.zeros((len(model.marks), 2))
    first = np.searchsorted(model.rows, np.arange(len(model.marks)))
    for k, (_, mark) in enumerate(model.marks):
        rows = np.arange(first[k], first[k] + rows_of(mark))
        own = leverage[rows] @ leverage[rows].T
        # of a mark that is in, the rest of the others' say; one that is out adds its own deviation to theirs
        spare = np.eye(len(rows)) + own if k in out else np.eye(len(rows)) - own
        missed = everything.residual[rows]
        w[k] = _test_value(missed, spare)
        part = np.linalg.inv(spare) if k in out else spare
        redundancy[k] = float(np.trace(part)) / len(rows)
        miss[k, : len(rows)] = -missed * mark.sigma_px
    figure_w, figure_redundancy = _figures(model, fit, found, figures)
    return Checked(
        fit, found, model, tuple(sorted(out)), tuple(sorted(figures)), w, redundancy, miss, figure_w, figure_redundancy
    )


def _test_value(missed: Array, spare: Array) -> float:
    """Residual over its deviation; of a place, scaled so that the same limit is as seldom passed."""
    if np.linalg.eigvalsh(spare)[0] < 1e-6:
        return 0.0
    value = float(np.sqrt(missed @ np.linalg.solve(spare, missed)))
    return value * (BEYOND / BEYOND_TWO if len(missed) == 2 else 1.0)


def _figures(model: Model, fit: Fit, found: Spread, figures: set[int]) -> tuple[Array, Array]:
    """Test value and redundancy of everything that is known beforehand."""
    said = known_of(model)
    variance = (found.factor**2).sum(axis=1)
    seen = said.observed
    sigma = np.where(seen, said.sigma, 1.0)
    missed = np.where(seen, (fit.state.numbers - said.value) / sigma, 0.0)
    part = np.where(seen, variance / sigma**2, 1.0)
    left_out = np.isin(np.arange(len(sigma)), list(figures))
    spare = np.where(left_out, 1.0 + part, 1.0 - part)
    w = np.where(seen & (spare > 1e-6), missed / np.sqrt(np.maximum(spare, 1e-6)), 0.0)
    return w, np.where(left_out, 1.0 / np.maximum(spare, 1.0), np.where(seen, spare, 0.0))
