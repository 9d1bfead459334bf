"""Which forces under load cases a car can be asked for as measures, and what is wrong with a name that it has not."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from contextlib import suppress

import numpy as np

from kin3d.errors import Finding, Kin3dError, RequestError, Severity
from kin3d.linkage.car import Car
from kin3d.linkage.keys import LoadCase
from kin3d.linkage.names import AxleName, did_you_mean, normalise
from kin3d.linkage.record import changed
from kin3d.loads.force_measures import (
    PREFIX,
    SETTLED_ELSEWHERE,
    UNIT,
    case_of_force,
    cases_of,
    force_measure,
    force_names,
    is_force,
    of_settled_car,
    settled_force,
)
from kin3d.measures.corner import TRAVEL, Corner
from kin3d.measures.entry import Measure
from kin3d.solve.model import AxleModel
from kin3d.studies.case import DRIVES, Case
from kin3d.studies.settled_case import SettledCase


def forces_of(car: Car, axle: AxleName) -> tuple[Measure, ...]:
    """The forces under load cases that a corner of a car can be asked for; none where what they need is not there."""
    settled: list[str] = []
    for case in filter(of_settled_car, car.cases):
        with suppress(Kin3dError):  # it cannot settle: each measure says so
            settled += _of_settled_car(car, axle, case)
    return (*_of_one_tyre(car, axle), *(settled_force(n) for n in settled))


def _of_settled_car(car: Car, axle: AxleName, case: LoadCase) -> tuple[str, ...]:
    """Names of forces under a case of the settled car."""
    asked = f"{PREFIX}{normalise(case.name)}{UNIT}"
    return SettledCase.of(Case(axle, DRIVES["loads"], np.ones(1), whole=True, forces=(asked,)), car).names()


def _of_one_tyre(car: Car, axle: AxleName) -> tuple[Measure, ...]:
    model = AxleModel.of(car, axle)
    if model.axle.loaded_radius_mm is None:
        return ()
    lanes = model.kernel.lanes(model.variants, np.zeros(1))
    corner = Corner.of(model, lanes, model.kernel.solve(model.variants, lanes), along=TRAVEL)
    if not cases_of(corner):
        return ()
    try:
        return tuple(force_measure(name) for name in force_names(corner))
    except RequestError:  # nothing holds the wheel up: each measure says so
        return ()


def refuse_unknown_forces(
    cars: Iterable[Car], axle: AxleName, names: Sequence[str] | str | None, over_drives: bool = False
) -> None:
    """Raise RequestError for every name of a force that none of the cars has.

    Parameters
    ----------
    names : sequence of str or str, optional
        Of measures of any kind; forces of the settled car are those of the first one.
    over_drives : bool
        Whether they are asked over drives that say how the car stands: then none of the settled car is known.
    """
    wanted = [n for n in ([names] if isinstance(names, str) else names or ()) if is_force(n)]
    if not wanted:
        return
    every = list(cars)
    settled = [n for n in wanted if (c := case_of_force(n, every[0].cases)) is not None and of_settled_car(c)]
    if settled and over_drives:
        raise RequestError([Finding("force-settled", f"{n}: {SETTLED_ELSEWHERE}") for n in settled])
    there = {m.name for car in every for m in _of_one_tyre(car, axle)} if len(settled) < len(wanted) else set()
    for case in {case_of_force(n, every[0].cases) for n in settled}:
        there |= set(_of_settled_car(every[0], axle, case)) if case is not None else set()
    found = [Finding("force-unknown", _why(n, every[0], axle, sorted(there))) for n in wanted if n not in there]
    if found:
        raise RequestError(found)


def _why(name: str, car: Car, axle: AxleName, there: Sequence[str]) -> str:
    for case in car.cases:
        of_tyre = name.startswith(f"{PREFIX}{normalise(case.name)}_") and not of_settled_car(case)
        if of_tyre and case.axle != axle:
            return f'no measure "{name}" on the {axle} axle: case "{case.name}" is on the {case.axle} axle'
    if not there:
        return (
            f'no measure "{name}": a force needs a case on the {axle} axle ([[cases]]), loaded_radius_mm and a spring'
        )
    return f'no measure "{name}"; {did_you_mean(name, there)}; kin3d measures CAR.toml lists them'


def under_the_first(cars: Sequence[Car], names: Sequence[str] | None) -> tuple[list[Car], tuple[Finding, ...]]:
    """Cars under the load cases of the first one, where forces are asked for: differences are then of the cars alone.

    Returns
    -------
    list of Car
    tuple of Finding
        A note where another car has other cases of its own.
    """
    wanted = [names] if isinstance(names, str) else names or ()
    if not any(is_force(n) for n in wanted):
        return list(cars), ()
    first = cars[0]
    others = [c.title for c in cars[1:] if c.cases and _asked(c.cases, wanted) != _asked(first.cases, wanted)]
    out = [first, *(changed(c, cases=first.cases) for c in cars[1:])]
    if not others:
        return out, ()
    text = f"forces of {', '.join(others)} are those under the load cases of {first.title}, which has others"
    return out, (Finding("cases-differ", text, str(first.source), Severity.NOTE),)


def _asked(cases: Sequence[LoadCase], names: Sequence[str]) -> list[LoadCase]:
    return [c for c in cases if any(n.startswith(f"{PREFIX}{normalise(c.name)}_") for n in names)]
