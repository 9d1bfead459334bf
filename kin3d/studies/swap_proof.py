"""Proof that a change of the inboard side leaves the wheel alone: every wheel measure of both cars, side by side."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kin3d.linkage.car import Car
from kin3d.linkage.names import AxleName
from kin3d.studies.sweep import sweep_corner

Array = NDArray[np.float64]
INBOARD_GROUPS = ("spring", "rod")
RACKS_MM = (-10.0, 0.0, 10.0)


@dataclass(frozen=True, slots=True)
class WheelProof:
    """Largest difference of a measure of the wheel between two cars.

    Attributes
    ----------
    difference : float
        |new − old| / max(1, |old|) in the measure's unit.
    measure : str
        Where it is found.
    count, positions : int
        Measures and positions compared.
    """

    difference: float
    measure: str
    count: int
    positions: int


def prove_wheel(old: Car, new: Car, axle: AxleName, travel_mm: Array) -> WheelProof:
    """Compare every measure that is not of rod, rocker or spring over travel and three rack displacements."""
    first, second = (sweep_corner(car, axle, travel_mm, RACKS_MM) for car in (old, new))
    names = [m.name for m in first.measures if m.group not in INBOARD_GROUPS]
    both = (first.status == 0) & (second.status == 0)
    worst = {n: _difference(first.values[n][both], second.values[n][both]) for n in names}
    where = max(worst, key=lambda n: worst[n])
    return WheelProof(worst[where], where, len(names), int(both.sum()))


def _difference(a: Array, b: Array) -> float:
    with np.errstate(invalid="ignore"):
        apart = np.abs(a - b) / np.maximum(1.0, np.abs(a))
    return float(np.nanmax(np.where((a == b) | (np.isnan(a) & np.isnan(b)), 0.0, apart)))
