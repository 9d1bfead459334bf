"""Values of the drives that a study is given: finite numbers, angles at which a car stands, drives that go together."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from kin3d.errors import Finding, RequestError, raise_errors
from kin3d.studies.ground_contact import MOST_ANGLE_DEG

Array = NDArray[np.float64]
Given = Sequence[float] | Array | float
_UNITS = {"travel": "mm", "heave": "mm", "roll": "deg", "pitch": "deg", "lateral": "g", "rack": "mm"}


def drive_values(given: Mapping[str, Given]) -> dict[str, Array]:
    """Values of drives by name as arrays of shape (n,): travel, heave and rack (mm), roll and pitch (deg), lateral (g).

    Raises
    ------
    RequestError
        With all that are empty or not finite, and angles at which no car stands.
    """
    out: dict[str, Array] = {}
    wrong: list[Finding] = []
    for name, values in given.items():
        try:
            out[name] = finite_values(name, values, _UNITS[name])
        except RequestError as error:
            wrong += error.findings
            continue
        worst = out[name][np.argmax(np.abs(out[name]))]
        if name in ("roll", "pitch") and abs(worst) >= MOST_ANGLE_DEG:
            most = f"{MOST_ANGLE_DEG:g}"
            text = f"{name}: {worst:g} deg is found; angles of the body between −{most} and {most} deg are expected"
            wrong.append(Finding("drive-range", text))
    raise_errors(wrong, RequestError)
    return out


def finite_values(name: str, given: Given, unit: str) -> Array:
    """Values of one drive, of a layout's own too; RequestError for an empty or non-finite one."""
    try:
        array = np.atleast_1d(np.asarray(given, dtype=float))
    except (TypeError, ValueError):
        array = np.empty(0)
    if array.ndim != 1 or not array.size or not np.isfinite(array).all():
        text = f"{name}: expected one or more finite numbers in {unit}, found {given!r}"
        raise RequestError(Finding("drive-empty", text))
    return array


def refuse_travel(travel: Given | None, beside: Iterable[Given | None]) -> None:
    """Refuse travel, which moves one wheel alone, beside heave, roll and pitch."""
    if travel is not None and any(v is not None for v in beside):
        text = "travel moves one wheel alone; give it without heave, roll and pitch"
        raise RequestError(Finding("drives-mixed", text))
