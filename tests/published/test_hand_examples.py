"""Hand calculations on corners drawn for them.

Anti-dive: web page after H. Adams, *Chassis Engineering* (1993, from memory): 25 % with 60 % front braking,
wheelbase 2550 and height 600 mm needs 5.6 deg. Formula 100 p (L/h) tan(phi): Milliken and Milliken, *Race Car
Vehicle Dynamics* (1995), ch. 17, from memory; other cases: the same statics by hand. Camber rate 1/fvsa and
roll centre from the lines: all textbooks, from memory.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from tests.car_files import write_car
from tests.oracles.hand_corners import HALF_TRACK, RADIUS, X, with_front_centre, with_side_centre
from tests.sweeps import Swept

ADAMS = {"wheelbase_mm": 2550.0, "cg_height_mm": 600.0, "front_brake_share": 0.6}
BACK = 1500.0  # side-view instant centre behind the wheel
SLOPE = 0.25 * 600.0 / (0.6 * 2550.0)


def braking(tmp_path: Path, brakes: str) -> float:
    car = write_car(tmp_path, with_side_centre(X - BACK, BACK * SLOPE), car=ADAMS | {"brakes": brakes})
    return Swept(car, 0.0).one("anti_dive_pct")


def test_anti_dive_of_a_quarter(tmp_path: Path) -> None:
    """Trap: h/L in place of L/h, seen in print, gives 1.4 %."""
    assert np.degrees(np.arctan(SLOPE)) == pytest.approx(5.5993, rel=0, abs=5e-5)
    assert braking(tmp_path, "outboard") == pytest.approx(25.0, rel=0, abs=1e-9)


def test_inboard_brakes_turn_the_sign(tmp_path: Path) -> None:
    """Trap: torque taken by the chassis: the slope is the wheel centre's, and this centre lies below it."""
    below = (BACK * SLOPE - RADIUS) / BACK
    expected = 100.0 * 0.6 * 2550.0 / 600.0 * below
    assert expected < -20.0
    assert braking(tmp_path, "inboard") == pytest.approx(expected, rel=0, abs=1e-9)


@pytest.mark.parametrize("height", [150.0, 400.0])
def test_rear_axle(tmp_path: Path, height: float) -> None:
    """Side-view centre ahead of a rear wheel: anti-lift by its height, anti-squat by that over the wheel."""
    points = with_side_centre(X + BACK, height)
    car = write_car(tmp_path, points, axle="rear", car=ADAMS | {"drive": "rear"}, loaded_radius_mm=RADIUS)
    swept = Swept(car, 0.0, axle="rear")
    lift, squat = 100.0 * 0.4 * 4.25 * height / BACK, 100.0 * 4.25 * (height - RADIUS) / BACK
    assert swept.one("anti_lift_pct") == pytest.approx(lift, rel=0, abs=1e-9)
    assert swept.one("anti_squat_pct") == pytest.approx(squat, rel=0, abs=1e-9)


def test_driven_front_axle(tmp_path: Path) -> None:
    """Side-view centre behind a driven front wheel and over its centre: the nose is held down."""
    keys = ADAMS | {"drive": "all", "front_drive_share": 0.3}
    swept = Swept(write_car(tmp_path, with_side_centre(X - BACK, 400.0), car=keys), 0.0)
    expected = 100.0 * 0.3 * 4.25 * (400.0 - RADIUS) / BACK
    assert swept.one("anti_lift_pct") == pytest.approx(expected, rel=0, abs=1e-9)


def test_steering_axis(tmp_path: Path) -> None:
    """Top of the axis rearward and inboard: both positive; it meets the ground ahead of the contact point."""
    points = with_front_centre(-900.0, 50.0)
    caster, kingpin, rise = np.radians(5.0), np.radians(8.0), 270.0
    points["upper_outer"] = points["lower_outer"] + rise * np.array([-np.tan(caster), -np.tan(kingpin), 1.0])
    swept = Swept(write_car(tmp_path, points), 0.0)
    drop = points["lower_outer"][2]
    scrub = HALF_TRACK - points["lower_outer"][1] - drop * np.tan(kingpin)
    names = ("caster_deg", "kingpin_deg", "caster_trail_mm", "scrub_radius_mm")
    expected = (5.0, 8.0, drop * np.tan(caster), scrub)
    np.testing.assert_allclose([swept.one(n) for n in names], expected, rtol=0, atol=1e-9)


def test_side_view_centre_is_where_it_was_drawn(tmp_path: Path) -> None:
    swept = Swept(write_car(tmp_path, with_side_centre(X - BACK, BACK * SLOPE)), 0.0)
    found = [swept.one("side_ic_x_mm"), swept.one("side_ic_z_mm")]
    np.testing.assert_allclose(found, [X - BACK, BACK * SLOPE], rtol=0, atol=1e-8)


def test_camber_rate_is_per_length(tmp_path: Path) -> None:
    """Trap: atan(1/fvsa) of a swing arm of 1.332 m is printed as 36.897 deg; it is 0.043015 deg per mm."""
    arm, step = 1332.0, 0.05
    swept = Swept(write_car(tmp_path, with_front_centre(HALF_TRACK - arm, 80.0)), [-step, step])
    rate = np.diff(swept.line("camber_deg")).item() / (2.0 * step)
    assert rate == pytest.approx(-0.043015, rel=0, abs=5e-7)
    assert rate == pytest.approx(-np.degrees(1.0 / arm), rel=1e-6, abs=0)


@pytest.mark.parametrize("height", [120.0, -120.0])
def test_roll_centre_sign(tmp_path: Path, height: float) -> None:
    """Trap: above the ground, where the track grows in bump, it is positive; below, negative."""
    centre_y, step = -800.0, 0.05
    swept = Swept(write_car(tmp_path, with_front_centre(centre_y, height)), [-step, 0.0, step])
    expected = height * HALF_TRACK / (HALF_TRACK - centre_y)
    found = swept.line("roll_centre_height_mm")
    assert found[1] == pytest.approx(expected, rel=0, abs=1e-8)
    widening = np.diff(swept.line("contact_y_mm")[::2]).item() / (2.0 * step)
    assert np.sign(widening) == np.sign(height)
    centre = [swept.line("front_ic_y_mm")[1], swept.line("front_ic_z_mm")[1]]
    np.testing.assert_allclose(centre, [centre_y, height], rtol=0, atol=1e-8)
