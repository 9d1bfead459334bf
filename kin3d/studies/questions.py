"""What is asked of an axle as it runs: on the ground, in roll, in a turn; and what unknown figures of a car leave open.

Answers that need no figure of the car come first (support angles, spring shares follow from them). What a car file does
not give is assumed over a range that is said, and so is the range of the answer.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import product
from typing import Any

from kin3d.errors import Finding, Kin3dError
from kin3d.linkage.car import Car
from kin3d.linkage.names import AxleName, Side
from kin3d.linkage.record import changed
from kin3d.studies.case import Case, case_of
from kin3d.studies.compare import Comparison, compare_models, fitted_to_first
from kin3d.studies.corner_model import CornerModel
from kin3d.studies.fit import Scale
from kin3d.studies.ground_answers import models_together
from kin3d.studies.photo_points import adjusted_together
from kin3d.studies.significance import THRESHOLD
from kin3d.studies.sweep import sweep
from kin3d.studies.tolerance import TRAVEL
from kin3d.writing.numbers import number

ROLL_DEG = 2.0
TURNS_G = (0.5, 1.0, 1.5)
_AS_DESIGNED = (
    "support_angle_braking_deg",
    "support_angle_driving_deg",
    "spring_share_braking_pct",
    "spring_share_driving_pct",
    "spring_share_cornering_pct",
    "camber_recovery_pct",
    "rod_force_n_per_n",
    "motion_ratio",
)
_ROLLED = (
    "camber_outer_deg",
    "camber_recovery_pct",
    "roll_centre_height_mm",
    "roll_centre_offset_mm",
    "spring_share_cornering_pct",
)
_TURNING = ("camber_outer_deg", "roll_centre_height_mm", "roll_centre_offset_mm", "spring_share_cornering_pct")
# what is usual for cars of this kind (common practice, no source), for figures that are not given
ASSUMED: dict[str, tuple[float, float]] = {"front_brake_share": (0.55, 0.70), "front_mass_share": (0.40, 0.50)}
CENTRE_OVER_WHEELBASE = (0.10, 0.16)
_OF_CAR = ("anti_dive_pct", "anti_lift_pct", "anti_squat_pct", "spring_share_braking_pct", "spring_share_cornering_pct")


@dataclass(frozen=True, slots=True)
class Questions:
    """Answers of one axle.

    Attributes
    ----------
    answers : tuple of Comparison
        First order, one a position: as designed, rolled, in turns.
    notes : tuple of str
        What could not be answered and why; ranges over assumed figures.
    """

    answers: tuple[Comparison, ...]
    notes: tuple[str, ...]


def questions(cars: Sequence[Car], axle: AxleName, *, side: Side | None = None, **how: Any) -> Questions:
    """Ask all of them of an axle.

    Parameters
    ----------
    cars : sequence of Car
        Two or more.
    how
        ``sigma``, ``threshold``, ``scale`` and ``align`` as `compare` takes them.
    """
    asked = [_Asked(_AS_DESIGNED, heave=0.0), _Asked(_ROLLED, roll=ROLL_DEG)]
    asked += [_Asked(_TURNING, lateral=g) for g in TURNS_G]
    answers: list[Comparison] = []
    refused: dict[Finding, list[_Asked]] = {}
    for one, found in zip(asked, _answers(cars, axle, asked, side, **how), strict=True):
        if isinstance(found, Comparison):
            answers.append(found)
        else:
            for finding in found.findings:
                refused.setdefault(finding, []).append(one)
    notes = dict.fromkeys(_refused(finding, where, cars) for finding, where in refused.items())
    notes |= dict.fromkeys(note for car in cars for note in assumed_ranges(car, axle))
    return Questions(tuple(answers), tuple(notes))


@dataclass(frozen=True, slots=True)
class _Asked:
    """One question: measures at one position."""

    measures: tuple[str, ...]
    heave: float | None = None
    roll: float | None = None
    lateral: float | None = None

    def case(self, axle: AxleName, side: Side | None) -> Case:
        """As a case."""
        heave, roll, lateral = self.heave, self.roll, self.lateral
        return case_of(axle, None, TRAVEL, self.measures, side, heave=heave, roll=roll, lateral=lateral)


def _refused(finding: Finding, asked: Sequence[_Asked], cars: Sequence[Car]) -> str:
    """Why some questions have no answer: where, whose file by the car's name, and the reason."""
    turns = [f"{one.lateral:g}" for one in asked if one.lateral is not None]
    where = ["on the ground"] if len(turns) < len(asked) else []
    where += [f"under {' and '.join(filter(None, [', '.join(turns[:-1]), turns[-1]]))} g"] if turns else []
    whose = next((c.title for c in cars if str(c.source) == finding.place), finding.place)
    return f"{' and '.join(where)}: {replace(finding, place=whose)}"


def _answers(
    cars: Sequence[Car],
    axle: AxleName,
    asked: Sequence[_Asked],
    side: Side | None,
    *,
    sigma: float | None = None,
    threshold: float = THRESHOLD,
    scale: Scale = "none",
    align: bool = False,
) -> list[Comparison | Kin3dError]:
    """The cars compared in each question's position, to first order; or why they are not."""
    try:
        cars, told = adjusted_together(cars, axle)
        side = side or CornerModel.of(cars[0], axle).side
        cases = [one.case(axle, side) for one in asked]
        fits = fitted_to_first(cars, cases[0], scale, align)
    except Kin3dError as error:
        return [error] * len(asked)
    each = [case.chosen(one.measures) for one, case in zip(asked, cases, strict=True)]
    measures = tuple(dict.fromkeys(m for chosen in each for m in chosen))
    models = zip(*(models_together(cases, f.car, measures) for f in fits), strict=True)
    out: list[Comparison | Kin3dError] = []
    for one, case, of_cars in zip(asked, cases, models, strict=True):
        wrong = next((m for m in of_cars if isinstance(m, Kin3dError)), None)
        if wrong is not None:
            out.append(wrong)
            continue
        there = [m for m in of_cars if not isinstance(m, Kin3dError)]
        try:
            found = compare_models(
                case, fits, there, one.measures, sigma=sigma, samples=0, threshold=threshold, split=False
            )
            out.append(replace(found, findings=(*told, *found.findings)))
        except Kin3dError as error:
            out.append(error)
    return out


def assumed_ranges(car: Car, axle: AxleName) -> tuple[str, ...]:
    """What measures come to over assumed figures, for those that the car file lacks figures for.

    Returns
    -------
    tuple of str
        A sentence a measure with the range and what was assumed for it; nothing for a car whose figures are given, and
        for one without a wheelbase.
    """
    data, base = car.data, car.data.wheelbase_mm
    if base is None:
        return ()
    ranges = dict(ASSUMED, cg_height_mm=tuple(share * base for share in CENTRE_OVER_WHEELBASE))
    missing = {key: ends for key, ends in ranges.items() if getattr(data, key) is None}
    if not missing:
        return ()
    found: dict[str, list[float]] = {}
    units: dict[str, str] = {}
    for values in product(*missing.values()):
        figures = dict(zip(missing, values, strict=True))
        whole = sweep(changed(car, data=changed(data, **figures)), axle, heave=0.0)
        for m in whole.measures:
            if m.name in _OF_CAR:
                found.setdefault(m.name, []).append(float(whole.values[m.name].flat[0]))
                units[m.name] = m.unit
    said = ", ".join(f"{key} {low:g} to {high:g}" for key, (low, high) in missing.items())
    return tuple(
        f"{car.title}: {name} {number(min(v), units[name])} to {number(max(v), units[name])} {units[name]} over {said} "
        "(assumed: common practice, no source)"
        for name, v in found.items()
        if max(v) - min(v) > 0.0
    )
