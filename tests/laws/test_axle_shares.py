"""Load shares: identity with anti values as designed, an independent free-body solve of all joint forces, monotony."""

from __future__ import annotations

import dataclasses
from pathlib import Path
from typing import Literal

import numpy as np
import pytest

import kin3d
from kin3d.linkage.car import Car
from kin3d.linkage.record import changed
from kin3d.studies.sweep import sweep
from tests.laws.axles import CORNER, moved, one_axle

DUNLIN = Path(__file__).parents[2] / "models" / "dunlin" / "car.toml"


def design(car: Car, name: str, axle: Literal["front", "rear"] = "front") -> float:
    return float(sweep(car, axle, roll=0.0).values[name].ravel()[0])


@pytest.mark.parametrize("axle", ["front", "rear"])
def test_as_designed_the_springs_take_what_the_links_leave(axle: Literal["front", "rear"]) -> None:
    car = kin3d.load(DUNLIN)
    anti = "anti_dive_pct" if axle == "front" else "anti_lift_pct"
    assert design(car, "spring_share_braking_pct", axle) == pytest.approx(
        100.0 - design(car, anti, axle), abs=1e-9, rel=0
    )
    height = design(car, "roll_centre_height_mm", axle)
    expected = 100.0 * (1.0 - height / 285.0)
    assert design(car, "spring_share_cornering_pct", axle) == pytest.approx(expected, abs=1e-9, rel=0)


def test_elsewhere_the_true_height_counts() -> None:
    """In heave the mass centre comes nearer to the ground: 100 − anti·(design height/height) of the same wheel."""
    car = kin3d.load(DUNLIN)
    result = sweep(car, "front", heave=15.0, roll=0.0)
    anti = float(result.values["anti_dive_pct"].ravel()[0])
    sunk = float(result.values["contact_z_mm"].ravel()[0]) - design(car, "contact_z_mm")
    expected = 100.0 - anti * 285.0 / (285.0 - sunk)
    found = float(result.values["spring_share_braking_pct"].ravel()[0])
    assert found == pytest.approx(expected, abs=1e-9, rel=0)
    assert abs(found - (100.0 - anti)) > 0.3


def rod_force(car: Car, force: np.ndarray, at_hub: bool) -> float:
    """Force in the push-rod under a force at the contact point or the wheel centre: all joints of the free bodies.

    Bodies: lower arm, upper arm, upright; links: tie link and rod. Unknown are three components at every joint of the
    arms and the axial force of both links; least squares picks a split along the arms' pivots, as none is determined.
    """
    front = car.front
    assert front is not None
    p = {n: front.points[n] for n in front.points.names}
    swept = kin3d.sweep(car, "front", 0.0).dataset().sel(side="left")
    foot = np.array([float(swept[f"contact_{k}_mm"].item()) for k in "xyz"])
    where = p["wheel_centre"] if at_hub else foot
    joints = ["lower_front", "lower_rear", "lower_outer", "upper_front", "upper_rear", "upper_outer"]
    links = [("tie_outer", "tie_inner"), ("rod_outer", "rod_inner")]
    rows = {"lower": 0, "upper": 6, "upright": 12}
    matrix, right = np.zeros((18, 20)), np.zeros(18)

    def put(body: str, column: int, place: np.ndarray, directions: np.ndarray) -> None:
        row = rows[body]
        matrix[row : row + 3, column : column + len(directions)] += directions.T
        matrix[row + 3 : row + 6, column : column + len(directions)] += np.cross(place, directions).T / 100.0

    for k, joint in enumerate(joints):
        put(joint.split("_")[0], 3 * k, p[joint], np.eye(3))
        if joint.endswith("outer"):
            put("upright", 3 * k, p[joint], -np.eye(3))
    for k, (here, there) in enumerate(links):
        along = (p[here] - p[there]) / np.linalg.norm(p[here] - p[there])
        put("upright" if here == "tie_outer" else "lower", 18 + k, p[here], along[None])
    right[12:15], right[15:18] = -force, -np.cross(where, force) / 100.0
    found, *_ = np.linalg.lstsq(matrix, right, rcond=None)
    assert np.abs(matrix @ found - right).max() < 1e-9
    return float(found[19])


@pytest.mark.parametrize("brakes", ["outboard", "inboard"])
def test_braking_against_a_free_body_solve(brakes: Literal["outboard", "inboard"]) -> None:
    read = kin3d.load(DUNLIN)
    car = changed(read, data=changed(read.data, brakes=brakes))
    transfer = 0.5 * 285.0 / 2380.0
    up, back = np.array([0.0, 0.0, transfer]), np.array([-0.31, 0.0, 0.0])
    whole = rod_force(car, up, False) + rod_force(car, back, brakes == "inboard")
    expected = 100.0 * whole / rod_force(car, up, False)
    assert design(car, "spring_share_braking_pct") == pytest.approx(expected, abs=1e-9, rel=0)
    if brakes == "outboard":
        assert design(car, "anti_dive_pct") == pytest.approx(100.0 - expected, abs=1e-9, rel=0)
    else:
        # the wheel centre rises with the travel, the contact point of the cambered wheel by a per mille less
        alone = rod_force(car, up, False) / rod_force(car, up, True)
        assert design(car, "anti_dive_pct") == pytest.approx((100.0 - expected) * alone, abs=1e-9, rel=0)


def test_cornering_against_a_free_body_solve() -> None:
    """The right wheel is the outer one of a left turn; by mirror image the left wheel with its force to the right."""
    car = kin3d.load(DUNLIN)
    track = design(car, "track_mm")
    up, inward = np.array([0.0, 0.0, 285.0 / track]), np.array([0.0, -0.5, 0.0])
    alone = rod_force(car, up, False)
    expected = 100.0 * (alone + rod_force(car, inward, False)) / alone
    assert design(car, "spring_share_cornering_pct") == pytest.approx(expected, abs=1e-9, rel=0)
    assert design(car, "jacking_coefficient") == pytest.approx(
        -rod_force(car, inward, False) / alone * 285.0 / track / 0.5, abs=1e-9, rel=0
    )


def test_more_anti_dive_leaves_less_braking_load_to_the_springs(tmp_path: Path) -> None:
    """Common practice, no source: the upper arm's front joint lowered step by step on the demo car."""
    read = kin3d.load(DUNLIN)
    antis, shares = [], []
    for down in (0.0, 3.0, 6.0):
        front = read.front
        assert front is not None
        places = front.points.xyz_mm - np.array([[0.0, 0.0, down * (n == "upper_front")] for n in front.points.names])
        table = dataclasses.replace(front.points, xyz_mm=places)
        car = changed(read, front=changed(front, points=table))
        antis.append(design(car, "anti_dive_pct"))
        shares.append(design(car, "spring_load_braking_n_per_g"))
    assert (np.diff(antis) > 0.0).all() or (np.diff(antis) < 0.0).all()
    assert (np.diff(antis) * np.diff(shares) < 0.0).all()


def test_anti_dive_of_the_hand_example(tmp_path: Path) -> None:
    """Worked example after H. Adams, Chassis Engineering (found on the web): 60 %, 2550 mm, 600 mm, 5.6 deg: 25 %.

    Parallel level arms whose pivots climb to the rear at the support angle carry the upright straight along it.
    """
    slope = np.tan(np.radians(5.5993))
    level = {
        "lower_front": (100, 300, 160),
        "lower_rear": (-100, 300, 160 + 200 * slope),
        "lower_outer": (0, 700, 160 + 100 * slope),
        "upper_front": (100, 300, 360),
        "upper_rear": (-100, 300, 360 + 200 * slope),
        "upper_outer": (0, 700, 360 + 100 * slope),
        "tie_inner": (90, 300, 160 + 10 * slope),
        "tie_outer": (90, 700, 160 + 10 * slope),
        "wheel_centre": (0, 750, 262),
    }
    data = {"wheelbase_mm": 2550.0, "cg_height_mm": 600.0, "front_brake_share": 0.6}
    car = one_axle(tmp_path, level, rod_on="", camber_deg=0.0, car=data)
    assert design(car, "anti_dive_pct") == pytest.approx(25.0, abs=0.001, rel=0)
    assert design(car, "support_angle_braking_deg") == pytest.approx(5.5993, abs=1e-9, rel=0)
    assert design(car, "spring_share_braking_pct") == pytest.approx(75.0, abs=0.001, rel=0)


def test_what_is_missing_is_said(tmp_path: Path) -> None:
    car = one_axle(tmp_path, moved(CORNER, (), (0, 0, 0)))
    bare = changed(car, data=changed(car.data, cg_height_mm=None, mass_kg=None))
    left_out = sweep(bare, "front", roll=0.0).left_out
    assert left_out["spring_share_braking_pct"] == "[car] cg_height_mm is not given"
    assert left_out["spring_share_cornering_pct"] == "[car] cg_height_mm is not given"
    assert left_out["spring_share_driving_pct"] == 'the front axle is not driven ([car] drive = "rear")'
