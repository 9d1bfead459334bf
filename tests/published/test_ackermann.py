"""Ackermann steering: cot(outer) - cot(inner) = w/L, w between the kingpins (ISO 8855:2011, 7.1.9, in
words).

Public exercise: L 2.6 m, w 1.5 m, inner 28 deg; outer 22.1411 deg (result own). Davis steering gear:
tan(alpha) = c/(2b), inputs 1.2 and 2.7 m and the formula in a public worked script (book not identified;
Khurmi, *Theory of Machines*, from memory); 12.53 deg, its printed output not seen.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from tests.car_files import write_car
from tests.oracles.hand_corners import with_locks
from tests.sweeps import Swept

LAYOUT = Path(__file__).parent / "layouts" / "davis.toml"


def cot(angle_deg: np.ndarray | float) -> np.ndarray | float:
    return 1.0 / np.tan(np.radians(angle_deg))


def outer_deg(inner_deg: float, kingpins: float, wheelbase: float) -> float:
    return float(np.degrees(np.arctan(1.0 / (cot(inner_deg) + kingpins / wheelbase))))


def test_lock_of_the_exercise(tmp_path: Path) -> None:
    """A tie link drawn for the two locks gives them, left inner and right outer, at one place of the rack."""
    outer = outer_deg(28.0, 1500.0, 2600.0)
    assert outer == pytest.approx(22.1411, rel=0, abs=5e-5)
    car = write_car(tmp_path, with_locks(28.0, outer, 750.0, -60.0))
    left, right = (Swept(car, 0.0, [-60.0, 60.0], side=s)["steer_deg"][0] for s in ("left", "right"))
    np.testing.assert_allclose(left, [28.0, -outer], rtol=0, atol=1e-8)
    np.testing.assert_allclose(right, [outer, -28.0], rtol=0, atol=1e-8)


def davis_corner(kingpins: float, arm_deg: float) -> dict[str, np.ndarray]:
    """Corner with upright kingpins whose steering arms, ahead of the axle, point inboard by `arm_deg`."""
    points = with_locks(20.0, 18.0, kingpins / 2.0, -50.0)
    del points["tie_inner"], points["tie_outer"]
    pin = np.array([1000.0, kingpins / 2.0, 180.0])
    along = np.array([1.0, -np.tan(np.radians(arm_deg)), 0.0])
    shoe = pin + 150.0 * along
    side, ahead = np.array([0.0, 120.0, 0.0]), np.array([70.0, 0.0, 0.0])
    points |= {"arm_root": pin + 60.0 * along, "arm_end": pin + 240.0 * along, "shoe": shoe}
    return points | {"rack_1": shoe - side - ahead, "rack_2": shoe - side + ahead}


def test_davis_gear_is_exact_at_every_lock(tmp_path: Path) -> None:
    kingpins, wheelbase = 1200.0, 2700.0
    arm = np.degrees(np.arctan(kingpins / (2.0 * wheelbase)))
    assert arm == pytest.approx(12.53, rel=0, abs=5e-3)
    car = write_car(tmp_path, davis_corner(kingpins, arm), layout=str(LAYOUT))
    rack = np.array([5.0, 25.0, 50.0, 75.0])  # ahead of the axle, to the left: a left turn
    left, right = (Swept(car, 0.0, rack, side=s)["steer_deg"][0] for s in ("left", "right"))
    assert (left > right).all()
    assert (right > 0).all()
    np.testing.assert_allclose(cot(right) - cot(left), kingpins / wheelbase, rtol=0, atol=1e-10)
    by_hand = np.degrees(np.arctan(rack / 150.0 - np.tan(np.radians(arm)))) + arm
    np.testing.assert_allclose(left, by_hand, rtol=0, atol=1e-9)
