"""Axles for tests: a table of points, varied, as a car the program has read."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np

import kin3d
from kin3d.linkage.car import Car
from tests.car_files import write_car

# a corner of our own, arms turned out of every plane, push-rod on the lower arm
CORNER = {
    "lower_front": (150, 255, 190),
    "lower_rear": (-190, 250, 182),
    "lower_outer": (8, 690, 165),
    "upper_front": (130, 290, 345),
    "upper_rear": (-150, 285, 335),
    "upper_outer": (-12, 655, 385),
    "tie_inner": (80, 260, 230),
    "tie_outer": (95, 675, 215),
    "wheel_centre": (0, 750, 262),
    "rod_outer": (5, 620, 185),
    "rod_inner": (0, 300, 430),
    "rocker_axis_1": (60, 270, 400),
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
