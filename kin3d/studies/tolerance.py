"""How far may each figure be believed: deviations of points carried to every measure over travel.

First order: the variance of a measure is the sum over all independent errors of (derivative times deviation)², with
exact derivatives. Monte Carlo: sampled cars, solved one and all. Where the two differ, the measure bends within the
doubt, and the Monte Carlo figures are the better ones.
(First-order propagation: JCGM 100:2008, 5.1; Monte Carlo: JCGM 101:2008; from memory.)
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

from kin3d.errors import Finding, RequestError, Severity
from kin3d.linkage.car import AxleName, Car, Side
from kin3d.measures.table import Measure
from kin3d.solve.status import Status
from kin3d.studies.derive import derive
from kin3d.studies.doubt import Doubt, doubt_of
from kin3d.studies.monte_carlo import Samples, Study, draw
from kin3d.studies.side import SideModel
from kin3d.studies.sweep import chosen_measures

Array = NDArray[np.float64]
LEVELS = (0.68, 0.95)
SAMPLES = 20_000
SEED = 1
NOTHING = 1e-10  # a deviation that is a smaller part of its value is rounding


@dataclass(frozen=True, slots=True)
class FirstOrder:
    """Values with their derivatives along every source of doubt.

    Attributes
    ----------
    value : ndarray, shape (measures, travel)
    slope : ndarray, shape (measures, sources, travel)
        Change of the measure for one standard deviation of each source.
    rate : ndarray, shape (measures,)
        Derivative along travel in the design position, per mm.
    rate_slope : ndarray, shape (measures, sources)
    start, start_slope : ndarray, shapes (measures,) and (measures, sources)
        Values and changes in the design position.
    status : ndarray of int8, shape (travel,)
    """

    value: Array
    slope: Array
    rate: Array
    rate_slope: Array
    start: Array
    start_slope: Array
    status: NDArray[np.int8]

    @property
    def sigma(self) -> Array:
        """Standard deviation of every value, shape (measures, travel)."""
        out: Array = np.sqrt((self.slope**2).sum(axis=1))
        return out

    @property
    def share(self) -> Array:
        """Part of each variance that every source causes, shape (measures, sources, travel).

        Adds up to 1; 0 all through where the points do not matter to the measure.
        """
        return _shares(self.slope, self.value)

    @property
    def start_share(self) -> Array:
        """The same in the design position, shape (measures, sources)."""
        return _shares(self.start_slope, self.start)


@dataclass(frozen=True, slots=True)
class Spread:
    """What the sampled cars say of a value.

    Attributes
    ----------
    mean, sigma, median : ndarray, shape (measures, travel)
    low, high : dict of level to ndarray, shape (measures, travel)
        Ends of the band that holds that part of the samples, the same part left out at either end.
    failed : ndarray of int, shape (travel,)
        Samples that could not be assembled there.
    samples, seed : int
    """

    mean: Array
    sigma: Array
    median: Array
    low: dict[float, Array]
    high: dict[float, Array]
    failed: NDArray[np.int_]
    samples: int
    seed: int


@dataclass(frozen=True, slots=True)
class Tolerance:
    """Measures of one corner over travel with their doubt, by both ways.

    Attributes
    ----------
    title, axle, side : str
    travel_mm : ndarray, shape (travel,)
    measures : tuple of Measure
    doubt : Doubt
    first : FirstOrder
    spread : Spread or None
        None when no samples were asked for.
    left_out : dict of str to str
    findings : tuple of Finding
    """

    title: str
    axle: AxleName
    side: Side
    travel_mm: Array
    measures: tuple[Measure, ...]
    doubt: Doubt
    first: FirstOrder
    spread: Spread | None
    left_out: dict[str, str]
    findings: tuple[Finding, ...]

    def row(self, measure: str) -> int:
        """Row of a measure in every array."""
        return [m.name for m in self.measures].index(measure)

    def band(self, level: float, first_order: bool = False) -> tuple[Array, Array]:
        """Ends of the band of a level, shapes (measures, travel): of the samples, or first order without samples."""
        if self.spread is not None and not first_order:
            return self.spread.low[level], self.spread.high[level]
        half = half_width(level) * self.first.sigma
        return self.first.value - half, self.first.value + half

    def disagreement(self) -> Array:
        """Deviation of the samples (half the 68 % band) over that of first order, less 1; shape (measures, travel).

        NaN where the points do not matter to the measure.
        """
        low, high = self.band(LEVELS[0])
        sigma = self.first.sigma
        first = np.where(sigma > NOTHING * (1.0 + np.abs(self.first.value)), sigma, np.nan)
        out: Array = (high - low) / (2.0 * half_width(LEVELS[0]) * first) - 1.0
        return out


def half_width(level: float) -> float:
    """Standard deviations to either side that hold a part `level` of a normal distribution."""
    return NormalDist().inv_cdf(0.5 + level / 2.0)


def _shares(slope: Array, value: Array) -> Array:
    square = slope**2
    total = square.sum(axis=1)
    matters = total > (NOTHING * (1.0 + np.abs(value))) ** 2
    out: Array = np.where(matters[:, None], square / np.where(matters, total, 1.0)[:, None], 0.0)
    return out


def tolerance(
    car: Car,
    axle: AxleName,
    travel_mm: Sequence[float] | Array,
    measures: Sequence[str] | None = None,
    *,
    sigma_mm: float | None = None,
    samples: int = SAMPLES,
    seed: int = SEED,
    side: Side | None = None,
    workers: int = 1,
    progress: Callable[[int, int], None] | None = None,
) -> Tolerance:
    """Carry the deviations of the points to measures over travel, rack held.

    Parameters
    ----------
    sigma_mm : float, optional
        Standard deviation of every coordinate to which the file gives none.
    samples : int
        Sampled cars; 0: first order alone.
    workers : int
        Processes for the samples; see `monte_carlo.draw`.

    Raises
    ------
    RequestError
        When no point carries a deviation and none is given, or fewer than 100 samples are asked for.
    """
    corner = SideModel.of(car, axle, side)
    doubt = doubt_of(corner, sigma_mm)
    _refuse(car, doubt, samples)
    travel = np.atleast_1d(np.asarray(travel_mm, dtype=float))
    there, left_out = corner.available(chosen_measures(axle, measures))
    first = first_order(corner, doubt, travel, there)
    findings = _unreached(first.status, travel)
    spread = None
    if samples:
        names = tuple(m.name for m in there)
        study = Study(car, axle, corner.side, sigma_mm, travel, names)
        drawn = draw(study, samples, seed, workers, progress, corner)
        spread = spread_of(drawn)
        findings += _failed(drawn, travel)
    return Tolerance(
        car.title, axle, corner.side, travel, there, doubt, first, spread, left_out, (*findings, *_exact(doubt))
    )


def first_order(side: SideModel, doubt: Doubt, travel: Array, measures: Sequence[Measure]) -> FirstOrder:
    """Values and exact derivatives along the sources, over travel and in the design position."""
    variants = side.variants(side.design)
    lanes = side.model.kernel.lanes
    found = derive(side, variants, lanes(variants, travel), measures, seeds=doubt.seeds)
    start = derive(side, variants, lanes(variants, np.zeros(1)), measures, rates=True, seeds=doubt.seeds)
    slopes = (len(measures), len(doubt.sources))
    return FirstOrder(
        value=found.value,
        slope=found.slope.reshape(*slopes, len(travel)),
        rate=start.rate[:, 0],
        rate_slope=start.rate_slope.reshape(slopes),
        start=start.value[:, 0],
        start_slope=start.slope.reshape(slopes),
        status=found.status,
    )


def spread_of(drawn: Samples) -> Spread:
    """Mean, deviation and bands of samples; those without a value are left out and counted in `failed`."""
    tails = [(1.0 + s * level) / 2.0 for level in LEVELS for s in (-1, 1)]
    cuts = np.stack([quantiles(v, [*tails, 0.5]) for v in drawn.value], axis=1)
    moments = np.stack([_moments(v) for v in drawn.value], axis=1)
    return Spread(
        mean=moments[0],
        sigma=moments[1],
        median=cuts[-1],
        low={level: cuts[2 * k] for k, level in enumerate(LEVELS)},
        high={level: cuts[2 * k + 1] for k, level in enumerate(LEVELS)},
        failed=drawn.failed,
        samples=drawn.value.shape[-1],
        seed=drawn.seed,
    )


def quantiles(values: Array, parts: Sequence[float]) -> Array:
    """Quantiles along the last axis of those that are numbers, shape (parts, …); NaN where there is none."""
    ordered = np.sort(values, axis=-1)  # NaN last
    count = (~np.isnan(ordered)).sum(axis=-1)
    out = []
    for part in parts:
        place = part * np.maximum(count - 1, 0)
        below = np.floor(place).astype(int)
        above = np.minimum(below + 1, np.maximum(count - 1, 0))
        low, high = (np.take_along_axis(ordered, k[..., None], axis=-1)[..., 0] for k in (below, above))
        out.append(low + (place - below) * (high - low))
    return np.stack(out)


def _moments(values: Array) -> Array:
    """Mean and standard deviation along the last axis of those that are finite, shape (2, …)."""
    good = np.isfinite(values)
    count = good.sum(axis=-1)
    with np.errstate(all="ignore"):
        mean = np.where(good, values, 0.0).sum(axis=-1) / count
        rest = np.where(good, values - mean[..., None], 0.0)
        return np.stack([mean, np.sqrt(np.einsum("...s,...s->...", rest, rest) / (count - 1))])


def _refuse(car: Car, doubt: Doubt, samples: int) -> None:
    findings = []
    if not doubt.known:
        text = (
            "no point has a standard deviation, so there is nothing to carry; give a column sigma in the point table, "
            "a table [[front.shared_error]] in the car file, or --sigma MM for all coordinates without one"
        )
        findings.append(Finding("sigma-missing", text, str(car.source)))
    if samples and samples < 100:
        text = f"samples is {samples}; 100 or more are expected for a 95 % band, or 0 for first order alone"
        findings.append(Finding("samples-few", text))
    if findings:
        raise RequestError(findings)


def _unreached(status: NDArray[np.int8], travel: Array) -> tuple[Finding, ...]:
    bad = status != Status.OK
    if not bad.any():
        return ()
    where = ", ".join(f"{t:+g}" for t in travel[bad])
    text = f"the linkage does not reach travel {where} mm; there are no figures there (kin3d sweep says why)"
    return (Finding("out-of-reach", text, severity=Severity.WARNING),)


def _failed(drawn: Samples, travel: Array) -> tuple[Finding, ...]:
    failed = drawn.failed
    if not failed.any():
        return ()
    worst = int(failed.argmax())
    text = (
        f"{int(failed.max())} of {drawn.value.shape[-1]} sampled cars cannot be assembled at travel "
        f"{travel[worst]:+g} mm; the bands there are those of the others, and so too narrow"
    )
    return (Finding("samples-failed", text, severity=Severity.WARNING),)


def _exact(doubt: Doubt) -> tuple[Finding, ...]:
    if not doubt.exact:
        return ()
    text = f"without a deviation, taken as exact: {', '.join(doubt.exact)}"
    return (Finding("points-exact", text, severity=Severity.NOTE),)
