"""May one say so: each difference between two cars with its own deviation, and whether doubt alone could make it.

The rule: a difference can be said when it is larger than what the doubt of both cars alone would make of two cars that
do not differ, in all but 5 % of such pairs (for a threshold of 0.95; either sign counts). So of lines without a true
difference one in twenty is declared. The half width of that band stands beside the difference. It says nothing of how
probable the sign is: that would need to be known beforehand how large differences usually are.
(A two-sided test of no difference; the chance from samples as (r + 1)/(n + 1), A. C. Davison and D. V. Hinkley,
Bootstrap Methods and their Application, 1997, ch. 4; from memory.)
"""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import dataclass
from statistics import NormalDist
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from kin3d.measures.entry import Measure
from kin3d.studies.first_order import NOTHING, FirstOrder
from kin3d.studies.monte_carlo import Samples
from kin3d.studies.uncertainty import Uncertainty, half_width
from kin3d.writing.numbers import number, rate

Array = NDArray[np.float64]
FigureKind = Literal["design", "rate", "range"]
KINDS: tuple[FigureKind, ...] = ("design", "rate", "range")
THRESHOLD = 0.95
SAID, UNSAID = "can be said", "cannot be said from these points"
EXACT, HIDDEN = "set by figures taken as exact", "smaller than is shown"


@dataclass(frozen=True, slots=True)
class Figures:
    """One number a measure for one kind of figure, with its uncertainty.

    Attributes
    ----------
    value, sigma : ndarray, shape (measures,)
        Sigma of first order; NaN when no point carries a deviation.
    slope : ndarray, shape (measures, sources)
        Change for one standard deviation of each source.
    identities : tuple of hashable
        By which the sources are known.
    drawn : ndarray, shape (measures, samples), or None
    """

    value: Array
    sigma: Array
    slope: Array
    identities: tuple[Hashable, ...]
    drawn: Array | None

    def rows(self, rows: Sequence[int]) -> Figures:
        """The same of some measures."""
        drawn = None if self.drawn is None else self.drawn[rows]
        return Figures(self.value[rows], self.sigma[rows], self.slope[rows], self.identities, drawn)


@dataclass(frozen=True, slots=True)
class Difference:
    """One measure in one kind of figure, in two cars.

    Attributes
    ----------
    measure : Measure
    kind : {"design", "rate", "range"}
        At the origin of the drive (the design position as a rule); its derivative along the drive there; greatest less
        smallest value over the drive.
    a, b : float
        Values in the first and the second car.
    sigma_a, sigma_b, sigma : float
        Standard deviations of each and of the difference (an error that both cars have counts once); NaN when unknown.
    half_width : float
        What the doubt alone stays under in a part `threshold` of cars that do not differ; NaN when unknown.
    chance : float
        How often the doubt alone would make a difference as large, of either sign; NaN when unknown.
    threshold : float
        Part of cars without a difference of which none may be said.
    per : str
        Unit of the drive.
    """

    measure: Measure
    kind: FigureKind
    a: float
    b: float
    sigma_a: float
    sigma_b: float
    sigma: float
    half_width: float
    chance: float
    threshold: float
    per: str = "mm"

    @property
    def difference(self) -> float:
        """Second car less first."""
        return self.b - self.a

    @property
    def unit(self) -> str:
        """Unit of the figures."""
        if self.kind != "rate":
            return self.measure.unit
        return f"{self.measure.unit}/{self.per}"

    @property
    def same(self) -> bool:
        """Whether the two figures are equal but for rounding."""
        return abs(self.difference) <= NOTHING * (1.0 + abs(self.a) + abs(self.b))

    @property
    def exact(self) -> bool:
        """Whether no error reaches the difference: it is set by figures of the car files that are taken as exact."""
        return self.sigma <= NOTHING * (1.0 + abs(self.a) + abs(self.b))

    @property
    def hidden(self) -> bool:
        """Whether the difference is zero in the places that are shown."""
        text = (rate if self.kind == "rate" else number)(self.difference, self.measure.unit)
        return not any(c in "123456789∞" for c in text)

    @property
    def judged(self) -> bool:
        """Whether the difference was weighed against its doubt; one that is smaller than is shown is not said."""
        return self.verdict in (SAID, UNSAID, HIDDEN)

    @property
    def verdict(self) -> str:
        """Whether the sign of the difference may be stated."""
        if self.same:
            return "no difference"
        if not np.isfinite(self.difference):
            return "no value"
        if not np.isfinite(self.sigma):
            return "not judged: no deviations"
        if self.exact:
            return EXACT
        if not abs(self.difference) > self.half_width:
            return UNSAID
        return HIDDEN if self.hidden else SAID


def figures(kind: FigureKind, first: FirstOrder, drawn: Samples | None, uncertainty: Uncertainty) -> Figures:
    """Figures of one kind from first order and samples of one car."""
    if kind == "design":
        value, slope = first.start, first.start_slope
    elif kind == "rate":
        value, slope = first.rate, first.rate_slope
    else:
        value, slope = _range(first)
    samples = None if drawn is None else drawn_figures(kind, drawn.value, drawn.start, drawn.rate)
    known = uncertainty.known
    sigma = np.sqrt((slope**2).sum(axis=1)) if known else np.full(len(value), np.nan)
    return Figures(value, sigma, slope, uncertainty.identities, samples if known else None)


def drawn_figures(kind: FigureKind, value: Array, start: Array, rate: Array) -> Array:
    """Figures of one kind of sampled cars, shape (measures, samples), from arrays as `Samples` has them."""
    if kind == "range":
        return np.asarray(value.max(axis=1) - value.min(axis=1))
    return start if kind == "design" else rate


def _range(first: FirstOrder) -> tuple[Array, Array]:
    """Greatest less smallest value over the drive; its slope is that of the one end less that of the other."""
    good = np.isfinite(first.value)
    top = np.where(good, first.value, -np.inf).argmax(axis=1)
    bottom = np.where(good, first.value, np.inf).argmin(axis=1)
    row = np.arange(len(first.value))
    value = first.value[row, top] - first.value[row, bottom]
    return value, first.slope[row, :, top] - first.slope[row, :, bottom]


@dataclass(frozen=True, slots=True)
class Astray:
    """How far pairs of sampled cars lie from the difference of the cars as measured.

    Attributes
    ----------
    half_width : ndarray, shape (measures,)
        What a wanted part of the pairs stays under.
    above, count : ndarray of int, shape (measures,)
        Pairs that lie as far as the cars differ or farther, and pairs that have a value.
    """

    half_width: Array
    above: NDArray[np.int_]
    count: NDArray[np.int_]


def differences(
    measures: Sequence[Measure],
    kind: FigureKind,
    a: Figures,
    b: Figures,
    threshold: float,
    per: str = "mm",
    astray: Astray | None = None,
) -> tuple[Difference, ...]:
    """Compare figures of two cars, measure by measure (rows of both in the order of `measures`).

    Parameters
    ----------
    astray : Astray, optional
        What sampled cars say, where they were counted and not held.
    """
    known = np.isfinite(a.sigma) | np.isfinite(b.sigma)
    sigma = np.where(known, _sigma_of_difference(a, b), np.nan)
    half, chance = _weighed(b.value - a.value, sigma, a, b, threshold, astray)
    return tuple(
        Difference(
            measure=m,
            kind=kind,
            a=float(a.value[k]),
            b=float(b.value[k]),
            sigma_a=float(a.sigma[k]),
            sigma_b=float(b.sigma[k]),
            sigma=float(sigma[k]),
            half_width=float(half[k]),
            chance=float(chance[k]),
            threshold=threshold,
            per=per,
        )
        for k, m in enumerate(measures)
    )


def by_first_order(
    measure: Measure, a: float, b: float, sigma_a: float, sigma_b: float, sigma: float, threshold: float
) -> Difference:
    """The difference of a measure in the design position, from standard deviations of first order alone."""
    half, chance = half_width(threshold) * sigma, _normal_chance(abs(b - a) / sigma if sigma else np.inf)
    return Difference(measure, "design", a, b, sigma_a, sigma_b, sigma, half, chance, threshold)


def _normal_chance(deviations: float) -> float:
    """How often a normal variable lies so many deviations from its mean or farther, on either side."""
    return 2.0 * NormalDist().cdf(-deviations) if np.isfinite(deviations) else np.nan


def _sigma_of_difference(a: Figures, b: Figures) -> Array:
    """Effects of errors that both cars have are subtracted, all others add in squares."""
    theirs = {identity: k for k, identity in enumerate(b.identities)}
    both = [(k, theirs[i]) for k, i in enumerate(a.identities) if i in theirs]
    ours, others = [k for k, _ in both], [k for _, k in both]
    alone = (np.delete(a.slope, ours, axis=1), np.delete(b.slope, others, axis=1))
    slope = np.concatenate([*alone, b.slope[:, others] - a.slope[:, ours]], axis=1)
    out: Array = np.sqrt((slope**2).sum(axis=1))
    return out


def _weighed(
    difference: Array, sigma: Array, a: Figures, b: Figures, level: float, counted: Astray | None
) -> tuple[Array, Array]:
    """Half width of the band of doubt, and the chance that doubt alone gives as much; shapes (measures,).

    From pairs of sampled cars where there are any: how far they lie from the difference of the cars as measured. Else
    of a normal distribution.
    """
    half = half_width(level) * sigma
    with np.errstate(all="ignore"):
        chance = np.array([_normal_chance(x) for x in np.abs(difference) / sigma])
    if counted is None and a.drawn is None and b.drawn is None:
        return half, chance
    pairs = counted or _astray(difference, a, b, level)
    rounding = NOTHING * (1.0 + np.abs(a.value) + np.abs(b.value))
    there = sigma > rounding
    chance = np.where(np.abs(difference) <= rounding, 1.0, chance)
    by_pairs = (pairs.above + 1.0) / (pairs.count + 1.0)
    return np.where(there, pairs.half_width, half), np.where(there, by_pairs, chance)


def _astray(difference: Array, a: Figures, b: Figures, level: float) -> Astray:
    ours, theirs = (x.value[:, None] if x.drawn is None else x.drawn for x in (a, b))
    astray = np.sort(np.abs(theirs - ours - difference[:, None]), axis=1)  # NaN last
    count = np.isfinite(astray).sum(axis=1)
    beyond = most_beyond(count, level)
    place = np.clip(count - beyond, 0, astray.shape[1] - 1)
    half = np.where(beyond > 0, astray[np.arange(len(astray)), place], np.inf)
    return Astray(half, (astray >= np.abs(difference)[:, None]).sum(axis=1), count)


def most_beyond(count: NDArray[np.int_], level: float) -> NDArray[np.int_]:
    """How many of so many samples may lie outside a band."""
    return np.asarray(np.floor((1.0 - level) * (count + 1) + 1e-9).astype(int))
