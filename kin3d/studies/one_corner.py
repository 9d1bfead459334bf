"""What a study of one corner over travel says beside its figures: whose they are, and where a spring is slack."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import replace

import numpy as np

from kin3d.errors import Finding, Severity
from kin3d.linkage.car import Car
from kin3d.solve.model import AxleModel
from kin3d.studies.case import Case
from kin3d.studies.slack import slack_told


def said_beside(case: Case, car: Car, names: Collection[str]) -> tuple[Finding, ...]:
    """Notes on a car's corner in a case over wheel travel, with the car's title; none of other drives.

    Parameters
    ----------
    names : collection of str
        Measures that are told.
    """
    if case.drive.name != "travel":
        return ()
    model = AxleModel.of(car, case.axle)
    found = [*_one_side(case, model), *slack_told(model, np.asarray(case.at, dtype=float), names)]
    return tuple(replace(f, place=f"{car.title}, {f.place}") for f in found)


def _one_side(case: Case, model: AxleModel) -> list[Finding]:
    """Says that the other side is another one, where it has points of its own."""
    axle = model.axle
    if axle.other_points is None:
        return []
    side = case.side or axle.side
    other = "right" if side == "left" else "left"
    text = f"figures are those of the {side} side; the {other} side has points of its own (--side {other})"
    return [Finding("one-side", text, f"[{axle.name}] other_points", Severity.NOTE)]
