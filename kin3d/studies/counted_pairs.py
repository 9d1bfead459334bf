"""Differences between cars of more samples than memory holds: counted where the cars are solved.

A piece of work solves its samples of every car, and counts how far each pair of sampled cars lies from the difference
of the cars as measured; values of each car are counted beside it (`kin3d.studies.counted`). What comes back is as large
for few samples as for many.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from kin3d.solve.engine import expecting
from kin3d.studies.case import CaseModel
from kin3d.studies.counted import (
    FIRST,
    Classes,
    Counts,
    Hypercube,
    HypercubePart,
    at_rank,
    big_parts,
    no_counts,
    spread_of_counts,
)
from kin3d.studies.monte_carlo import (
    MOST_MEMORY,
    WORTH_PROCESSES,
    Draws,
    SampledPiece,
    SampledSpread,
    SampleWorker,
    Study,
    lanes_a_car,
    parts_of,
    refuse_samples,
)
from kin3d.studies.packed_counts import PackedCounts, add_counts, packing, sum_of
from kin3d.studies.pieces import by_workers
from kin3d.studies.significance import Astray, FigureKind, drawn_figures, most_beyond

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class CountedPair:
    """Two cars whose difference is counted.

    Attributes
    ----------
    cars : tuple of int or None
        Places among the sampled cars; None: no error reaches the car, and it stays as it is.
    rows : tuple of ndarray of int
        Of each car's measures those that both have.
    value : tuple of ndarray, shape (kinds, measures)
        Their figures of the cars as measured.
    """

    cars: tuple[int | None, int | None]
    rows: tuple[NDArray[np.intp], NDArray[np.intp]]
    value: tuple[Array, Array]

    def astray(self, found: Sequence[Array]) -> Array:
        """How far samples lie from the difference as measured, shape (kinds, measures, samples).

        Parameters
        ----------
        found : sequence of ndarray, shape (kinds, measures, samples)
            Figures of the sampled cars.
        """
        ours, theirs = (
            value[..., None] if car is None else found[car][:, rows]
            for car, rows, value in zip(self.cars, self.rows, self.value, strict=True)
        )
        apart: Array = self.value[1] - self.value[0]
        return np.asarray(np.abs(theirs - ours - apart[..., None]))


@dataclass(slots=True)
class AstrayCounts:
    """Of a pair: counts in classes, how many are finite, and how many as far as the cars differ or farther.

    Arrays have a row a kind of figure and a column a measure.
    """

    classes: Any
    finite: NDArray[np.int64]
    above: NDArray[np.int64]

    @staticmethod
    def of(pair: CountedPair, found: Sequence[Array], classes: Classes) -> AstrayCounts:
        """Of some samples."""
        astray = pair.astray(found)
        apart = np.abs(pair.value[1] - pair.value[0])
        with np.errstate(invalid="ignore"):
            above = (astray >= apart[..., None]).sum(axis=-1)
        return AstrayCounts(classes.count(astray), np.isfinite(astray).sum(axis=-1), above)

    @staticmethod
    def none(classes: Classes) -> AstrayCounts:
        """Of no sample."""
        finite, above = np.zeros((2, *classes.low.shape), dtype=np.int64)
        return AstrayCounts(no_counts(classes), finite, above)

    def pack(self) -> None:
        """Pack the classes, as they are sent."""
        self.classes = PackedCounts.of(self.classes)

    def add(self, other: AstrayCounts) -> None:
        """Put others in, in place."""
        add_counts(self.classes, other.classes)
        self.finite += other.finite
        self.above += other.above

    def at(self, kind: int, classes: Classes, level: float) -> Astray:
        """What they say of a kind of figure: what a part `level` of the pairs stays under."""
        beyond = most_beyond(self.finite[kind], level)
        its = Classes(classes.low[kind], classes.width[kind])
        counts, rank = self.classes[kind], np.maximum(self.finite[kind] - beyond, 0).astype(float)
        half = at_rank(counts, counts.cumsum(axis=-1), its, rank)
        return Astray(np.where(beyond > 0, half, np.inf), self.above[kind], self.finite[kind])


@dataclass(frozen=True, slots=True)
class PairStudy:
    """What every piece of work needs; travels well to another process."""

    studies: tuple[Study, ...]
    pairs: tuple[CountedPair, ...]
    kinds: tuple[FigureKind, ...]


@dataclass(frozen=True, slots=True)
class PairPiece:
    """The samples of each car, and the classes of cars and pairs."""

    samples: tuple[HypercubePart, ...]
    cars: tuple[Classes, ...]
    pairs: tuple[Classes, ...]


@dataclass(slots=True)
class PairCounts:
    """What some samples add, of cars and of pairs."""

    cars: list[Counts]
    pairs: list[AstrayCounts]

    @staticmethod
    def none(cars: Sequence[Classes], pairs: Sequence[Classes]) -> PairCounts:
        """Of no sample."""
        return PairCounts([Counts.none(c) for c in cars], [AstrayCounts.none(c) for c in pairs])

    def pack(self) -> None:
        """Pack all classes, as they are sent."""
        for car in self.cars:
            car.pack()
        for pair in self.pairs:
            pair.pack()

    def add(self, other: PairCounts) -> None:
        """Put others in, in place."""
        for one, more in zip(self.cars, other.cars, strict=True):
            one.add(more)
        for its, others in zip(self.pairs, other.pairs, strict=True):
            its.add(others)


class PairWorker:
    """One process's models of the cars."""

    def __init__(self, study: PairStudy, models: Sequence[CaseModel | None] = ()) -> None:
        self.study = study
        there = models or [None] * len(study.studies)
        self.workers = [SampleWorker(s, m) for s, m in zip(study.studies, there, strict=True)]

    def counts(self, piece: PairPiece) -> PairCounts:
        """Counts of some samples."""
        normals = _normals(self.study, piece.samples)
        total = PairCounts.none(piece.cars, piece.pairs)
        for part in parts_of(len(normals[0]), self.study.studies[0].case):
            found, figures = self.solved([n[part] for n in normals])
            cars = [Counts.of(f[0], f[3], c) for f, c in zip(found, piece.cars, strict=True)]
            pairs = [AstrayCounts.of(p, figures, c) for p, c in zip(self.study.pairs, piece.pairs, strict=True)]
            total.add(PairCounts(cars, pairs))
        return total

    def solved(self, normals: Sequence[Array]) -> tuple[list[SampledPiece], list[Array]]:
        """Samples of every car, and their figures, shape (kinds, measures, samples)."""
        found = [worker.piece(n) for worker, n in zip(self.workers, normals, strict=True)]
        return found, [np.stack([drawn_figures(k, *f[:3]) for k in self.study.kinds]) for f in found]

    def classes(self, normals: Sequence[Array]) -> tuple[tuple[Classes, ...], tuple[Classes, ...]]:
        """Classes of cars and of pairs as wide as some samples ask for."""
        case = self.study.studies[0].case
        runs = [self.solved([n[part] for n in normals]) for part in parts_of(len(normals[0]), case)]
        values = [np.concatenate([found[k][0] for found, _ in runs], axis=-1) for k in range(len(self.workers))]
        figures = [np.concatenate([f[k] for _, f in runs], axis=-1) for k in range(len(self.workers))]
        pairs = tuple(Classes.around(p.astray(figures)) for p in self.study.pairs)
        return tuple(Classes.around(v) for v in values), pairs


def _counts_of(study: PairStudy) -> Callable[[PairPiece], PairCounts]:
    return packing(PairWorker(study).counts)


def _normals(study: PairStudy, samples: Sequence[HypercubePart]) -> tuple[Array, ...]:
    """Numbers of some samples of every car; an error that two cars share has the same in both."""
    out: list[Array] = []
    drawn: Draws = {}
    for one, some in zip(study.studies, samples, strict=True):
        numbers = some.numbers()
        for k, identity in enumerate(one.uncertainty.identities):
            numbers[:, k] = drawn.setdefault(identity, numbers[:, k])
        out.append(numbers)
    return tuple(out)


def counted_pairs(
    study: PairStudy,
    count: int,
    seeds: Sequence[int],
    threshold: float,
    workers: int = 1,
    progress: Callable[[int, int], None] | None = None,
    models: Sequence[CaseModel] = (),
    executor: Executor | None = None,
) -> tuple[list[SampledSpread], list[list[Astray]]]:
    """Bands of `count` sampled cars of each file, and what their pairs say of each difference, kind by kind.

    Parameters are those of `monte_carlo.draw`; an error that two cars share has the same numbers in both.

    Raises
    ------
    RequestError
        For a seed below 0, and where not even the numbers drawn fit into memory.
    """
    sources = sum(len(s.uncertainty.sources) for s in study.studies)
    for one, seed in zip(study.studies, seeds, strict=True):
        refuse_samples(one, count, seed, MOST_MEMORY // (4 * max(1, sources)))
    worker = PairWorker(study, models)
    cubes = [
        Hypercube(count, len(s.uncertainty.identities), seed) for s, seed in zip(study.studies, seeds, strict=True)
    ]
    cars, pairs = worker.classes(_normals(study, [c.part(slice(0, min(count, FIRST))) for c in cubes]))
    case = study.studies[0].case
    parts = big_parts(count, case)
    processes = workers if count * lanes_a_car(case) * len(cubes) >= WORTH_PROCESSES else 1
    pieces = (PairPiece(tuple(c.part(p) for c in cubes), cars, pairs) for p in parts)
    with (
        expecting(count * len(case.at)),
        by_workers(_counts_of, study, processes, executor, worker.counts) as run,
    ):  # fmt: skip
        total = sum_of(PairCounts.none(cars, pairs), parts, run(pieces), progress)
    spreads = [spread_of_counts(t, c, count, s) for t, c, s in zip(total.cars, cars, seeds, strict=True)]
    astray = [
        [of.at(k, c, threshold) for k in range(len(study.kinds))] for of, c in zip(total.pairs, pairs, strict=True)
    ]
    return spreads, astray
