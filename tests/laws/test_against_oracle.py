"""The kernel against another formulation: five rods and a rotation vector, a rocker in closed form.

Seeded corners, believable ones with up to 12 mm of scatter on every coordinate, over travel and rack, both
sides.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from tests.car_files import write_car
from tests.oracles import five_rod, whole_corner
from tests.oracles.corners import CORNERS, scattered
from tests.sweeps import Swept

CLOSE = {"rtol": 0, "atol": 1e-8}
TRAVEL, RACK = np.linspace(-35.0, 35.0, 8), np.array([-9.0, 0.0, 12.0])
STATIC = {"camber_deg": -2.5, "toe_deg": 0.3}
MIRROR = np.array([1.0, -1.0, 1.0])


def reference(points: dict[str, np.ndarray], rod_on: str, side: int) -> dict[str, np.ndarray]:
    """Measures of one side, shape (travel, rack), by the independent solvers; right: mirrored points."""
    here = points if side > 0 else {n: p * MIRROR for n, p in points.items()}
    spin = five_rod.spin_from_angles(STATIC["camber_deg"], STATIC["toe_deg"], side)
    travel, rack = (g.ravel() for g in np.meshgrid(TRAVEL, RACK, indexing="ij"))
    corner = whole_corner.solve(here, rod_on, spin, travel, rack)
    wheel = corner.at["wheel_centre"]
    found = {f"wheel_{axis}_mm": wheel[:, k] for k, axis in enumerate("xyz")}
    found |= {"camber_deg": five_rod.camber_deg(corner.spin), "toe_deg": five_rod.toe_deg(corner.spin, side)}
    found |= {"spring_length_mm": corner.spring, "rocker_deg": np.degrees(corner.rocker)}
    return {name: values.reshape(len(TRAVEL), len(RACK)) for name, values in found.items()}


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("rod_on", CORNERS)
def test_corner(tmp_path: Path, rod_on: str, seed: int) -> None:
    points = scattered(rod_on, np.random.default_rng(seed))
    car = write_car(tmp_path, points, rod_on=rod_on, **STATIC)
    for side, sign in (("left", 1), ("right", -1)):
        swept = Swept(car, TRAVEL, RACK, side=side)
        for name, expected in reference(points, rod_on, sign).items():
            np.testing.assert_allclose(swept[name], expected, **CLOSE, err_msg=f"{side} {name}")


@pytest.mark.parametrize("seed", range(3))
def test_motion_ratio_by_differences(tmp_path: Path, seed: int) -> None:
    """Motion ratio and its slope against extrapolated differences of the independent spring length."""
    points = scattered("lower arm", np.random.default_rng(100 + seed))
    swept = Swept(write_car(tmp_path, points, rod_on="lower arm"), [-20.0, 0.0, 20.0])
    spin = five_rod.spin_from_angles(0.0, 0.0)

    def length(shift: float) -> np.ndarray:
        return whole_corner.solve(points, "lower arm", spin, np.array([-20.0, 0.0, 20.0]) + shift).spring

    at = {h: length(h) for h in (-1.0, -0.5, 0.0, 0.5, 1.0)}
    ratio = (8.0 * (at[-0.5] - at[0.5]) - (at[-1.0] - at[1.0])) / 6.0
    slope = -(16.0 * (at[0.5] + at[-0.5]) - (at[1.0] + at[-1.0]) - 30.0 * at[0.0]) / 3.0
    np.testing.assert_allclose(swept.line("motion_ratio"), ratio, rtol=0, atol=1e-8)
    np.testing.assert_allclose(swept.line("motion_ratio_slope_per_mm"), slope, rtol=0, atol=1e-8)
