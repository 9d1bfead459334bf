"""Where a sweep lets a spring out beyond its free length: the wheel rate there is not the wheel's."""

from __future__ import annotations

from collections.abc import Collection

import numpy as np
from numpy.typing import NDArray

from kin3d.errors import Finding, Severity
from kin3d.linkage.design import SIDES
from kin3d.measures.corner import Corner
from kin3d.measures.springs import spring_force
from kin3d.solve.model import AxleModel
from kin3d.spatial.jets import value

Array = NDArray[np.float64]
RATE = "wheel_rate_n_per_mm"
STEPS = 81  # places of the travel looked at; between two of them the force is taken as straight


def slack_told(model: AxleModel, travel_mm: Array, names: Collection[str]) -> list[Finding]:
    """Say from which travel on a spring is slack, where a wheel rate is told over such a travel.

    Parameters
    ----------
    travel_mm : ndarray, any shape
        Travels of the study; bump positive. Rack and other drives are held in the middle here.
    names : collection of str
        Measures that are told.
    """
    spring = model.axle.spring
    if RATE not in names or spring is None or spring.captive or spring.design_force_n is None:
        return []
    if model.linkage.spring is None or not np.isfinite(travel_mm).any():
        return []
    found = [_loose(model, side, float(np.nanmin(travel_mm)), float(np.nanmax(travel_mm))) for side in (0, 1)]
    sides = dict.fromkeys(f for f in found if f)
    return [_finding(model, where, [SIDES[k] for k in (0, 1) if found[k] == where]) for where in sides]


def _loose(model: AxleModel, side: int, low: float, high: float) -> str:
    """In words where one side's spring is slack between two travels; empty: nowhere."""
    travel = np.unique(np.append(np.linspace(low, high, STEPS), [0.0] if low < 0.0 < high else []))
    lanes = model.kernel.lanes(model.variants, travel)
    mine = np.flatnonzero(lanes.variant == side)
    lanes = lanes.take(mine)
    solved = model.kernel.solve(model.variants, lanes)
    force = np.broadcast_to(value(spring_force(Corner.of(model, lanes, solved, 1))), travel.shape)
    loose = force < 0.0
    if not loose.any():
        return ""
    works = np.flatnonzero(force >= 0.0)
    if not works.size:
        return "over all of the travel"
    under = [int(k) for k in works if k > 0 and loose[k - 1]]
    over = [int(k) for k in works if k + 1 < travel.size and loose[k + 1]]
    said = [f"under {_crossing(travel, force, k - 1):+.1f} mm of travel" for k in under[:1]]
    said += [f"over {_crossing(travel, force, k):+.1f} mm of travel" for k in over[-1:]]
    return " and ".join(said)


def _crossing(travel: Array, force: Array, k: int) -> float:
    """Where the force between two neighbouring places is 0."""
    share = force[k] / (force[k] - force[k + 1])
    return float(travel[k] + share * (travel[k + 1] - travel[k]))


def _finding(model: AxleModel, where: str, sides: list[str]) -> Finding:
    which = f" {sides[0]}" if len(sides) == 1 else ""
    text = (
        f"{RATE}: the{which} spring is slack {where}, beyond its free length, and the wheel has no rate of it there; "
        "the figure is that of a spring held at both ends (captive = true)"
    )
    return Finding("spring-slack", text, f"[{model.axle.name}.spring]", Severity.NOTE)
