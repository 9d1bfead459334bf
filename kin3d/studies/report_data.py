"""Everything a report shows, collected: curves with bands, comparison, constructions, roll-centre migration, checks."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, replace
from functools import partial

import numpy as np
from numpy.typing import NDArray

from kin3d.errors import Finding, Kin3dError, RequestError, Severity
from kin3d.linkage.car import Car
from kin3d.linkage.names import AxleName
from kin3d.measures.gaps import pairs_of, shapes_of
from kin3d.reading.photo_records import PhotoPoints
from kin3d.studies.check import AxleCheck, check_axle
from kin3d.studies.clearance import clearance
from kin3d.studies.clearance_result import Clearance
from kin3d.studies.compare import SAMPLES, Comparison, compare
from kin3d.studies.compared import ComparedCar
from kin3d.studies.construction import AxleConstruction, construct_at
from kin3d.studies.fit import Scale
from kin3d.studies.photo_draw import PhotoConstruction, draw_on_photograph
from kin3d.studies.questions import Questions, questions
from kin3d.studies.result import SweepResult
from kin3d.studies.significance import THRESHOLD
from kin3d.studies.sweep import sweep
from kin3d.studies.tolerance import SEED

Array = NDArray[np.float64]
AXLES: tuple[AxleName, ...] = ("front", "rear")
ROLL_DEG = tuple(np.linspace(-3.0, 3.0, 25))
LOCKS_MM = (-25.0, 0.0, 25.0)  # at which gaps are looked at, where there is a rack
MIGRATION = ("roll_centre_height_mm", "roll_centre_offset_mm")


@dataclass(frozen=True, slots=True)
class CarPart:
    """What a report shows of one axle of one car beside the comparison.

    Attributes
    ----------
    check : AxleCheck
    construction : AxleConstruction
        The axle in the design position.
    roll : SweepResult or None
        The axle over body roll; None without a loaded radius.
    missing : tuple of str
        What could not be computed, and why.
    gaps : Clearance or None
        What comes near to what over the travel and at both locks; None where no two solids are given.
    """

    check: AxleCheck
    construction: AxleConstruction
    roll: SweepResult | None
    missing: tuple[str, ...]
    gaps: Clearance | None


@dataclass(frozen=True, slots=True)
class AxlePart:
    """One axle of all cars.

    Attributes
    ----------
    photo : PhotoConstruction or None
        Its construction on a photograph where the last car comes from photographs.
    asked : Questions or None
        What is asked of several cars in roll and in turns.
    """

    axle: AxleName
    comparison: Comparison
    cars: tuple[CarPart, ...]
    photo: PhotoConstruction | None = None
    asked: Questions | None = None


@dataclass(frozen=True, slots=True)
class ReportData:
    """What a report shows.

    Attributes
    ----------
    cars : tuple of Car
        As read; the fitted ones stand in the comparisons.
    axles : tuple of AxlePart
    samples, seed : int
    sigma_mm : float or None
    threshold : float
    findings : tuple of Finding
        Of the page as a whole: axles that are not all cars'.
    """

    cars: tuple[Car, ...]
    axles: tuple[AxlePart, ...]
    samples: int
    seed: int
    sigma_mm: float | None
    threshold: float
    findings: tuple[Finding, ...] = ()


def collect(
    cars: Sequence[Car],
    axles: Sequence[AxleName] | None,
    travel_mm: Sequence[float] | Array,
    *,
    sigma_mm: float | None = None,
    samples: int = SAMPLES,
    seed: int = SEED,
    threshold: float = THRESHOLD,
    scale: Scale = "none",
    align: bool = False,
    workers: int = 1,
    executor: Executor | None = None,
    progress: Callable[[int, int], None] | None = None,
    doing: Callable[[str], None] | None = None,
) -> ReportData:
    """Run the studies of a report.

    Parameters
    ----------
    axles : sequence of {"front", "rear"}, optional
        Default those that all cars have.
    doing : callable, optional
        Called with what is done next, in words.

    Raises
    ------
    RequestError
        When the cars have no axle in common, and whatever the studies refuse.
    """
    chosen = tuple(axles) if axles else _common(cars)
    side = cars[0].axle(chosen[0]).side  # every axle of a page shows the same side of the car
    parts = []
    tell = doing or (lambda _text: None)
    for k, axle in enumerate(chosen):
        said = f"{axle} axle: sampled cars, differences and their causes"
        tell(said)
        result = compare(
            cars, axle, travel_mm, sigma=sigma_mm, samples=samples, seed=seed, threshold=threshold,
            scale=scale, align=align, workers=workers, executor=executor, least=1, side=side,
            progress=partial(_count, tell, said),
        )  # fmt: skip
        tell(f"{axle} axle: constructions and how far the travel goes")
        drawn = _photo(cars, axle)
        if drawn is not None and drawn.ghost is not None and scale == "none":
            # one verdict on the page: that of the comparison
            drawn = replace(drawn, judged=result.pairs[-1].difference(MIGRATION[0], "design"))
        tell(f"{axle} axle: in roll and in turns")
        how = {"sigma": sigma_mm, "threshold": threshold, "scale": scale, "align": align}
        asked = questions(cars, axle, side=side, **how) if len(cars) > 1 else None
        shown = tuple(_car_part(e, axle, travel_mm, sigma_mm) for e in result.cars)
        parts.append(AxlePart(axle, result, shown, drawn, asked))
        if progress:
            progress(k + 1, len(chosen))
    alone = () if axles else _alone(cars, chosen)
    return ReportData(tuple(cars), tuple(parts), samples, seed, sigma_mm, threshold, alone)


def _count(tell: Callable[[str], None], said: str, done: int, total: int) -> None:
    tell(f"{said} ({done:,} of {total:,})")


def _photo(cars: Sequence[Car], axle: AxleName) -> PhotoConstruction | None:
    """The last car's construction on its first photograph that is at hand, the first car through the same camera."""
    own, first = cars[-1].axle(axle).points, cars[0].axle(axle).points
    if not isinstance(own, PhotoPoints):
        return None
    there = [p.name for p in own.photographs.photos if p.file is not None and p.file.is_file()]
    if not there:
        return None
    ghost = cars[0] if len(cars) > 1 and isinstance(first, PhotoPoints) else None
    return draw_on_photograph(cars[-1], there[0], axle, ghost, crop=True)


def _common(cars: Sequence[Car]) -> tuple[AxleName, ...]:
    there = tuple(a for a in AXLES if all(a in [x.name for x in c.axles()] for c in cars))
    if not there:
        text = "the cars have no axle in common: " + "; ".join(
            f"{c.title} has {', '.join(a.name for a in c.axles())}" for c in cars
        )
        raise RequestError(Finding("axle-missing", text))
    return there


def _alone(cars: Sequence[Car], chosen: Sequence[AxleName]) -> tuple[Finding, ...]:
    """Axles that some cars have and the page does not show."""
    out = []
    for axle in (a for a in AXLES if a not in chosen):
        have = [c.title for c in cars if any(a.name == axle for a in c.axles())]
        if have:
            text = f"the {axle} axle is not on this page: of the cars, {' and '.join(have)} alone {_has(have)} one"
            out.append(Finding("axle-alone", text, severity=Severity.NOTE))
    return tuple(out)


def _has(names: Sequence[str]) -> str:
    return "has" if len(names) == 1 else "have"


def _car_part(
    compared: ComparedCar, axle: AxleName, travel_mm: Sequence[float] | Array, sigma_mm: float | None
) -> CarPart:
    car = compared.fitted.car
    missing: list[str] = []
    roll = gaps = None
    try:
        roll = sweep(car, axle, roll=ROLL_DEG, measures=MIGRATION)
    except Kin3dError as error:
        missing += [f"roll-centre migration of {car.title}: {f}" for f in error.findings]
    if pairs_of(shapes_of(car.axle(axle))):
        try:
            gaps = clearance(car, travel_mm, LOCKS_MM, axle=axle, sigma=sigma_mm)
        except Kin3dError as error:
            missing += [f"gaps between solids of {car.title}: {f}" for f in error.findings]
    return CarPart(check_axle(car, axle), construct_at(car, axle, [0.0])[0], roll, tuple(missing), gaps)
