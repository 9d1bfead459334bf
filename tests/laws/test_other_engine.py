"""Another engine closes the same linkage: pinocchio, a general robotics library, on the same travel and rack.

It knows joint angles and loop closures; nothing of points, bodies or natural coordinates.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

import kin3d
from tests.car_files import write_car
from tests.oracles.corners import CORNERS, corner, scattered
from tests.oracles.robot_engine import RobotCorner
from tests.sweeps import Swept

TRAVEL, RACK = np.linspace(-30.0, 30.0, 13), np.array([-8.0, 0.0, 8.0])
MODELS = Path(__file__).parents[2] / "models"


def by_robot(points: dict[str, np.ndarray], rod_on: str, rack: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Wheel centre (travel, rack, 3) and spring length (travel, rack), mm, walking from design."""
    wheel, spring = np.empty((len(TRAVEL), len(rack), 3)), np.empty((len(TRAVEL), len(rack)))
    for column, shift in enumerate(rack):
        for half in (TRAVEL >= 0, TRAVEL < 0):
            robot = RobotCorner(points, rod_on)
            for part in (0.25, 0.5, 0.75):
                robot.move(0.0, part * shift)
            for row in sorted(np.flatnonzero(half), key=lambda k: abs(TRAVEL[k])):
                wheel[row, column], spring[row, column] = robot.move(float(TRAVEL[row]), float(shift))
    return wheel, spring


def agree(
    car: Path, points: dict[str, np.ndarray], rod_on: str, rack: np.ndarray, axle: str = "front", side: str = "left"
) -> None:
    wheel, spring = by_robot(points, rod_on, rack)
    swept = Swept(car, TRAVEL, rack, side, axle)
    np.testing.assert_allclose(swept.wheel_centre(), wheel, rtol=0, atol=1e-7)
    np.testing.assert_allclose(swept["spring_length_mm"], spring, rtol=0, atol=1e-7)


@pytest.mark.parametrize("rod_on", CORNERS)
@pytest.mark.parametrize("seed", [None, 7])
def test_invented_corner(tmp_path: Path, rod_on: str, seed: int | None) -> None:
    points = corner(rod_on) if seed is None else scattered(rod_on, np.random.default_rng(seed))
    agree(write_car(tmp_path, points, rod_on=rod_on), points, rod_on, RACK)


@pytest.mark.parametrize("axle", ["front", "rear"])
@pytest.mark.parametrize("name", ["dunlin", "plover"])
def test_demo_car(name: str, axle: str) -> None:
    path = MODELS / name / "car.toml"
    given = getattr(kin3d.load(path), axle)
    points = dict(zip(given.points.names, given.points.xyz_mm, strict=True))
    agree(path, points, given.rod_on, RACK if axle == "front" else RACK[1:2], axle, given.side)
