"""Sampled cars of a comparison: held one by one where they fit into memory, else counted."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, field
from functools import partial

import numpy as np

from kin3d.measures.entry import Measure
from kin3d.studies.case import Case, CaseModel
from kin3d.studies.counted_pairs import CountedPair, PairStudy, counted_pairs
from kin3d.studies.first_order import FirstOrder, first_order
from kin3d.studies.fit import FittedCar
from kin3d.studies.monte_carlo import Draws, SampledSpread, Samples, Study, draw, fits_in_memory, spread_of
from kin3d.studies.significance import Astray, FigureKind, figures
from kin3d.studies.uncertainty import doubt_of


@dataclass(frozen=True, slots=True)
class AskedCar:
    """A car whose samples are wanted.

    Attributes
    ----------
    seed : int
    measures : tuple of Measure
        Those of the study.
    first : FirstOrder
    """

    study: Study
    model: CaseModel
    measures: tuple[Measure, ...]
    first: FirstOrder
    seed: int

    @staticmethod
    def of(
        case: Case,
        one: FittedCar,
        model: CaseModel,
        wanted: Sequence[Measure],
        sigma: float | None,
        seed: int,
        label: str,
    ) -> AskedCar:
        """A fitted car; `sigma` in mm is that of every coordinate to which the file gives none."""
        # a deviation is a length of the car as it was read
        doubt = doubt_of(model, None if sigma is None else sigma * one.factor, label)
        there, _ = model.available(wanted)
        study = Study(one.car, case, doubt, tuple(m.name for m in there), rates=True)
        return AskedCar(study, model, there, first_order(model, doubt, case.at, there), seed)

    @property
    def sampled(self) -> bool:
        """Whether any error reaches the car, and anything is asked of it."""
        return self.study.uncertainty.known and bool(self.measures)


@dataclass(slots=True)
class ComparedSamples:
    """What was drawn.

    Attributes
    ----------
    held : list of Samples or None
        Of each car; None where none were drawn, or were counted.
    spreads : list of SampledSpread or None
    astray : list of list of Astray
        Of each car after the first, where samples were counted: what pairs with the first say, kind by kind.
    """

    held: list[Samples | None]
    spreads: list[SampledSpread | None]
    astray: list[list[Astray]] = field(default_factory=list)

    def of_pair(self, other: int) -> list[Astray] | None:
        """What was counted of the pair of the first car and another."""
        return self.astray[other - 1] if self.astray else None


def label_of(place: int) -> str:
    """By which letter a car is known."""
    return chr(65 + place)


def in_both(a: Sequence[Measure], b: Sequence[Measure]) -> tuple[Measure, ...]:
    """Measures of the first that the other has too."""
    theirs = {m.name for m in b}
    return tuple(m for m in a if m.name in theirs)


def sample_cars(
    cars: Sequence[AskedCar],
    kinds: tuple[FigureKind, ...],
    samples: int,
    threshold: float,
    workers: int = 1,
    progress: Callable[[int, int], None] | None = None,
    executor: Executor | None = None,
) -> ComparedSamples:
    """Draw `samples` of every car that has errors; parameters as of `monte_carlo.draw`."""
    out = ComparedSamples([None] * len(cars), [None] * len(cars))
    there = [k for k, car in enumerate(cars) if car.sampled]
    if not samples or not there:
        return out
    if not all(fits_in_memory(cars[k].study, samples * len(there)) for k in there):
        return _counted(cars, there, kinds, samples, threshold, workers, progress, executor)
    drawn: Draws = {}
    for turn, k in enumerate(there):
        car = cars[k]
        told = partial(_moved_on, progress, turn, len(there)) if progress else None
        taken = draw(car.study, samples, car.seed, workers, told, car.model, drawn, executor)
        out.held[k], out.spreads[k] = taken, spread_of(taken)
    return out


def _moved_on(progress: Callable[[int, int], None], turn: int, turns: int, done: int, total: int) -> None:
    progress(turn * total + done, turns * total)


def _counted(
    cars: Sequence[AskedCar],
    there: list[int],
    kinds: tuple[FigureKind, ...],
    samples: int,
    threshold: float,
    workers: int,
    progress: Callable[[int, int], None] | None,
    executor: Executor | None,
) -> ComparedSamples:
    pairs = tuple(_pair(cars, k, there, kinds) for k in range(1, len(cars)))
    study = PairStudy(tuple(cars[k].study for k in there), pairs, kinds)
    seeds, models = [cars[k].seed for k in there], [cars[k].model for k in there]
    spreads, astray = counted_pairs(study, samples, seeds, threshold, workers, progress, models, executor)
    out = ComparedSamples([None] * len(cars), [None] * len(cars), astray)
    for k, spread in zip(there, spreads, strict=True):
        out.spreads[k] = spread
    return out


def _pair(cars: Sequence[AskedCar], other: int, there: list[int], kinds: tuple[FigureKind, ...]) -> CountedPair:
    two = (cars[0], cars[other])
    both = [m.name for m in in_both(two[0].measures, two[1].measures)]
    rows = [np.array([[m.name for m in c.measures].index(n) for n in both], dtype=np.intp) for c in two]
    values = [
        np.stack([figures(kind, c.first, None, c.study.uncertainty).value[r] for kind in kinds])
        for c, r in zip(two, rows, strict=True)
    ]
    places = [there.index(k) if k in there else None for k in (0, other)]
    return CountedPair((places[0], places[1]), (rows[0], rows[1]), (values[0], values[1]))
