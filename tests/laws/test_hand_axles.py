"""Axles by hand: roll axes through two points, a torque tube's anti-squat, a twist beam's and an arm's turning.

A symmetric axle in roll, heave held, turns about a line in the car's middle plane. It goes through every point there
that cannot move sideways: a ball at the chassis, the middle of a Watt crank, where a Panhard rod crosses the plane,
where two links that mirror one another meet (construction: W. Matschinsky, Radführungen der Straßenfahrzeuge, live
axles; from memory). The roll centre is where the line meets the plane through the contact points.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.optimize import brentq
from scipy.spatial.transform import Rotation

import kin3d
from kin3d.linkage.layout_file import builtin
from tests.kinds import demo_car
from tests.oracles.five_rod import spin_from_angles

UPPER = {"upper_chassis": (420.0, 0.0, 420.0), "upper_axle": (-10.0, 0.0, 430.0)}
SPIN = spin_from_angles(-1.0, 0.1)
RADIUS = 290.0


def middle(a: tuple[float, ...], b: tuple[float, ...]) -> np.ndarray:
    """Where the line through two points meets the car's middle plane."""
    p, q = np.array(a), np.array(b)
    return p + (q - p) * p[1] / (p[1] - q[1])


def contact(centre: np.ndarray, spin: np.ndarray) -> np.ndarray:
    down = np.array([0.0, 0.0, 1.0]) - spin[2] * spin
    return centre - RADIUS * down / np.linalg.norm(down)


AXES = {
    "torque tube axle": (
        {},
        lambda at: (np.array(at["ball"]), middle(at["panhard_chassis"], at["panhard_axle"])),
    ),
    "live axle with panhard rod": (
        UPPER,
        lambda at: (
            middle(at["lower_inner"], at["lower_outer"]),
            middle(at["panhard_chassis"], at["panhard_axle"]),
        ),
    ),
    "live axle with triangulated links": (
        {},
        lambda at: (middle(at["lower_inner"], at["lower_outer"]), middle(at["upper_inner"], at["upper_outer"])),
    ),
    "live axle with watt linkage": (
        UPPER,
        lambda at: (
            middle(at["lower_inner"], at["lower_outer"]),
            np.array([at["watt_top"][0], 0.0, at["watt_axis_1"][2]]),
        ),
    ),
    "de dion axle": (
        {},
        lambda at: (middle(at["link_inner"], at["link_outer"]), np.array(at["bracket_ball"])),
    ),
}


@pytest.mark.parametrize("kind", AXES)
def test_roll_centre_by_the_roll_axis(tmp_path: Path, kind: str) -> None:
    moved, axis = AXES[kind]
    at = dict(builtin(kind).demo) | moved
    a, b = axis(at)
    foot = contact(np.array(at["wheel_centre"], float), SPIN)
    height = a[2] + (b[2] - a[2]) * (foot[0] - a[0]) / (b[0] - a[0]) - foot[2]
    found = kin3d.sweep(demo_car(tmp_path, kind, **moved), "rear", travel=0.0).values
    assert_allclose(found["roll_centre_height_mm"].ravel(), height, rtol=0, atol=1e-8)
    assert_allclose(found["roll_centre_offset_mm"].ravel(), 0.0, rtol=0, atol=1e-8)


def test_watts_linkage_moves_in_a_straight_line(tmp_path: Path) -> None:
    """The crank's pivot, and the axle with it, keeps its place across the car; a Panhard rod draws it along its arc."""
    across = {}
    for kind in ("live axle with watt linkage", "live axle with panhard rod"):
        level = {} if "watt" in kind else {"panhard_axle": (-110.0, 480.0, 280.0)}
        car = demo_car(tmp_path / kind, kind, **UPPER, **level)
        found = kin3d.sweep(car, "rear", travel=[0.0, 40.0]).values["wheel_y_mm"]
        across[kind] = float(np.ptp(found[:, 0].mean(axis=-1)))
    assert across["live axle with watt linkage"] < 1e-3
    # a level rod of 1000 mm whose end rises by 40 mm comes in by 1000 − √(1000² − 40²) mm
    assert abs(across["live axle with panhard rod"] - (1000.0 - np.sqrt(1000.0**2 - 40.0**2))) < 0.05


@pytest.mark.parametrize(("drive", "from_z"), [("upright", 0.0), ("chassis", 300.0)])
def test_anti_squat_of_a_torque_tube(tmp_path: Path, drive: str, from_z: float) -> None:
    """In heave the axle turns about its ball: a line to it from the contact point, or from the wheel centre.

    100·(rise of the line over its length along the car)·wheelbase/height of the mass centre; W. F. Milliken and D. L.
    Milliken, Race Car Vehicle Dynamics, ch. 17; from memory. The Panhard rod lies level, so that nothing else moves.
    """
    flat = {"panhard_chassis": (-110.0, -520.0, 280.0), "panhard_axle": (-110.0, 480.0, 280.0)}
    car = demo_car(tmp_path, "torque tube axle", more=f'drive_torque = "{drive}"\n', **flat)
    start = contact(np.array([0.0, 750.0, 300.0]), SPIN) if drive == "upright" else np.array([0.0, 750.0, from_z])
    rise = (330.0 - start[2]) / (1150.0 - start[0])
    found = kin3d.sweep(car, "rear", travel=0.0).values["anti_squat_pct"].ravel()
    assert_allclose(found, 100.0 * rise * 2500.0 / 450.0, rtol=1e-9)


@pytest.mark.parametrize("axle", ["front", "rear"])
def test_torques_of_driving_and_braking_are_one_thing(tmp_path: Path, axle: str) -> None:
    """Where the upright takes both, driving and braking have the same line: anti values in the ratio of the shares."""
    car = demo_car(tmp_path, "multi link with toe link", axle, 'drive_torque = "upright"\n')  # type: ignore[arg-type]
    found = kin3d.sweep(car, axle, travel=[0.0, 20.0]).values  # type: ignore[arg-type]
    braking, driving = ("anti_dive_pct", "anti_lift_pct") if axle == "front" else ("anti_lift_pct", "anti_squat_pct")
    assert_allclose(found[braking], found[driving] * (0.6 if axle == "front" else 0.4), rtol=1e-12)
    inboard = demo_car(tmp_path, "multi link with toe link", axle, 'brake_torque = "chassis"\n')  # type: ignore[arg-type]
    chassis = kin3d.sweep(inboard, axle, travel=[0.0, 20.0]).values  # type: ignore[arg-type]
    assert_allclose(chassis[braking], chassis[driving] * (0.6 if axle == "front" else 0.4), rtol=1e-12)
    assert np.abs(chassis[braking] - found[braking]).min() > 1.0


def test_a_twist_beam_turns_its_wheels_about_bush_and_shear_centre(tmp_path: Path) -> None:
    """In roll each arm turns about the line from its bush to the middle of the shear axis, as a semi-trailing arm."""
    at = {n: np.array(p, float) for n, p in builtin("twist beam").demo.items()}
    turning = at["bush"] - at["shear_mid"]
    turning = turning / np.cross(turning, at["wheel_centre"] - at["shear_mid"])[2]  # 1 mm of travel
    camber = np.degrees(-np.cross(turning, SPIN)[2] / np.sqrt(1.0 - SPIN[2] ** 2))
    roll = 0.02
    found = kin3d.sweep(demo_car(tmp_path, "twist beam"), "rear", roll=[-roll, roll]).values
    lifted = np.ptp(found["wheel_z_mm"][..., 0])
    gained = found["camber_deg"][0, 1, 0, 0] - found["camber_deg"][0, 0, 0, 0]
    raised = found["wheel_z_mm"][0, 1, 0, 0] - found["wheel_z_mm"][0, 0, 0, 0]
    assert lifted > 0.1
    assert_allclose(gained / raised, camber, rtol=1e-5)


@pytest.mark.parametrize("travel", [-40.0, 35.0])
def test_a_semi_trailing_arm_turns_about_its_axis(tmp_path: Path, travel: float) -> None:
    at = {n: np.array(p, float) for n, p in builtin("semi trailing arm").demo.items()}
    axis = (at["arm_outer"] - at["arm_inner"]) / np.linalg.norm(at["arm_outer"] - at["arm_inner"])

    def turned(angle: float) -> Rotation:
        return Rotation.from_rotvec(angle * axis)

    def rise(angle: float) -> float:
        arm = at["wheel_centre"] - at["arm_inner"]
        return float((turned(angle).apply(arm) - arm)[2] - travel)

    spin = turned(brentq(rise, -0.3, 0.3, xtol=1e-15)).apply(SPIN)
    found = kin3d.sweep(demo_car(tmp_path, "semi trailing arm"), "rear", travel=travel).values
    assert_allclose(found["camber_deg"].ravel(), np.degrees(-np.arcsin(spin[2])), rtol=0, atol=1e-9)
    assert_allclose(found["toe_deg"].ravel(), np.degrees(np.arctan2(spin[0], spin[1])), rtol=0, atol=1e-9)
