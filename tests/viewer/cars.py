"""The cars that the viewer is tried on: the demo cars, and a strut made here so that a slider is among them."""

from __future__ import annotations

from pathlib import Path

import kin3d
from kin3d.linkage.car import Car
from tests.car_files import write_car
from tests.laws.cars import CORNERS, MODELS

STRUT = """name = "strut"
[bodies]
chassis = ["lower_front", "lower_rear", "strut_top"]
"lower arm" = ["lower_front", "lower_rear", "lower_outer"]
upright = ["lower_outer", "tie_outer", "strut_low", "strut_high"]
"tie link" = ["tie_inner", "tie_outer"]
[rack]
points = ["tie_inner"]
[wheel]
body = "upright"
steering_axis = ["lower_outer", "strut_top"]
[[sliders]]
point = "strut_top"
line = ["strut_low", "strut_high"]
"""
STRUT_POINTS = {
    "lower_front": (130.0, 330.0, 195.0),
    "lower_rear": (-210.0, 340.0, 190.0),
    "lower_outer": (4.0, 700.0, 180.0),
    "tie_inner": (-140.0, 330.0, 215.0),
    "tie_outer": (-130.0, 680.0, 205.0),
    "wheel_centre": (0.0, 745.0, 300.0),
    "strut_low": (-4.0, 640.0, 330.0),
    "strut_high": (-10.0, 610.0, 450.0),
    "strut_top": (-22.5, 547.5, 700.0),
}
CASES = (*CORNERS, ("strut", "front"))


def strut(folder: Path) -> Path:
    """Path of the strut's car file."""
    (folder / "strut.toml").write_text(STRUT, "utf-8")
    return write_car(folder, STRUT_POINTS, layout="strut.toml", camber_deg=-0.8, loaded_radius_mm=300.0)


def car(name: str, folder: Path) -> Car:
    """A car by its name."""
    return kin3d.load(strut(folder) if name == "strut" else MODELS / name / "car.toml")
