"""Choosing measures by name: one way for every study, with one answer to a mistake."""

from __future__ import annotations

import difflib
from collections.abc import Mapping, Sequence

from kin3d.errors import Finding, RequestError
from kin3d.linkage.names import AxleName
from kin3d.measures.table import Measure

# what is shown when no measures were asked for: the questions an engineer asks first
USUAL = (
    "camber_deg",
    "toe_deg",
    "caster_deg",
    "roll_centre_height_mm",
    "anti_dive_pct",
    "anti_lift_pct",
    "anti_squat_pct",
    "motion_ratio",
    "wheel_rate_n_per_mm",
    "scrub_radius_mm",
    "caster_trail_mm",
    "camber_ground_deg",
    "toe_ground_deg",
    "roll_centre_offset_mm",
    "camber_recovery_pct",
    "spring_share_braking_pct",
)


def asked(names: Sequence[str] | None) -> list[str] | None:
    """Names as a list; one name may stand alone, None asks for all.

    Raises
    ------
    RequestError
        For a list without a name.
    """
    if names is None:
        return None
    if not names:
        raise RequestError(Finding("measure-unknown", "no measure is named; kin3d measures lists them"))
    return [names] if isinstance(names, str) else list(names)


def pick(every: Sequence[Measure], axle: AxleName, names: Sequence[str] | None) -> tuple[Measure, ...]:
    """Measures of the given names in table order; all for None.

    Raises
    ------
    RequestError
        With every name that is not known and the nearest one.
    """
    if names is None:
        return tuple(every)
    known = [m.name for m in every]
    unknown = [_unknown(name, axle, known) for name in names if name not in known]
    if unknown:
        raise RequestError(unknown)
    return tuple(m for m in every if m.name in names)


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
    wanted = asked(names)
    if wanted is not None:
        known = [m.name for m in there]
        missing = [n for n in wanted if n not in known]
        if missing:
            has = ", ".join(known) or "none"
            raise RequestError([Finding("measure-missing", f'the result has no "{n}"; it has: {has}') for n in missing])
        return [m for m in there if m.name in wanted]
    usual = [m for m in there if m.name in USUAL]
    return list(there) if every or not usual else usual


def left_out_sentences(left_out: Mapping[str, str]) -> list[str]:
    """Which measures are left out, those with one reason in one sentence."""
    reasons: dict[str, list[str]] = {}
    for name, reason in left_out.items():
        reasons.setdefault(reason, []).append(name)
    return [f"left out: {', '.join(names)}: {reason}" for reason, names in reasons.items()]


def _unknown(name: str, axle: AxleName, known: Sequence[str]) -> Finding:
    near = difflib.get_close_matches(name, known, 1, cutoff=0.4)
    hint = f'did you mean "{near[0]}"?' if near else "kin3d measures lists them"
    return Finding("measure-unknown", f'no measure "{name}" on the {axle} axle; {hint}')
