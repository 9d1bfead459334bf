"""What `check` warns of: each with its text."""

from __future__ import annotations

import numpy as np

import kin3d
from kin3d.studies.check import check_axle
from tests.car_files import write_car
from tests.unit.corners import POINTS


def findings(folder, points, **keys):
    car = kin3d.load(write_car(folder, points, rod_on="lower arm", **({"loaded_radius_mm": 262.0} | keys)))
    return {f.code: f.text for f in (*car.findings, *check_axle(car, "front").findings) if f.severity == "warning"}


def test_a_sound_corner_has_no_warning(tmp_path):
    points = POINTS | {"spring_outer": (0, 240, 460), "spring_inner": (-10, 20, 440)}
    assert findings(tmp_path, points) == {}


def test_spring_that_lengthens_in_bump(tmp_path):
    wrong_side = POINTS | {"spring_outer": (0, 240, 460), "spring_inner": (-10, 480, 440)}
    said = findings(tmp_path, wrong_side)
    assert set(said) == {"spring-lengthens"}
    assert "the spring gets longer in bump (motion ratio -" in said["spring-lengthens"]
    assert "look at spring_outer" in said["spring-lengthens"]


def test_rod_nearly_in_line_with_its_rocker_arm(tmp_path):
    said = findings(tmp_path, POINTS | {"rod_outer": np.add(POINTS["rod_inner"], (5.0, 60.0, 130.0))})
    assert "the rod is nearly in line with its rocker arm (" in said["rod-in-line"]
    assert "20° or more is usual" in said["rod-in-line"]


def test_pickup_below_the_ground(tmp_path):
    said = findings(tmp_path, POINTS, loaded_radius_mm=62.0)
    assert said["below-ground"].startswith("lower_outer is 35 mm below the ground that the loaded radius (62 mm) gives")
    assert "look at loaded_radius_mm, the units" in said["below-ground"]


def test_wheel_centre_below_all_pickups(tmp_path):
    said = findings(tmp_path, POINTS | {"wheel_centre": (0, 750, 140), "wheel_axis": (0, 850, 137)})
    start = "every pickup point is above the wheel centre, lower_outer as the lowest by 25 mm"
    assert said["above-wheel"].startswith(start)


def test_travel_that_ends_early(tmp_path):
    said = findings(tmp_path, POINTS | {"rod_inner": (0, 280, 409)})
    assert "ends early: travel" in said["short-reach"]
    assert "are in line there" in said["short-reach"]


def test_ball_joints_that_were_exchanged(tmp_path):
    said = findings(tmp_path, POINTS | {"lower_outer": POINTS["upper_outer"], "upper_outer": POINTS["lower_outer"]})
    assert said["steering-axis-down"].startswith("the steering axis runs downwards: upper_outer is at z = 165 mm")
    assert "have the two been exchanged?" in said["steering-axis-down"]
