"""Bands of more sampled cars than memory holds: values are counted in narrow classes where they are worked out.

The classes of a measure in a position reach as far as the first samples do, and half as far again; what lies beyond is
counted at either end. Counts are whole numbers and sums go piece by piece, so that the figures do not depend on how
many worked on them. Within a class values are taken as evenly spread.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from kin3d.solve.engine import expecting
from kin3d.solve.lanes import Status
from kin3d.spatial.distributions import normal_quantile
from kin3d.studies.case import Case, CaseModel
from kin3d.studies.monte_carlo import (
    LEVELS,
    MOST_MEMORY,
    WORTH_PROCESSES,
    SampledSpread,
    SampleWorker,
    Study,
    lanes_a_car,
    parts_of,
    refuse_samples,
)
from kin3d.studies.packed_counts import PackedCounts, add_counts, packing, sum_of
from kin3d.studies.pieces import by_workers

Array = NDArray[np.float64]
CLASSES = 1024
FIRST = 2000  # samples that say how far the classes reach
PIECES = 8  # pieces of other studies that make one here: what comes back is as large for few samples as for many


@dataclass(frozen=True, slots=True)
class HypercubePart:
    """Some samples of a hypercube, small enough to be sent: who works on them makes their numbers.

    Attributes
    ----------
    state : dict
        Of the generator, where the first of these samples is drawn.
    count : int
        Samples of the whole hypercube.
    strata : ndarray of int32, shape (sources, samples)
    """

    state: Any
    count: int
    strata: NDArray[np.int32]

    def numbers(self) -> Array:
        """Standard normal numbers, shape (samples, sources)."""
        bits = np.random.PCG64()
        bits.state = self.state
        out = np.random.Generator(bits).uniform(size=self.strata.shape[::-1])
        for column, stratum in zip(out.T, self.strata, strict=True):
            column[:] = normal_quantile((stratum - column) / self.count)
        return out


class Hypercube:
    """The numbers of `normal_samples`, to the bit, a part of the samples at a time: half the memory of all of them."""

    def __init__(self, count: int, sources: int, seed: int) -> None:
        bits = np.random.PCG64(np.random.SeedSequence(seed).spawn(1)[0])
        self.count, self.sources = count, sources
        self._state = bits.state
        bits.advance(count * sources)  # places within strata are drawn first, and again for each part
        rng = np.random.Generator(bits)
        self._strata = np.empty((sources, count), dtype=np.int32)
        for row in self._strata:
            stratum = np.arange(1, count + 1)
            rng.shuffle(stratum)
            row[:] = stratum

    def part(self, samples: slice) -> HypercubePart:
        """Some of the samples."""
        bits = np.random.PCG64()
        bits.state = self._state
        bits.advance(samples.start * self.sources)
        return HypercubePart(bits.state, self.count, self._strata[:, samples])


@dataclass(frozen=True, slots=True)
class Classes:
    """Classes of every measure in every position, from `low` on, each `width` wide; shapes (measures, positions)."""

    low: Array
    width: Array

    @staticmethod
    def around(values: Array) -> Classes:
        """Classes that reach half as far again as values of shape (measures, positions, samples)."""
        low, high = np.fmin.reduce(values, axis=-1), np.fmax.reduce(values, axis=-1)  # of all but NaN
        if not (np.isfinite(low) & np.isfinite(high)).all():
            finite = np.where(np.isfinite(values), values, np.nan)
            finite[~np.isfinite(finite).any(axis=-1)] = 0.0
            low, high = np.fmin.reduce(finite, axis=-1), np.fmax.reduce(finite, axis=-1)
        reach = np.maximum(high - low, 1e-9 * (1.0 + np.abs(high)))
        return Classes(low - 0.5 * reach, 2.0 * reach / CLASSES)

    def count(self, values: Array) -> NDArray[np.int32]:
        """How many values each class has, shape (measures, positions, classes + 2): also below and above them."""
        out = np.empty((*self.low.shape, CLASSES + 2), dtype=np.int32)  # half as much comes back
        for k, some in enumerate(values):  # one measure at a time stays in the processor's cache
            out[k] = self._row(k, some)
        return out

    def _row(self, k: int, values: Array) -> NDArray[np.int64]:
        low, width = self.low[k], self.width[k]
        with np.errstate(invalid="ignore"):
            place = np.floor((values - low[:, None]) / width[:, None])
            place = np.clip(place, -1.0, CLASSES) + 1.0
        there = ~np.isnan(place)
        rows = np.arange(low.size)[:, None] * (CLASSES + 2)
        flat = (rows + np.where(there, place, 0.0).astype(np.int64))[there]
        return np.bincount(flat, minlength=low.size * (CLASSES + 2)).reshape(low.size, CLASSES + 2)


@dataclass(slots=True)
class Counts:
    """What some samples add: counts in classes; number, sum and sum of squares from the first class of finite values.

    `failed` counts samples that could not be assembled, by position. Classes are packed on their way.
    """

    classes: Any
    sums: Array
    failed: NDArray[np.int64]

    @staticmethod
    def none(classes: Classes) -> Counts:
        """Of no sample."""
        shape = classes.low.shape
        return Counts(no_counts(classes), np.zeros((3, *shape)), np.zeros(shape[-1], dtype=np.int64))

    @staticmethod
    def of(value: Array, status: NDArray[np.int8], classes: Classes) -> Counts:
        """Of values of shape (measures, positions, samples) with their status, shape (positions, samples)."""
        sums = np.empty((3, *classes.low.shape))
        for k, some in enumerate(value):
            good = np.isfinite(some)
            off = np.where(good, some - classes.low[k][:, None], 0.0)
            sums[:, k] = good.sum(axis=-1), off.sum(axis=-1), np.einsum("ps,ps->p", off, off)
        return Counts(classes.count(value), sums, (status != Status.OK).sum(axis=1))

    def pack(self) -> None:
        """Pack the classes, as they are sent."""
        self.classes = PackedCounts.of(self.classes)

    def add(self, other: Counts) -> None:
        """Put others in, in place."""
        add_counts(self.classes, other.classes)
        self.sums += other.sums
        self.failed += other.failed


def no_counts(classes: Classes) -> NDArray[np.int32]:
    """Zeros, as `Classes.count` gives them."""
    return np.zeros((*classes.low.shape, CLASSES + 2), dtype=np.int32)


class CountWorker(SampleWorker):
    """Counts samples in pieces: what comes back is small however many they are."""

    def counts(self, piece: tuple[HypercubePart, Classes]) -> Counts:
        """Counts of some samples."""
        samples, classes = piece
        normals = samples.numbers()
        out = Counts.none(classes)
        for part in parts_of(len(normals), self.study.case):
            value, _, _, status = self.piece(normals[part])
            out.add(Counts.of(value, status, classes))
        return out


def _counts_of(study: Study) -> Callable[[tuple[HypercubePart, Classes]], Counts]:
    return packing(CountWorker(study).counts)


def counted_spread(
    study: Study,
    count: int,
    seed: int,
    workers: int = 1,
    progress: Callable[[int, int], None] | None = None,
    model: CaseModel | None = None,
    executor: Executor | None = None,
) -> SampledSpread:
    """Means, deviations and bands of `count` sampled cars; parameters as of `monte_carlo.draw`."""
    refuse_samples(study, count, seed, MOST_MEMORY // (4 * max(1, len(study.uncertainty.sources))))
    worker = CountWorker(study, model)
    positions = len(study.case.at)
    cube = Hypercube(count, len(study.uncertainty.identities), seed)
    first = [worker.piece(cube.part(p).numbers())[0] for p in parts_of(min(count, FIRST), study.case)]
    classes = Classes.around(np.concatenate(first, axis=-1))
    parts = big_parts(count, study.case)
    processes = workers if count * lanes_a_car(study.case) >= WORTH_PROCESSES else 1
    with expecting(count * positions), by_workers(_counts_of, study, processes, executor, worker.counts) as run:
        total = sum_of(Counts.none(classes), parts, run((cube.part(p), classes) for p in parts), progress)
    return spread_of_counts(total, classes, count, seed)


def big_parts(count: int, case: Case) -> list[slice]:
    """The samples of each piece whose counts come back together: the same however many work on them."""
    step = PIECES * parts_of(count, case)[0].stop
    return [slice(k, min(k + step, count)) for k in range(0, count, step)]


def spread_of_counts(total: Counts, classes: Classes, samples: int, seed: int) -> SampledSpread:
    """Mean, deviation and bands of counted samples."""
    number, off, square = total.sums
    with np.errstate(all="ignore"):
        mean = off / number
        sigma = np.sqrt(np.maximum(square - number * mean**2, 0.0) / (number - 1.0))
    tails = [(1.0 + s * level) / 2.0 for level in LEVELS for s in (-1, 1)]
    cuts = _quantiles(total.classes, classes, [*tails, 0.5])
    return SampledSpread(
        mean=classes.low + mean,
        sigma=sigma,
        median=cuts[-1],
        low={level: cuts[2 * k] for k, level in enumerate(LEVELS)},
        high={level: cuts[2 * k + 1] for k, level in enumerate(LEVELS)},
        failed=total.failed,
        samples=samples,
        seed=seed,
        classes=CLASSES,
    )


def _quantiles(counts: NDArray[np.int32], classes: Classes, parts: Sequence[float]) -> Array:
    """Quantiles of counted values, shape (parts, measures, positions); infinite beyond the classes."""
    number = counts.sum(axis=-1)
    up_to = counts.cumsum(axis=-1)
    return np.stack([at_rank(counts, up_to, classes, part * np.maximum(number - 1, 0)) for part in parts])


def at_rank(counts: NDArray[np.int32], up_to: NDArray[np.intp], classes: Classes, rank: Array) -> Array:
    """The counted value that so many are smaller than (a part of one between two); infinite beyond the classes.

    `up_to` are the counts summed up to each class.
    """
    place = rank + 0.5  # the middle of a value that has a share of 1/number
    at = np.minimum((up_to < place[..., None]).sum(axis=-1), CLASSES + 1)
    below = np.where(at > 0, np.take_along_axis(up_to, np.maximum(at - 1, 0)[..., None], -1)[..., 0], 0)
    inside = np.take_along_axis(counts, at[..., None], -1)[..., 0]
    share = (place - below) / np.maximum(inside, 1)
    value = classes.low + (at - 1 + share) * classes.width
    value = np.where(at == 0, -np.inf, np.where(at == CLASSES + 1, np.inf, value))
    return np.where(up_to[..., -1] > 0, value, np.nan)
