"""Ratios and rates over travel as curves, for axles whose springs work without a rocker."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from kin3d.studies.rates import AxleRates
from kin3d.writing.panels import Panel, Trace, draw_panels
from kin3d.writing.style import INK, MID

_X = "travel (mm), bump positive"


def draw_rates(found: AxleRates, path: Path) -> None:
    """Draw the ratio of each spring, the rates at a wheel and the rate in roll over the travel of both wheels.

    Parameters
    ----------
    path : pathlib.Path
        ``.png``, ``.svg`` or ``.pdf``.
    """
    at, total = found.travel_mm, found.total
    panels = []
    for unit, what, sign in (
        ("mm", "Ratio", "mm of the element per mm of travel"),
        ("rad", "Turn", "deg per mm of travel"),
    ):
        for how in ("heave", "roll"):
            # a bar turns in heave by what its arms differ alone
            moved = [c for c in found.curves if c.unit == unit and not (how == "heave" and c.kind == "bar")]
            ratios = [c.turn * np.asarray(getattr(c, f"{how}_ratio")) for c in moved]
            lines = [Trace(at, y, c.name, INK, k) for k, (c, y) in enumerate(zip(moved, ratios, strict=True))]
            if lines:
                whose = f": {moved[0].name}" if len(moved) == 1 else ""
                panels.append(Panel(f"{what} in {how}{whose}", "1", sign, _X, tuple(lines), legend=True))
    wheel = (
        Trace(at, np.asarray(total.heave_rate), "both wheels alike", INK),
        Trace(at, np.asarray(total.single_rate), "this wheel alone", INK, 1),
    )
    panels.append(Panel("Rate at a wheel", "N/mm", "all elements together", _X, wheel, legend=True))
    roll = [Trace(at, np.asarray(c.roll_rate), c.name, INK, k) for k, c in enumerate(found.curves)]
    if len(roll) > 1:
        roll.append(Trace(at, np.asarray(total.roll_rate), "all", MID))
    panels.append(Panel("Rate in roll", "N·m/deg", "of the axle", _X, tuple(roll), legend=True))
    draw_panels(f"{found.title}, {found.axle} axle", panels, path)
