"""Choosing measures by name: one way for every study, with one answer to a mistake."""

from __future__ import annotations

import difflib
from collections.abc import Sequence

from kin3d.errors import Finding, RequestError
from kin3d.linkage.car import AxleName
from kin3d.measures.table import Measure


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


def _unknown(name: str, axle: AxleName, known: Sequence[str]) -> Finding:
    near = difflib.get_close_matches(name, known, 1, cutoff=0.4)
    hint = f'did you mean "{near[0]}"?' if near else "kin3d measures lists them"
    return Finding("measure-unknown", f'no measure "{name}" on the {axle} axle; {hint}')
