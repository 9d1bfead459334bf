"""Wants as an optimisation problem: least change inside the boxes, every want within what it allows.

Variables are moves over what a unit of change is (so that the change is their length), then one middle for each want of
a range, then where asked for one excess for each want, in units of what it allows.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from kin3d.studies.tune_samples import SampleKey, SampleModel
from kin3d.studies.tune_wants import Aim, all_bounds

Array = NDArray[np.float64]
PLACES = 4  # of the boxes, at which is looked what moves change of what is kept
UNCHANGED = 1e-9  # mm per mm
INSIDE = 1e-6  # of what is allowed: aimed at so much inside, so that rounding stays inside


@dataclass(frozen=True, slots=True, eq=False)
class LinearWants:
    """Bounds of all wants about a place: low ≤ at + slope·(x − x₀) − middle ≤ high.

    Attributes
    ----------
    figure : ndarray, shape (bounds,)
        Without middles.
    slope : ndarray, shape (bounds, moves)
        Per unit of scaled move.
    """

    figure: Array
    slope: Array


class Problem:
    """A targets file's problem at the present positions of its wants.

    Parameters
    ----------
    model : SampleModel
    aims : sequence of Aim
    """

    def __init__(self, model: SampleModel, aims: Sequence[Aim]) -> None:
        self.model, self.aims, self.space = model, list(aims), model.space
        self.unit = 1.0 / self.space.weight  # mm per unit of change
        self.low, self.high = self.space.low / self.unit, self.space.high / self.unit
        self._last: tuple[bytes, LinearWants] | None = None
        self._allowed = np.zeros(len(aims))
        self.refresh()

    @contextmanager
    def allowing(self, excess: Array) -> Iterator[None]:
        """Let each want be missed by so much, in units of what it allows, for as long as this holds."""
        self._allowed = excess
        self.refresh()
        try:
            yield
        finally:
            self._allowed = np.zeros(len(self.aims))
            self.refresh()

    def refresh(self) -> None:
        """Take the bounds anew: the wants' positions have changed."""
        found = all_bounds(self.aims)
        self.want = np.array([k for k, _ in found], dtype=int)
        bounds = [b for _, b in found]
        self.keys: list[SampleKey] = list(dict.fromkeys(key for b in bounds for key, _ in b.parts))
        place = {key: k for k, key in enumerate(self.keys)}
        self.parts = np.zeros((len(bounds), len(self.keys)))
        for row, b in enumerate(bounds):
            for key, factor in b.parts:
                self.parts[row, place[key]] += factor
        self.slack = np.array([b.slack for b in bounds])
        inside = (INSIDE - self._allowed[self.want]) * self.slack
        self.least = np.array([b.low for b in bounds]) + inside
        self.most = np.array([b.high for b in bounds]) - inside
        ranges = sorted({k for k, b in found if b.middle})
        self.middles = len(ranges)
        self.middle = np.zeros((len(bounds), len(ranges)))
        for row, (k, b) in enumerate(found):
            if b.middle:
                self.middle[row, ranges.index(k)] = 1.0
        self._last = None

    def at(self, x: Array) -> LinearWants:
        """Bounds' figures and slopes at scaled moves; the last place is kept."""
        here = x.tobytes()
        if self._last is None or self._last[0] != here:
            value, slope = self.model.evaluate(self.keys, (x * self.unit)[None])
            self._last = here, LinearWants(self.parts @ value[0], self.parts @ slope[0] * self.unit)
        return self._last[1]

    def many(self, x: Array, slopes: bool = True) -> tuple[Array, Array]:
        """The same for many cars: shapes (cars, bounds) and (cars, bounds, moves)."""
        value, slope = self.model.evaluate(self.keys, x * self.unit, slopes)
        return value @ self.parts.T, np.einsum("bs,csm->cbm", self.parts, slope) * self.unit if slopes else slope

    def middles_at(self, figure: Array) -> Array:
        """The best middles for figures of bounds, shape (…, middles)."""
        out = [
            0.5 * (figure[..., rows].max(axis=-1) + figure[..., rows].min(axis=-1))
            for rows in (np.flatnonzero(column) for column in self.middle.T)
        ]
        return np.stack(out, axis=-1) if out else np.zeros((*figure.shape[:-1], 0))

    def rest(self, figure: Array) -> Array:
        """Figures of bounds less their best middles."""
        return figure - self.middles_at(figure) @ self.middle.T

    def rest_slope(self, slope: Array) -> Array:
        """Slopes of bounds less those of their middles: a range has a middle that is free to go along."""
        for column in self.middle.T:
            slope = np.where(column[:, None] > 0.0, slope - slope[column > 0.0].mean(axis=0), slope)
        return slope

    def excess(self, figure: Array) -> Array:
        """By how much of `within` each want is missed, at the present positions, shape (…, wants); 0: it is met."""
        rest = self.rest(figure)
        over = np.maximum(self.least - rest, rest - self.most) / self.slack
        out = np.full((*figure.shape[:-1], len(self.aims)), 0.0)
        for k in range(len(self.aims)):
            rows = self.want == k
            if rows.any():
                out[..., k] = np.maximum(over[..., rows].max(axis=-1), 0.0)
        return np.where(np.isfinite(out), out, np.inf)

    def kept(self, x: Array) -> tuple[Array, Array]:
        """Errors of kept lengths and lines, mm, those that say the same once, and per unit of scaled move."""
        error, slope = self.space.kept_errors(x * self.unit)
        return self._independent @ error, self._independent @ slope * self.unit

    @cached_property
    def _independent(self) -> Array:
        """Combinations of what is kept that moves can change at all, by the slopes at some places of the boxes."""
        rng = np.random.default_rng(0)
        places = rng.uniform(self.low, self.high, (PLACES, len(self.low))) * self.unit
        slopes = np.hstack([self.space.kept_errors(p)[1] for p in places])
        left, size, _ = np.linalg.svd(slopes, full_matrices=False)
        return np.asarray(left.T[size > UNCHANGED])

    @property
    def weights(self) -> Array:
        """What an excess of each want counts where the nearest is asked for."""
        return np.array([a.want.weight for a in self.aims])
