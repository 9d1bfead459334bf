"""Laws of the whole car on flat ground: four contact points on one plane, signs, roll axis, what is missing."""

from __future__ import annotations

import dataclasses
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import kin3d
from kin3d.linkage.car import Car
from kin3d.linkage.record import changed
from kin3d.studies.car import CarModel
from kin3d.studies.result import SweepResult
from kin3d.studies.sweep import sweep
from tests.laws.axles import one_axle

DUNLIN = Path(__file__).parents[2] / "models" / "dunlin" / "car.toml"


@pytest.fixture(scope="module")
def dunlin() -> Car:
    return kin3d.load(DUNLIN)


def both(car: Car, **drives: Any) -> dict[str, SweepResult]:
    """The whole car on the ground, seen from each axle."""
    return {axle: sweep(car, axle, **({"pitch": 0.0} | drives)) for axle in ("front", "rear")}


def test_four_contact_points_on_the_plane_of_pitch_and_roll(dunlin: Car) -> None:
    """The body turns by pitch (nose down) and roll (left up): points that the body's turn puts at one height.

    Pitch counts from the design position, where cambered wheels stand on a ground that the points' frame sees inclined.
    """
    roll = -1.1
    result = both(dunlin, heave=4.0, pitch=0.8, roll=roll, rack=6.0)
    pitch = 0.8 + float(np.degrees(CarModel.of(dunlin).pitch_rad))
    p = np.concatenate([np.stack([r.values[f"contact_{a}_mm"].ravel() for a in "xyz"], axis=-1)
                        for r in result.values()])  # fmt: skip
    cp, sp, cr, sr = *(f(np.radians(pitch)) for f in (np.cos, np.sin)), *(f(np.radians(roll)) for f in (np.cos, np.sin))
    body = np.array([[cp, 0, sp], [0, 1, 0], [-sp, 0, cp]]) @ np.array([[1, 0, 0], [0, cr, -sr], [0, sr, cr]])
    heights = (p @ body.T)[:, 2]
    np.testing.assert_allclose(heights, heights.mean(), rtol=0, atol=1e-9)
    travel = np.concatenate([result["front"].values["wheel_z_mm"].ravel() - 260.0,
                             result["rear"].values["wheel_z_mm"].ravel() - 267.0])  # fmt: skip
    np.testing.assert_allclose(travel.mean(), 4.0, rtol=0, atol=1e-9)
    assert travel[:2].mean() > 4.0 > travel[2:].mean()  # nose down: front wheels in bump


def test_without_drives_every_wheel_is_in_its_design_position(dunlin: Car) -> None:
    """Also where the points stand on a slope: one axle's origin is 25 mm higher than the other's."""
    rear = dunlin.rear
    assert rear is not None
    table = dataclasses.replace(rear.points, xyz_mm=rear.points.xyz_mm + np.array([0.0, 0.0, 25.0]))
    raked = changed(dunlin, rear=changed(rear, points=table))
    for car, radius, up in ((dunlin, 267.0, 0.0), (raked, 267.0, 25.0)):
        result = both(car)
        np.testing.assert_allclose(result["front"].values["wheel_z_mm"], 260.0, rtol=0, atol=1e-9)
        np.testing.assert_allclose(result["rear"].values["wheel_z_mm"], radius + up, rtol=0, atol=1e-9)
    slope = CarModel.of(raked).pitch_rad
    assert slope == pytest.approx(-25.0 / 2380.0, rel=0.02, abs=0)


def test_roll_axis_goes_through_both_roll_centres(dunlin: Car) -> None:
    front, rear = (sweep(dunlin, a, roll=0.0).values["roll_centre_height_mm"].ravel()[0] for a in ("front", "rear"))
    result = both(dunlin)["front"]
    feet = [sweep(dunlin, a, roll=0.0).values["contact_x_mm"].mean() for a in ("front", "rear")]
    expected = np.degrees(np.arctan((rear - front) / (feet[0] - feet[1])))
    # the ground of the car is inclined to the points' frame by 0.004 deg, that of one axle is not
    np.testing.assert_allclose(result.values["roll_axis_deg"], expected, rtol=0, atol=1e-4)
    at_centre = 0.42 * front + 0.58 * rear
    np.testing.assert_allclose(result.values["roll_axis_height_mm"], at_centre, rtol=0, atol=1e-4)
    assert expected > 0.0  # lower at the front


def test_rack_steers_the_front_wheels_alone(dunlin: Car) -> None:
    result = both(dunlin, rack=[0.0, 10.0])
    assert abs(np.diff(result["front"].values["steer_deg"], axis=3)).min() > 3.0
    np.testing.assert_allclose(np.diff(result["rear"].values["steer_deg"], axis=3), 0.0, rtol=0, atol=0.05)


def test_each_axle_with_an_origin_of_its_own_is_placed_on_the_wheelbase(dunlin: Car) -> None:
    rear = dunlin.rear
    assert rear is not None
    table = dataclasses.replace(rear.points, xyz_mm=rear.points.xyz_mm + np.array([2380.0, 0.0, 0.0]))
    own = changed(dunlin, rear=changed(rear, points=table))
    a, b = (both(c, heave=3.0, pitch=0.5, roll=1.0) for c in (dunlin, own))
    for name in ("camber_ground_deg", "roll_axis_deg", "wheelbase_change_mm"):
        np.testing.assert_allclose(a["rear"].values[name], b["rear"].values[name], rtol=0, atol=1e-9, err_msg=name)
    assert "the rear axle 2380 mm behind the front one" in str(b["front"].findings[0])
    assert not [f for f in a["front"].findings if f.code == "rear-placed"]


def test_points_and_wheelbase_that_differ_are_told(dunlin: Car) -> None:
    other = changed(dunlin, data=changed(dunlin.data, wheelbase_mm=2400.0))
    text = str(sweep(other, "front", pitch=0.0).findings[0])
    assert "is 2400, but the points place the rear wheels 2380 mm behind the front ones" in text


def test_missing_car_data(dunlin: Car, tmp_path: Path) -> None:
    with pytest.raises(kin3d.Kin3dError, match=r"has no \[rear\] axle; pitch and the attitude of the whole car"):
        sweep(one_axle(tmp_path), pitch=0.0)
    bare = changed(dunlin, data=changed(dunlin.data, front_mass_share=None, cg_height_mm=None))
    result = sweep(bare, "front", pitch=0.0)
    assert result.left_out["roll_axis_height_mm"] == "[car] front_mass_share is not given"
    assert result.left_out["anti_dive_pct"] == "[car] cg_height_mm is not given"
    assert "roll_axis_height_mm" not in result.values


def test_no_measure_named_is_refused(dunlin: Car) -> None:
    with pytest.raises(kin3d.Kin3dError, match="no measure is named"):
        sweep(dunlin, pitch=0.0, measures=[])
