"""Many cars drawn from the uncertainty about one, and what they say of every value.

Latin hypercube samples, solved on the lanes of the kernel; then means, deviations, bands, and how many could not be
assembled.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from kin3d.errors import Finding, RequestError
from kin3d.linkage.car import Car
from kin3d.measures.entry import Measure, figure
from kin3d.solve.engine import expecting
from kin3d.solve.lanes import Status
from kin3d.spatial.distributions import moments, normal_quantile, quantiles
from kin3d.studies.case import Case, CaseModel
from kin3d.studies.corner_case import model_of
from kin3d.studies.derived import AskedMeasures
from kin3d.studies.pieces import by_workers
from kin3d.studies.uncertainty import Uncertainty

Array = NDArray[np.float64]
MOST_MEMORY = 2_500_000_000  # bytes that the samples of one study may take
PIECE_LANES = 65_536  # lanes of one piece of work
WORTH_PROCESSES = 3_000_000  # fewer lanes are done sooner than a process has started and made its tapes
SETTLED_LANES = 256  # a settled car takes the time of some hundreds of lanes
LEVELS = (0.68, 0.95)
Draws = dict[Hashable, Array]  # numbers drawn for each error, by its identity


@dataclass(frozen=True, slots=True)
class Study:
    """What every piece of work needs; travels well to another process."""

    car: Car
    case: Case
    uncertainty: Uncertainty
    measures: tuple[str, ...]
    rates: bool = False  # whether figures at the drive's origin are wanted too


@dataclass(frozen=True, slots=True)
class Samples:
    """Measures of the sampled cars.

    Attributes
    ----------
    value : ndarray, shape (measures, positions, samples)
        NaN where a sampled car could not be assembled in that position.
    start, rate : ndarray, shape (measures, samples)
        Value at the drive's origin and its derivative along it, per unit; NaN unless asked for.
    status : ndarray of int8, shape (positions, samples)
    seed : int
    """

    value: Array
    start: Array
    rate: Array
    status: NDArray[np.int8]
    seed: int

    @property
    def failed(self) -> NDArray[np.int_]:
        """Number of samples without values in each position, shape (positions,)."""
        count: NDArray[np.int_] = (self.status != Status.OK).sum(axis=1)
        return count


def normal_samples(count: int, sources: int, seed: int) -> Array:
    """Standard normal numbers from a Latin hypercube, shape (count, sources): each column evenly spread.

    Each column has one number in each of `count` equal strata, in an order of its own, anywhere in its stratum. (M. D.
    McKay, R. J. Beckman and W. J. Conover 1979; from memory.)
    """
    (rng,) = np.random.default_rng(seed).spawn(1)
    out = rng.uniform(size=(count, sources))
    for column in out.T:
        stratum = np.arange(1, count + 1)
        rng.shuffle(stratum)
        column[:] = normal_quantile((stratum - column) / count)
    return out


def draw_normals(identities: Sequence[Hashable], count: int, seed: int, drawn: Draws | None = None) -> Array:
    """Standard normal numbers for sources, shape (count, sources).

    Parameters
    ----------
    drawn : dict, optional
        Numbers that were drawn for other cars. An error that is among them is the same error and has the same numbers;
        the others are added to it.
    """
    out = normal_samples(count, len(identities), seed)
    if drawn is not None:
        for k, identity in enumerate(identities):
            out[:, k] = drawn.setdefault(identity, out[:, k])
    return out


def draw(
    study: Study,
    count: int,
    seed: int,
    workers: int = 1,
    progress: Callable[[int, int], None] | None = None,
    model: CaseModel | None = None,
    drawn: Draws | None = None,
    executor: Executor | None = None,
) -> Samples:
    """Solve `count` sampled cars in every position.

    Parameters
    ----------
    workers : int
        Processes to use when there is enough to do. A script that asks for more than one must guard its main part
        with ``if __name__ == "__main__"``, as always with processes.
    progress : callable, optional
        Called with samples done and in all.
    model : CaseModel, optional
        The car of the study as its case asks it, where it has been built already.
    drawn : dict, optional
        What was drawn for another car; see `draw_normals`.
    executor : concurrent.futures.Executor, optional
        Who works in place of processes of this computer.

    Raises
    ------
    RequestError
        For a seed below 0, and for more samples than memory is taken for.
    """
    refuse_samples(study, count, seed)
    worker = SampleWorker(study, model)
    positions, measures = len(study.case.at), len(study.measures)
    out = Samples(
        value=np.empty((measures, positions, count)),
        start=np.empty((measures, count)),
        rate=np.empty((measures, count)),
        status=np.empty((positions, count), dtype=np.int8),
        seed=seed,
    )
    parts, lanes = parts_of(count, study.case), lanes_a_car(study.case)
    processes = workers if count * lanes >= WORTH_PROCESSES else 1
    with expecting(count * positions), by_workers(_samples_of, study, processes, executor, worker.piece) as run:
        normals = draw_normals(study.uncertainty.identities, count, seed, drawn)
        for part, piece in zip(parts, run(normals[p] for p in parts), strict=True):
            out.value[..., part], out.start[:, part], out.rate[:, part], out.status[:, part] = piece
            if progress:
                progress(part.stop, count)
    return out


def lanes_a_car(case: Case) -> int:
    """As how many lanes a sampled car counts: its positions; a car that is settled is as much work as many lanes."""
    return max(len(case.at), 1) * (SETTLED_LANES if case.drive.name == "loads" else 1)


def parts_of(count: int, case: Case) -> list[slice]:
    """The samples of each piece of work: the same however many work on them."""
    step = max(16, PIECE_LANES // lanes_a_car(case))
    return [slice(k, min(k + step, count)) for k in range(0, count, step)]


def fits_in_memory(study: Study, count: int) -> bool:
    """Whether every value of every sample may be held at once."""
    return count <= _most(study)


def _most(study: Study) -> int:
    # the samples drawn, with room to sort them, and every value of every measure
    each = 8 * (4 * len(study.uncertainty.seeds) + (len(study.measures) + 2) * (len(study.case.at) + 2))
    return MOST_MEMORY // each


def refuse_samples(study: Study, count: int, seed: int, most: int | None = None) -> None:
    """Raise RequestError for a seed below 0, and for more samples than fit; `most` where it is not all values."""
    findings = []
    if seed < 0:
        findings.append(Finding("seed", f"seed is {seed}; a whole number of 0 or more is expected"))
    most = _most(study) if most is None else most
    if count > most:
        text = f"samples is {count:,}; with {len(study.measures)} measures over {len(study.case.at)} positions "
        text += f"{most:,} or fewer fit into memory; ask for fewer samples, measures or positions"
        findings.append(Finding("samples-many", text))
    if findings:
        raise RequestError(findings)


SampledPiece = tuple[Array, Array, Array, NDArray[np.int8]]


class SampleWorker:
    """One process's model of the study."""

    def __init__(self, study: Study, model: CaseModel | None = None) -> None:
        self.study = study
        self.model = model or model_of(study.case, study.car)
        self.seeds, self.figure_seeds = study.uncertainty.seeds, study.uncertainty.figure_seeds
        by_name = {m.name: m for m in study.case.chosen(study.measures)}
        self.measures: tuple[Measure, ...] = tuple(by_name[n] for n in study.measures)

    def piece(self, normals: Array) -> SampledPiece:
        """Values over the drive, at its origin, rates there, and status of some samples."""
        model = self.model
        designs = model.design + moved(normals, self.seeds)
        figures = {
            key: figure(model.subject, key) + moved(normals, seed[:, None])[:, 0]
            for key, seed in self.figure_seeds.items()
        }
        shape = (len(normals), len(self.study.case.at))
        asked = AskedMeasures(self.measures, figures=figures, recorded=True)
        found = model.derive(designs, self.study.case.at, asked)
        value = np.swapaxes(found.value.reshape(-1, *shape), 1, 2)
        start, rate = np.full((2, len(self.measures), len(normals)), np.nan)
        if self.study.rates and self.study.case.drive.name == "loads":
            start = value[:, 0]  # no car is settled twice
        elif self.study.rates:
            origin = np.full(1, self.study.case.origin)
            with expecting(0):  # one position a car: far fewer lanes than the drive has
                there = model.derive(designs, origin, replace(asked, rates=True))
            start, rate = there.value, there.rate
        return value, start, rate, found.status.reshape(shape).T.copy()


def _samples_of(study: Study) -> Callable[[Array], SampledPiece]:
    """What works on the pieces of a study, in another process."""
    return SampleWorker(study).piece


def moved(normals: Array, seeds: Array) -> Array:
    """How far the samples move every coordinate, shape (samples, …), from seeds of shape (sources, …).

    Sums in one order: a product of matrices rounds by how many samples there are. Most seeds are zero.
    """
    flat = seeds.reshape(len(seeds), int(np.prod(seeds.shape[1:])))
    out = np.zeros((len(normals), flat.shape[1]))
    for source, coordinate in zip(*np.nonzero(flat), strict=True):
        out[:, coordinate] += normals[:, source] * flat[source, coordinate]
    return out.reshape(len(normals), *seeds.shape[1:])


@dataclass(frozen=True, slots=True)
class SampledSpread:
    """What the sampled cars say of a value.

    Attributes
    ----------
    mean, sigma, median : ndarray, shape (measures, positions)
    low, high : dict of level to ndarray, shape (measures, positions)
        Ends of the band that holds that part of the samples, the same part left out at either end.
    failed : ndarray of int, shape (positions,)
        Samples that could not be assembled there.
    samples, seed : int
    classes : int
        0 where every value was held; else the values of each measure in each position were counted in so many classes.
    """

    mean: Array
    sigma: Array
    median: Array
    low: dict[float, Array]
    high: dict[float, Array]
    failed: NDArray[np.int_]
    samples: int
    seed: int
    classes: int = 0


def spread_of(drawn: Samples) -> SampledSpread:
    """Mean, deviation and bands of samples; those without a value are left out and counted in `failed`."""
    tails = [(1.0 + s * level) / 2.0 for level in LEVELS for s in (-1, 1)]
    cuts = np.stack([quantiles(v, [*tails, 0.5]) for v in drawn.value], axis=1)
    mean, sigma = np.stack([moments(v) for v in drawn.value], axis=1)
    return SampledSpread(
        mean=mean,
        sigma=sigma,
        median=cuts[-1],
        low={level: cuts[2 * k] for k, level in enumerate(LEVELS)},
        high={level: cuts[2 * k + 1] for k, level in enumerate(LEVELS)},
        failed=drawn.failed,
        samples=drawn.value.shape[-1],
        seed=drawn.seed,
    )
