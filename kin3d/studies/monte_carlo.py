"""Many cars drawn from the uncertainty about one: Latin hypercube samples, solved on the lanes of the kernel."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import ProcessPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kin3d.linkage.car import AxleName, Car, Side
from kin3d.measures.table import Measure
from kin3d.solve.status import Status
from kin3d.studies.corner_model import CornerModel
from kin3d.studies.derive import derive
from kin3d.studies.sweep import chosen_measures
from kin3d.studies.uncertainty import Uncertainty, uncertainty_of

Array = NDArray[np.float64]
PIECE_LANES = 65_536  # lanes of one piece of work
WORTH_PROCESSES = 300_000  # fewer lanes are done sooner than a process starts


@dataclass(frozen=True, slots=True)
class Study:
    """What every piece of work needs; travels well to another process."""

    car: Car
    axle: AxleName
    side: Side
    sigma_mm: float | None
    travel_mm: Array
    measures: tuple[str, ...]
    rates: bool = False  # whether figures of the design position are wanted too


@dataclass(frozen=True, slots=True)
class Samples:
    """Measures of the sampled cars.

    Attributes
    ----------
    value : ndarray, shape (measures, travel, samples)
        NaN where a sampled car could not be assembled in that position.
    start, rate : ndarray, shape (measures, samples)
        Value in the design position and its derivative along travel, per mm; NaN unless asked for.
    status : ndarray of int8, shape (travel, samples)
    seed : int
    """

    value: Array
    start: Array
    rate: Array
    status: NDArray[np.int8]
    seed: int

    @property
    def failed(self) -> NDArray[np.int_]:
        """Number of samples without values in each position of travel, shape (travel,)."""
        count: NDArray[np.int_] = (self.status != Status.OK).sum(axis=1)
        return count


def normal_samples(count: int, sources: int, seed: int) -> Array:
    """Standard normal numbers from a Latin hypercube, shape (count, sources): each column evenly spread."""
    from scipy.special import ndtri
    from scipy.stats import qmc

    cube = qmc.LatinHypercube(sources, rng=np.random.default_rng(seed)).random(count)
    out: Array = ndtri(cube)
    return out


def draw(
    study: Study,
    count: int,
    seed: int,
    workers: int = 1,
    progress: Callable[[int, int], None] | None = None,
    side: CornerModel | None = None,
) -> Samples:
    """Solve `count` sampled cars in every position.

    Parameters
    ----------
    workers : int
        Processes to use when there is enough to do. A script that asks for more than one must guard its main part
        with ``if __name__ == "__main__"``, as always with processes.
    progress : callable, optional
        Called with samples done and in all.
    side : CornerModel, optional
        The corner of the study, where it has been built already.
    """
    worker = _Worker(study, side)
    travels, measures = len(study.travel_mm), len(study.measures)
    out = Samples(
        value=np.empty((measures, travels, count)),
        start=np.empty((measures, count)),
        rate=np.empty((measures, count)),
        status=np.empty((travels, count), dtype=np.int8),
        seed=seed,
    )
    step = max(16, PIECE_LANES // max(travels, 1))
    parts = [slice(k, min(k + step, count)) for k in range(0, count, step)]
    with _runner(worker, workers if count * travels >= WORTH_PROCESSES else 1) as run:
        normals = normal_samples(count, len(worker.uncertainty.sources), seed)
        for part, piece in zip(parts, run(normals[p] for p in parts), strict=True):
            out.value[..., part], out.start[:, part], out.rate[:, part], out.status[:, part] = piece
            if progress:
                progress(part.stop, count)
    return out


Piece = tuple[Array, Array, Array, NDArray[np.int8]]


@contextmanager
def _runner(worker: _Worker, workers: int) -> Iterator[Callable[[Iterable[Array]], Iterator[Piece]]]:
    """Give what turns samples into results, piece by piece in their order: in this process or in several."""
    if workers < 2:
        yield lambda pieces: map(worker.piece, pieces)
        return
    import multiprocessing

    # a fresh interpreter each: a forked copy of a process with threads may hang
    context = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(workers, context, _start, (worker.study,)) as pool:
        for _ in range(workers):
            pool.submit(_awake)  # they start while the samples are drawn
        yield lambda pieces: pool.map(_piece, pieces)


class _Worker:
    """One process's model of the study."""

    def __init__(self, study: Study, side: CornerModel | None = None) -> None:
        self.study = study
        self.side = side or CornerModel.of(study.car, study.axle, study.side)
        self.uncertainty: Uncertainty = uncertainty_of(self.side, study.sigma_mm)
        by_name = {m.name: m for m in chosen_measures(study.axle, study.measures)}
        self.measures: tuple[Measure, ...] = tuple(by_name[n] for n in study.measures)

    def piece(self, normals: Array) -> Piece:
        """Values over travel, in the design position, rates there, and status of some samples."""
        side, kernel = self.side, self.side.model.kernel
        design = side.design + np.tensordot(normals, self.uncertainty.seeds, axes=1)
        variants = side.variants(design)
        shape = (len(normals), len(self.study.travel_mm))
        found = derive(side, variants, kernel.lanes(variants, self.study.travel_mm), self.measures)
        value = np.swapaxes(found.value.reshape(-1, *shape), 1, 2)
        start, rate = np.full((2, len(self.measures), len(normals)), np.nan)
        if self.study.rates:
            there = derive(side, variants, kernel.lanes(variants, np.zeros(1)), self.measures, rates=True)
            start, rate = there.value, there.rate
        return np.ascontiguousarray(value), start, rate, found.status.reshape(shape).T.copy()


_process: list[_Worker] = []  # the worker of a process of a pool, made once when it starts


def _start(study: Study) -> None:
    _process.append(_Worker(study))


def _piece(normals: Array) -> Piece:
    return _process[0].piece(normals)


def _awake() -> None:
    pass
