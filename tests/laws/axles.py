"""Axles for tests: a table of points, varied, as a car the program has read."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np

import kin3d
from kin3d.linkage.car import Car
from tests.car_files import write_car
from tests.unit.corners import POINTS

# a corner of our own, arms turned out of every plane, push-rod on the lower arm
CORNER = {n: p for n, p in POINTS.items() if n != "wheel_axis"} | {
    "rod_inner": (0, 300, 430),
    "rocker_axis_2": (-60, 270, 400),
    "spring_outer": (0, 235, 475),
    "spring_inner": (0, 20, 470),
}
DATA = {
    "wheelbase_mm": 2600.0,
    "cg_height_mm": 300.0,
    "mass_kg": 600.0,
    "front_mass_share": 0.45,
    "front_brake_share": 0.6,
    "drive": "rear",
}
Places = Mapping[str, Any]


def moved(points: Places, names: tuple[str, ...], by: tuple[float, float, float]) -> dict[str, Any]:
    """The same points with some of them moved."""
    return {n: tuple(np.add(p, by)) if n in names else p for n, p in points.items()}


def one_axle(folder: Path, points: Places = CORNER, axle: str = "front", **keys: Any) -> Car:
    """A car with one axle; `keys` as in `write_car`, an empty text takes a key away."""
    folder.mkdir(exist_ok=True)
    car = DATA | dict(keys.pop("car", {}))
    usual = {"rod_on": "lower arm", "loaded_radius_mm": 262.0, "camber_deg": -2.5}
    given = {k: v for k, v in (usual | keys).items() if v != ""}
    return kin3d.load(write_car(folder, points, axle=axle, car=car, **given))
