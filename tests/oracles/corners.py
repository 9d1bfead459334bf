"""Invented corners with a rod and a rocker, and scatter around them (mm; x forward, y left, z up)."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Points = dict[str, Array]

_PUSH_ROD = {
    "lower_front": (1390.0, 215.0, 132.0),
    "lower_rear": (1105.0, 225.0, 120.0),
    "lower_outer": (1272.0, 705.0, 118.0),
    "upper_front": (1360.0, 268.0, 292.0),
    "upper_rear": (1120.0, 275.0, 270.0),
    "upper_outer": (1251.0, 664.0, 345.0),
    "tie_inner": (1335.0, 222.0, 168.0),
    "tie_outer": (1340.0, 692.0, 172.0),
    "wheel_centre": (1264.0, 758.0, 240.0),
    "rod_outer": (1262.0, 640.0, 150.0),
    "rod_inner": (1228.0, 322.0, 452.0),
    "rocker_axis_1": (1190.0, 279.0, 405.0),
    "rocker_axis_2": (1262.0, 284.0, 411.0),
    "spring_outer": (1206.0, 261.0, 468.0),
    "spring_inner": (1180.0, 62.0, 425.0),
}
_PULL_ROD = _PUSH_ROD | {
    "rod_outer": (1250.0, 628.0, 322.0),
    "rod_inner": (1235.0, 268.0, 128.0),
    "rocker_axis_1": (1180.0, 294.0, 77.0),
    "rocker_axis_2": (1262.0, 300.0, 72.0),
    "spring_outer": (1206.0, 238.0, 86.0),
    "spring_inner": (1190.0, 226.0, 292.0),
}
CORNERS = {"lower arm": _PUSH_ROD, "upper arm": _PULL_ROD, "upright": _PUSH_ROD}


def corner(rod_on: str = "lower arm") -> Points:
    """An invented corner whose rod stands on the named body."""
    return {name: np.array(place) for name, place in CORNERS[rod_on].items()}


def scattered(rod_on: str, rng: np.random.Generator, spread_mm: float = 12.0) -> Points:
    """A corner of its own: every coordinate moved by up to `spread_mm`."""
    return {name: place + rng.uniform(-spread_mm, spread_mm, 3) for name, place in corner(rod_on).items()}
