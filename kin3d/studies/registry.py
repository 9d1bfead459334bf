"""The registry: every measure there is, one entry each, and how measures are chosen by name."""

from __future__ import annotations

import difflib
from collections.abc import Mapping, Sequence
from dataclasses import replace

from kin3d.errors import Finding, RequestError
from kin3d.linkage.names import AxleName
from kin3d.loads import load_transfer
from kin3d.loads.force_measures import force_measure, is_force
from kin3d.measures import (
    ackermann,
    anti,
    car,
    driveshaft,
    ground,
    instant_centres,
    least_gap,
    rod,
    roll_centre,
    screw,
    springs,
    steering,
    wheel,
)
from kin3d.measures.entry import Measure
from kin3d.measures.named_gaps import gap_measure, is_gap
from kin3d.studies import frequencies, rates

# in the order of tables
EVERY: tuple[Measure, ...] = (
    *wheel.MEASURES,
    *steering.MEASURES,
    *screw.MEASURES,
    *instant_centres.MEASURES,
    *anti.MEASURES,
    *springs.MEASURES,
    *rod.MEASURES,
    *driveshaft.MEASURES,
    *least_gap.MEASURES,
    *ground.MEASURES,
    *roll_centre.MEASURES,
    *ground.SUPPORT_ANGLES,
    *ackermann.MEASURES,
    *load_transfer.MEASURES,
    *car.MEASURES,
    *rates.MEASURES,
    *frequencies.MEASURES,
)


def _of(scope: str, axle: AxleName) -> tuple[Measure, ...]:
    return tuple(m for m in EVERY if m.scope == scope and m.axle in (None, axle))


def corner_measures(axle: AxleName) -> tuple[Measure, ...]:
    """Every measure that one corner of that axle can have."""
    return _of("corner", axle)


def axle_measures(axle: AxleName) -> tuple[Measure, ...]:
    """Every measure of an axle with both wheels on the ground.

    Those of one corner come first; where the axle has one of the same name (the roll centre), that stands in its place.
    Figures of the whole axle stand in the rows of both wheels. Anti values and support angles are taken along the
    ground.
    """
    own = _of("axle", axle)
    names = {m.name for m in own}
    return (*(m for m in corner_measures(axle) if m.name not in names), *own)


def unnamed(every: Sequence[Measure]) -> tuple[Measure, ...]:
    """Those that are computed without being asked for by name."""
    return tuple(m for m in every if not m.named)


def pick(every: Sequence[Measure], axle: AxleName, names: Sequence[str] | None) -> tuple[Measure, ...]:
    """Measures of the given names in table order; one name may stand alone, None asks for all that need no name.

    Forces under load cases and gaps of pairs stand at the end; there are as many as the car has cases, parts and pairs,
    so that `every` does not hold them, and a car that has not one of the name says so when it is asked.

    Raises
    ------
    RequestError
        With every name that is not known and the nearest one; for a list without a name.
    """
    if names is None:
        return unnamed(every)
    names = asked(names)
    known = [m.name for m in every]
    unknown = [_unknown(name, axle, known) for name in names if name not in known and not is_made(name)]
    if unknown:
        raise RequestError(unknown)
    made = (force_measure(n) if is_force(n) else gap_measure(n) for n in dict.fromkeys(names) if is_made(n))
    return (*(replace(m, silent=False) for m in every if m.name in names), *made)


def is_made(name: str) -> bool:
    """Whether a name is one that the car makes: a force under a load case, the gap of a pair of solids."""
    return is_force(name) or is_gap(name)


def asked(names: Sequence[str]) -> list[str]:
    """Names as a list; one name may stand alone.

    Raises
    ------
    RequestError
        For a list without a name.
    """
    if not names:
        raise RequestError(Finding("measure-unknown", "no measure is named; kin3d measures lists them"))
    return [names] if isinstance(names, str) else list(names)


def shown(there: Sequence[Measure], names: Sequence[str] | None = None, every: bool = False) -> list[Measure]:
    """Measures of a result that a person is shown: those of the given names, else the usual ones.

    Parameters
    ----------
    every : bool
        Without names: all of them, because the result was asked for with names.

    Raises
    ------
    RequestError
        With every name that the result does not have.
    """
    if names is not None:
        wanted = asked(names)
        known = [m.name for m in there]
        missing = [n for n in wanted if n not in known]
        if missing:
            has = ", ".join(known) or "none"
            raise RequestError([Finding("measure-missing", f'the result has no "{n}"; it has: {has}') for n in missing])
        return [m for m in there if m.name in wanted]
    usual = [m for m in there if m.usual]
    return list(there) if every or not usual else usual


def left_out_sentences(left_out: Mapping[str, str]) -> list[str]:
    """Which measures are left out, those with one reason in one sentence."""
    reasons: dict[str, list[str]] = {}
    for name, reason in left_out.items():
        reasons.setdefault(reason, []).append(name)
    return [f"left out: {', '.join(names)}: {reason}" for reason, names in reasons.items()]


def need_some(there: Sequence[Measure], left_out: Mapping[str, str]) -> None:
    """Refuse where nothing is left of what was asked.

    Raises
    ------
    RequestError
        With the reason for every measure.
    """
    if not there:
        raise RequestError([Finding("measure-missing", f"{n} cannot be had: {r}") for n, r in left_out.items()])


def _unknown(name: str, axle: AxleName, known: Sequence[str]) -> Finding:
    near = difflib.get_close_matches(name, known, 1, cutoff=0.4)
    hint = f'did you mean "{near[0]}"?' if near else "kin3d measures lists them"
    return Finding("measure-unknown", f'no measure "{name}" on the {axle} axle; {hint}')
