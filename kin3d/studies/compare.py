"""Compare corners of cars: which points moved, what that changed, which points did it, and whether one may say so."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, replace
from os import PathLike
from pathlib import Path
from typing import TYPE_CHECKING, Literal, get_args

import numpy as np
from numpy.typing import NDArray

from kin3d.errors import Finding, RequestError, Severity
from kin3d.linkage.car import Car
from kin3d.linkage.names import AxleName, Side
from kin3d.measures.entry import Measure
from kin3d.solve.lanes import Status
from kin3d.studies import compare_view as view
from kin3d.studies.attribution import attribute
from kin3d.studies.case import Case, CaseModel, DriveRange, case_of
from kin3d.studies.causes_plot import draw_causes
from kin3d.studies.cautions import cautions
from kin3d.studies.compared import CarPair, ComparedCar
from kin3d.studies.compared_samples import AskedCar, in_both, label_of, sample_cars
from kin3d.studies.corner_case import model_of
from kin3d.studies.corner_model import CornerModel
from kin3d.studies.derived import AskedMeasures
from kin3d.studies.fit import CommonCases, FittedCar, Scale, common_cases, fit
from kin3d.studies.force_names import refuse_unknown_forces, under_the_first
from kin3d.studies.monte_carlo import Samples
from kin3d.studies.one_corner import said_beside
from kin3d.studies.photo_points import adjusted_together
from kin3d.studies.point_changes import planes_of, point_changes
from kin3d.studies.registry import left_out_sentences, shown
from kin3d.studies.settled_case import not_carried
from kin3d.studies.significance import (
    KINDS,
    SAID,
    THRESHOLD,
    Astray,
    Difference,
    FigureKind,
    differences,
    figures,
)
from kin3d.studies.tolerance import SEED, TRAVEL, Tolerance
from kin3d.studies.uncertainty import exact_figures
from kin3d.studies.why import draw_why
from kin3d.writing.numbers import percent
from kin3d.writing.result import Result
from kin3d.writing.tables import Table

if TYPE_CHECKING:
    import xarray

Array = NDArray[np.float64]
PictureKind = Literal["curves", "causes", "why"]
SAMPLES = 4_000
AS_SETTLED = (
    "Each car stands as it has settled; its attitude is taken as exact, and doubt is that of the figures in it."
)
ONE_CAUSE = (
    "What makes the attitudes differ (points, springs, masses) is not told apart: heave, roll and pitch are causes."
)
RULE = (
    "A difference can be said when it is larger than the ± beside it: where cars do not differ, doubt alone stays "
    "under that in {level} of all lines."
)
COUNTED = "Samples ({:,} of each car) were counted in {:,} classes; bands are read off the counts."


@dataclass(frozen=True, slots=True, repr=False)
class Comparison(Result):
    """Corners of two or more cars, each against the first.

    Attributes
    ----------
    case : Case
        Over what, of which axle, at positions that all cars reach.
    cars : tuple of ComparedCar
    pairs : tuple of CarPair
    threshold : float
    findings : tuple of Finding
    chosen : bool
        Whether the measures were asked for by name: then all of them are shown.
    """

    kind = "compare"
    case: Case
    cars: tuple[ComparedCar, ...]
    pairs: tuple[CarPair, ...]
    threshold: float
    findings: tuple[Finding, ...]
    chosen: bool = False

    @property
    def axle(self) -> AxleName:
        """Which axle."""
        return self.case.axle

    @property
    def side(self) -> Side:
        """Whose wheel's figures they are."""
        return self.cars[0].corner.side

    @property
    def kinds(self) -> tuple[FigureKind, ...]:
        """Kinds of figures that there are."""
        return kinds_of(self.case)

    def shown(self, measures: Sequence[str] | None = None) -> list[Measure]:
        """Measures that a person is shown: those of the given names that two cars have, else the usual ones."""
        there = [m for p in self.pairs for m in p.measures] if self.pairs else self.cars[0].tolerance.measures
        return shown(list(dict.fromkeys(there)), measures, self.chosen)

    def summary(self) -> str:
        """Which cars, and how many of the differences can be said."""
        names = ", ".join(f"{c.label} {c.title}" for c in self.cars)
        every = [x for p in self.pairs for x in p.differences]
        said, judged = sum(x.verdict == SAID for x in every), sum(x.judged for x in every)
        count = f"{said} of {judged} judged differences can be said at {percent(self.threshold)}"
        return f"{self.axle} axle, {self.side} side, {names}; {count}"

    def tables(self, measures: Sequence[str] | None = None) -> tuple[Table, ...]:
        """Pair by pair: points, planes, differences with verdicts in three kinds of figure, causes."""
        there = self.shown(measures)
        return tuple(t for pair in self.pairs for t in view.pair_tables(self, pair, there))

    def records(self) -> tuple[Table, ...]:
        """``differences``: a row a pair, measure and figure; ``parts``: a row a pair, measure, position and cause."""
        return view.differences_record(self), view.parts_record(self)

    def notes(self) -> tuple[str, ...]:
        """What was not compared, and how the verdicts are to be taken."""
        turns = self.case.drive.name == "lateral"
        told = [AS_SETTLED] * turns + [ONE_CAUSE] * (turns and any(p.attribution.measures for p in self.pairs))
        told += [RULE.format(level=percent(self.threshold))] if any(p.judged for p in self.pairs) else []
        spreads = [c.tolerance.spread for c in self.cars]
        told += sorted({COUNTED.format(s.samples, s.classes) for s in spreads if s is not None and s.classes})
        for pair in self.pairs:
            reason = () if pair.attribution.measures else (view.causes_reason(pair),)
            told += [*reason, *left_out_sentences(pair.not_compared)]
        return tuple(dict.fromkeys([*told, *(c for p in self.pairs for c in p.cautions)]))

    def plot(
        self, path: str | PathLike[str], measures: Sequence[str] | None = None, figure: PictureKind = "curves"
    ) -> None:
        """Draw the curves of all cars over each other with bands, or what makes the differences.

        Parameters
        ----------
        figure : {"curves", "causes", "why"}
            ``"why"``: both views of the two cars over each other, with the finding as title.
        """
        if figure not in get_args(PictureKind):
            text = f'there is no figure "{figure}" of a comparison; there are: {", ".join(get_args(PictureKind))}'
            raise RequestError(Finding("figure-unknown", text, str(path)))
        if figure == "why":
            draw_why(self.pairs, Path(path))
            return
        if figure == "causes":
            draw_causes(self.pairs, self.shown(measures), Path(path))
        else:
            view.draw_curves(self, self.shown(measures), Path(path))

    def dataset(self) -> xarray.Dataset:
        """The result with dimensions car, measure, the drive (``travel_mm``, …), and pair, figure, cause.

        Parts are those of the differences in the design position and of the rates there.
        """
        return view.dataset(self)


def compare(
    cars: Sequence[Car],
    axle: AxleName = "front",
    travel: DriveRange = None,
    measures: Sequence[str] | None = None,
    *,
    heave: DriveRange = None,
    roll: DriveRange = None,
    pitch: DriveRange = None,
    lateral: DriveRange = None,
    rack: float = 0.0,
    side: Side | None = None,
    sigma: float | None = None,
    samples: int = SAMPLES,
    seed: int = SEED,
    threshold: float = THRESHOLD,
    scale: Scale = "none",
    align: bool = False,
    workers: int = 1,
    executor: Executor | None = None,
    least: int = 2,
    split: bool = True,
    progress: Callable[[int, int], None] | None = None,
) -> Comparison:
    """Compare the first car with each of the others.

    Parameters
    ----------
    cars : sequence of Car
        `least` or more.
    axle : {"front", "rear"}
    travel : float or sequence of float, mm
        Height of the wheel centre over its design height in the chassis frame; bump positive. Default −40 to 40.
        Measures that need both wheels on the ground take it as heave.
    measures : sequence of str, optional
        Names; default all that there is data for.
    heave, roll, pitch : float or sequence of float, mm or deg, optional
        In place of travel, of wheels on the ground, as `kin3d.sweep` has them. One of them may have several values.
    lateral : float or sequence of float, g, optional
        In their place: each car stands as it settles under those accelerations to the left (`kin3d.settle`). Its
        attitude is taken as exact; doubt is that of the figures in it.
    rack : float, mm
        To the left positive.
    side : {"left", "right"}, optional
        Default the side that the first car's points were given for; points given for the other side are mirrored.
    sigma : float, mm, optional
        Standard deviation of every coordinate to which a file gives none.
    samples : int
        Sampled cars for the probabilities; 0: normal distributions of first order.
    seed : int
        The same seed gives the same figures.
    threshold : float
        A difference can be said when doubt alone stays under it in this part of cars that do not differ; over 0.5 and
        under 1. Of lines without a true difference the rest, 5 % at 0.95, is declared by chance.
    scale : {"none", "track", "wheelbase"}
        Scale the other cars to the first one's.
    align : bool
        Set the other cars' wheel centres on the first one's, along x and z.
    workers : int
        Processes for the samples.
    executor : concurrent.futures.Executor, optional
        Who works on the samples instead; see `kin3d.tolerance`.
    least : int
        How many cars there must be; of one car alone there are no pairs, and it has its curves and uncertainty.
    split : bool
        Whether differences are split over the points that moved.
    progress : callable, optional
        Called with sampled cars done and in all.

    Returns
    -------
    Comparison
        The cars with their curves, and a pair for each of the others: points that moved, differences with verdicts,
        and what causes them.

    Raises
    ------
    RequestError
        For too few cars, a threshold outside 0.5 to 1, or an axle or measure that is not there.
    """
    _refuse(cars, threshold, least)
    drives = {"heave": heave, "roll": roll, "pitch": pitch}
    asked_of = cars[0].cases
    case = case_of(axle, travel, TRAVEL, measures, side, **drives, lateral=lateral, rack=rack, cases=asked_of)
    cars, told = adjusted_together(cars, axle)
    refuse_unknown_forces(cars[:1], axle, measures)
    cars, others = under_the_first(cars, measures)
    case = replace(case, side=side or CornerModel.of(cars[0], axle).side)
    fits = fitted_to_first(cars, case, scale, align)
    models = [model_of(case, f.car) for f in fits]
    found = compare_models(
        case, fits, models, measures, sigma=sigma, samples=samples, seed=seed, threshold=threshold, workers=workers,
        executor=executor, split=split, progress=progress,
    )  # fmt: skip
    told_of = [m.name for m in found.cars[0].tolerance.measures]
    lost = [f for c in cars for f in (*not_carried(case, c), *said_beside(found.case, c, told_of))]
    return replace(found, findings=(*told, *others, *found.findings, *lost))


def fitted_to_first(cars: Sequence[Car], case: Case, scale: Scale, align: bool) -> list[FittedCar]:
    """The first car as it is, the others fitted to it."""
    fitted = [fit(c, case.axle, cars[0], scale, align, case.whole) for c in cars[1:]]
    return [FittedCar(cars[0], 1.0, np.zeros(3), ()), *fitted]


def compare_models(
    case: Case,
    fits: Sequence[FittedCar],
    models: Sequence[CaseModel],
    measures: Sequence[str] | None,
    *,
    sigma: float | None,
    samples: int,
    threshold: float,
    seed: int = SEED,
    workers: int = 1,
    executor: Executor | None = None,
    split: bool = True,
    progress: Callable[[int, int], None] | None = None,
) -> Comparison:
    """Compare cars whose models of the case are at hand; parameters as of `compare`."""
    case, findings = _reached(case, models)
    models = [replace(m, case=case) for m in models]  # type: ignore[type-var]
    wanted = _of_all(case.chosen(measures), models)
    kinds = kinds_of(case)
    asked = [AskedCar.of(case, fits[k], m, wanted, sigma, seed + k, label_of(k)) for k, m in enumerate(models)]
    taken = sample_cars(asked, kinds, samples, threshold, workers, progress, executor)
    runs = []
    for k, (one, car) in enumerate(zip(fits, asked, strict=True)):
        doubt, corner = car.study.uncertainty, car.model.corner
        curves = Tolerance(
            title=one.car.title,
            case=case,
            side=corner.side,
            measures=car.measures,
            uncertainty=doubt,
            first=car.first,
            spread=taken.spreads[k],
            left_out=car.model.available(wanted)[1],
            findings=(),
            exact=(*doubt.exact, *exact_figures(car.model, car.measures)),
            chosen=measures is not None,
        )
        runs.append((ComparedCar(label_of(k), one, corner, curves, planes_of(corner)), taken.held[k]))
    pairs = tuple(
        _pair(runs[0], runs[k], wanted, threshold, split, taken.of_pair(k)) for k in range(1, len(runs))
    )  # fmt: skip
    return Comparison(case, tuple(car for car, _ in runs), pairs, threshold, findings, measures is not None)


def kinds_of(case: Case) -> tuple[FigureKind, ...]:
    """Kinds of figures of a case: no range of one position, no rate along loads."""
    if case.drive.name == "loads":
        return KINDS[:1]
    return KINDS[:2] if len(case.at) == 1 else KINDS


Run = tuple[ComparedCar, Samples | None]


def _pair(
    a: Run, b: Run, wanted: Sequence[Measure], threshold: float, split: bool, counted: Sequence[Astray] | None
) -> CarPair:
    ours, theirs = a[0].tolerance, b[0].tolerance
    missing = {**ours.left_out, **theirs.left_out}
    both = in_both(ours.measures, theirs.measures)
    found: list[Difference] = []
    for k, kind in enumerate(kinds_of(ours.case)):
        sides = []
        for car, drawn in (a, b):
            study = car.tolerance
            whole = figures(kind, study.first, drawn, study.uncertainty)
            sides.append(whole.rows([study.row(m.name) for m in both]))
        pairs = counted[k] if counted else None
        found += differences(both, kind, sides[0], sides[1], threshold, ours.case.drive.unit, pairs)
    common = CommonCases(None, None, "they were not asked for")
    if split:
        common = common_cases(a[0].fitted.car, b[0].fitted.car, ours.case)
    changed, lone = point_changes(a[0].corner, b[0].corner)
    return CarPair(
        a=a[0],
        b=b[0],
        moves=changed,
        lone=lone,
        differences=tuple(found),
        attribution=attribute(common, [m for m in wanted if m in both], ours.case.at),
        not_compared=missing,
        cautions=cautions(a[0], b[0], sum(x.judged for x in found), threshold),
    )


def _of_all(wanted: Sequence[Measure], models: Sequence[CaseModel]) -> tuple[Measure, ...]:
    """Without the silent measures that not every car has: nobody asked for them by name."""
    silent = [m for m in wanted if m.silent]
    there = [{m.name for m in model.available(silent)[0]} for model in models] if silent else []
    return tuple(m for m in wanted if not m.silent or all(m.name in names for names in there))


def _reached(case: Case, models: Sequence[CaseModel]) -> tuple[Case, tuple[Finding, ...]]:
    """The case at positions that all cars reach; a finding for those that are left out."""
    good = np.ones(len(case.at), dtype=bool)
    for model in models:
        good &= model.derive(model.design[None], case.at, AskedMeasures()).status == Status.OK
    if good.all():
        return case, ()
    where = case.drive.places(case.at[~good])
    if not good.any():
        raise RequestError(Finding("out-of-reach", f"{where}: none of it is reached by all cars"))
    says = "settle" if case.drive.name == "lateral" else "sweep"
    text = f"{where} is not reached by all cars and is left out of curves and ranges (kin3d {says} says why)"
    return case.only(good), (Finding("out-of-reach", text, severity=Severity.WARNING),)


def _refuse(cars: Sequence[Car], threshold: float, least: int) -> None:
    findings = []
    if len(cars) < least:
        findings.append(Finding("cars-few", f"{len(cars)} car given; two or more are needed to compare"))
    if not 0.5 < threshold < 1.0:
        text = f"the threshold is {threshold:g}; a probability over 0.5 and under 1 is expected, e.g. 0.95"
        findings.append(Finding("threshold", text))
    if findings:
        raise RequestError(findings)
