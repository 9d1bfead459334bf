"""One reading under way: what was asked and what was found so far, passed from step to step."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from kin3d.reading.dxf.marks import Content
from kin3d.reading.dxf.naming import Names
from kin3d.reading.dxf.plan import Plan
from kin3d.reading.dxf.result import DrawingReading, DrawnPoint
from kin3d.reading.dxf.search import Tie, Uncertainty
from kin3d.reading.text import FindingLog


@dataclass(slots=True)
class Job:
    """State of one reading.

    Attributes
    ----------
    units, axes, side : str or None
        As given by the user, or in views.toml.
    unit_code : int or None
        The header's $INSUNITS; None where it says nothing.
    unit_hint : str
        What the words on the sheet say of the unit, for messages.
    both_corners : bool
        Some name stands on both sides of the car.
    """

    log: FindingLog
    reading: DrawingReading
    content: Content
    names: Names
    plan: Plan
    units: str | None
    axes: str | None
    side: str | None
    unit_code: int | None
    tolerance_mm: float
    accept_spread: bool = False
    fit_scales: bool = False
    unit_hint: str = ""
    both_corners: bool = False
    ties: list[Tie] = field(default_factory=list)
    doubts: list[Uncertainty] = field(default_factory=list)

    def refuse(self, name: str, code: str, text: str, where: str = "") -> None:
        """Refuse one point: an error, and what was read of it is kept apart from the good points."""
        self.log.error(code, text, where)
        point = self.reading.points.pop(name, None)
        if point is not None:
            self.reading.partial[name] = point
        elif name not in self.reading.partial:
            nothing = np.full(3, np.nan)
            self.reading.partial[name] = DrawnPoint(name, nothing, nothing, 0.0, ())
