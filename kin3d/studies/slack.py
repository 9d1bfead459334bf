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
STEPS = 17  # places of the travel looked at; between two of them the force is taken as straight; some 0.1 mm off


def slack_told(
    model: AxleModel, travel_mm: Array, names: Collection[str], length_mm: Array | None = None
) -> list[Finding]:
    """Say from which travel on a spring is slack, where a wheel rate is told over such a travel.

    Parameters
    ----------
    travel_mm : ndarray, shape (lanes,)
        Travels of the study; bump positive.
    names : collection of str
        Measures that are told.
    length_mm : ndarray, shape (lanes,), optional
        Length of the spring at each of them, left lanes and then right ones, NaN where they are not reached; else it is
        found over their range, other drives in the middle.
    """
    spring = model.axle.spring
    if RATE not in names or spring is None or spring.captive or spring.design_force_n is None:
        return []
    if model.linkage.spring is None or not np.isfinite(travel_mm).any():
        return []
    each = (0, 1) if model.axle.other_points is not None else (0,)
    if length_mm is None:
        ends = (float(np.nanmin(travel_mm)), float(np.nanmax(travel_mm)))
        found = [_loose(*_over(model, side, *ends)) for side in each]
    else:
        found = [_loose(*_given(model, side, travel_mm, length_mm)) for side in each]
    sides = dict.fromkeys(f for f in found if f)
    return [_finding(model, where, [SIDES[k] for k in each if found[k] == where]) for where in sides]


def _over(model: AxleModel, side: int, low: float, high: float) -> tuple[Array, Array]:
    """Travels between two, and the compression force of one side's spring there, N."""
    travel = np.unique(np.append(np.linspace(low, high, STEPS), [0.0] if low < 0.0 < high else []))
    lanes = model.kernel.lanes(model.variants, travel)
    lanes = lanes.take(np.flatnonzero(lanes.variant == side))
    solved = model.kernel.solve(model.variants, lanes)
    return travel, np.broadcast_to(value(spring_force(Corner.of(model, lanes, solved, 1))), travel.shape)


def _given(model: AxleModel, side: int, travel: Array, length: Array) -> tuple[Array, Array]:
    """The same of lengths that are known, in the order of their travels."""
    spring, ends = model.axle.spring, model.linkage.spring
    assert spring is not None
    assert ends is not None
    half = len(travel) // 2
    mine = slice(half * side, half * (side + 1))
    at = dict(zip(model.linkage.points, model.sides[side].design, strict=True))
    design = float(np.linalg.norm(at[ends[0]] - at[ends[1]]))
    force = value(spring.design_force_n) + value(spring.rate_n_per_mm) * (design - length[mine])
    order = np.argsort(travel[mine], kind="stable")
    good = order[np.isfinite(force[order])]
    return travel[mine][good], force[good]


def _loose(travel: Array, force: Array) -> str:
    """In words where a spring is slack, of its forces at rising travels; empty: nowhere."""
    loose = force < 0.0
    if not loose.any():
        return ""
    works = np.flatnonzero(force >= 0.0)
    if not works.size:
        return "over all of the travel"
    under = [int(k) for k in works if k > 0 and loose[k - 1]]
    over = [int(k) for k in works if k + 1 < travel.size and loose[k + 1]]
    said = [f"under about {_crossing(travel, force, k - 1):+.0f} mm of travel" for k in under[:1]]
    said += [f"over about {_crossing(travel, force, k):+.0f} mm of travel" for k in over[-1:]]
    return " and ".join(said)


def _crossing(travel: Array, force: Array, k: int) -> float:
    """Where the force between two neighbouring places is 0."""
    share = force[k] / (force[k] - force[k + 1])
    return float(travel[k] + share * (travel[k + 1] - travel[k]))


def _finding(model: AxleModel, where: str, sides: list[str]) -> Finding:
    which = f" {sides[0]}" if model.axle.other_points is not None and len(sides) == 1 else ""
    text = (
        f"{RATE}: the{which} spring is slack {where}, beyond its free length, and the wheel has no rate of it there; "
        "the figure is that of a spring held at both ends (captive = true)"
    )
    return Finding("spring-slack", text, f"[{model.axle.name}.spring]", Severity.NOTE)
