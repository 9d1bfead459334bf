"""What sampled cars say of every value: mean, deviation, bands, and how many could not be assembled."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kin3d.studies.monte_carlo import Samples

Array = NDArray[np.float64]
LEVELS = (0.68, 0.95)


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
