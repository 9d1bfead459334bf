"""Normal numbers, and what many numbers say: quantiles, mean and deviation along the last axis."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
CACHED = 131_072  # numbers at a time, which stay in the processor's cache
CLASSES = 2048  # of a row of numbers, of which only those are sorted that hold a wanted one
# M. J. Wichura 1988, Applied Statistics 37, 477 to 484: rational functions to 1e-16; numerator, denominator
_MIDDLE = (
    (
        2509.0809287301226727, 33430.575583588128105, 67265.770927008700853, 45921.953931549871457,
        13731.693765509461125, 1971.5909503065514427, 133.14166789178437745, 3.387132872796366608,
    ),
    (
        5226.495278852854561, 28729.085735721942674, 39307.89580009271061, 21213.794301586595867,
        5394.1960214247511077, 687.1870074920579083, 42.313330701600911252, 1.0,
    ),
)  # fmt: skip
_TAIL = (
    (
        7.7454501427834140764e-4, 0.0227238449892691845833, 0.24178072517745061177, 1.27045825245236838258,
        3.64784832476320460504, 5.7694972214606914055, 4.6303378461565452959, 1.42343711074968357734,
    ),
    (
        1.05075007164441684324e-9, 5.475938084995344946e-4, 0.0151986665636164571966, 0.14810397642748007459,
        0.68976733498510000455, 1.6763848301838038494, 2.05319162663775882187, 1.0,
    ),
)  # fmt: skip
_FAR = (
    (
        2.01033439929228813265e-7, 2.71155556874348757815e-5, 1.2426609473880784386e-3, 0.026532189526576123093,
        0.29656057182850489123, 1.7848265399172913358, 5.4637849111641143699, 6.6579046435011037772,
    ),
    (
        2.04426310338993978564e-15, 1.4215117583164458887e-7, 1.8463183175100546818e-5, 7.868691311456132591e-4,
        0.0148753612908506148525, 0.13692988092273580531, 0.59983220655588793769, 1.0,
    ),
)  # fmt: skip


def normal_quantile(parts: Array) -> Array:
    """The number under which a part of a standard normal distribution lies, for parts between 0 and 1, any shape."""
    off = parts - 0.5
    middle = np.abs(off) <= 0.425
    out = off * _ratio(_MIDDLE, 0.180625 - off * off)
    tail = ~middle
    least = np.minimum(parts[tail], 1.0 - parts[tail])
    root = np.sqrt(-np.log(least))
    size = np.where(root <= 5.0, _ratio(_TAIL, root - 1.6), _ratio(_FAR, root - 5.0))
    out[tail] = np.copysign(size, off[tail])
    return out


def _ratio(rational: tuple[tuple[float, ...], tuple[float, ...]], x: Array) -> Array:
    above, below = (np.full_like(x, of[0]) for of in rational)
    for sums, coefficients in zip((above, below), rational, strict=True):
        for c in coefficients[1:]:
            sums *= x
            sums += c
    return np.asarray(above / below)


def quantiles(values: Array, parts: Sequence[float]) -> Array:
    """Quantiles along the last axis of those that are numbers, shape (parts, …); NaN where there is none."""
    size = values.shape[-1]
    rows = values.reshape(-1, size)
    if size and np.isfinite(rows).all():  # then it is known beforehand which values are asked for
        places = np.asarray(parts)[:, None] * (size - 1)
        below = np.floor(places).astype(int)
        ranks, where = np.unique([below, np.minimum(below + 1, size - 1)], return_inverse=True)
        low, high = order_statistics(rows, ranks)[where.reshape(2, len(parts))]
    else:
        ordered = np.sort(rows, axis=-1)  # NaN last
        last = np.maximum((~np.isnan(ordered)).sum(axis=-1) - 1, 0)
        places = np.asarray(parts)[:, None] * last
        below = np.floor(places).astype(int)
        above = np.minimum(below + 1, last)
        low, high = (np.take_along_axis(ordered, k.T, axis=-1).T for k in (below, above)) if size else (np.nan, np.nan)
    with np.errstate(invalid="ignore"):
        found = low + (places - below) * (high - low)
    return np.asarray(found).reshape(len(parts), *values.shape[:-1])


def order_statistics(rows: Array, ranks: NDArray[np.intp]) -> Array:
    """The numbers that have these ranks, from 0, in each row, shape (ranks, rows); rows are finite.

    Every row is counted in classes, and only what stands in the class of a wanted number is sorted.
    """
    step = max(1, CACHED // max(1, rows.shape[1]))
    parts = [rows[k : k + step] for k in range(0, len(rows), step)]
    return np.concatenate([_of_ranks(part, ranks) for part in parts], axis=1)


def _of_ranks(rows: Array, ranks: NDArray[np.intp]) -> Array:
    count, size = rows.shape
    low = rows.min(axis=-1, keepdims=True)
    with np.errstate(all="ignore"):
        scale = (CLASSES - 1) / (rows.max(axis=-1, keepdims=True) - low)
        scale[~np.isfinite(scale)] = 0.0  # numbers that are all alike
        off = rows - low
        off *= scale
        place = off.astype(np.int64)
    place += np.arange(count)[:, None] * CLASSES
    held = np.bincount(place.ravel(), minlength=count * CLASSES)
    wanted = np.arange(count) * size + ranks[:, None]
    classes = np.searchsorted(held.cumsum(), wanted, side="right")
    marked = np.zeros(len(held), dtype=bool)
    marked[classes] = True
    kept = np.where(marked, held, 0)
    if kept.sum() > rows.size // 4:  # few far off, and all others in one class
        return np.asarray(np.partition(rows, ranks, axis=-1)[:, ranks].T)
    taken = np.flatnonzero(marked[place])
    numbers, of = rows.ravel()[taken], place.ravel()[taken]
    ordered = numbers[np.lexsort((numbers, of))]
    before, here = (np.concatenate([[0], np.cumsum(n)])[classes] for n in (held, kept))
    return np.asarray(ordered[wanted - before + here])


def moments(values: Array) -> Array:
    """Mean and standard deviation along the last axis of those that are finite, shape (2, …)."""
    good = np.isfinite(values)
    whole = bool(good.all())
    count = good.sum(axis=-1)
    with np.errstate(all="ignore"):
        mean = (values if whole else np.where(good, values, 0.0)).sum(axis=-1) / count
        rest = values - mean[..., None]
        if not whole:
            rest = np.where(good, rest, 0.0)
        freedom = np.where(count > 1, count - 1, np.nan)
        return np.stack([mean, np.sqrt(np.einsum("...s,...s->...", rest, rest) / freedom)])
