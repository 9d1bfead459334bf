"""The IAVSD road vehicle benchmark "Iltis" (about 1990-93; title and year from memory).

The points, lengths, force laws and the archive's joint angles are published. The table of positions was
computed from the points twice, with a five-rod Newton and a plane chain, which agree to 2e-6 deg. The
figures of the design position are exact rationals of the points.
"""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest

from tests.oracles import iltis
from tests.oracles.planar import exact, meet
from tests.published.data import ILTIS_ARCHIVE, ILTIS_TABLE
from tests.sweeps import Swept

CAR = Path(__file__).parent / "iltis" / "car.toml"
AHEAD = np.array([1.0, 0.0, 0.0])


def archive_angles(swept: Swept) -> tuple[float, float, float, float]:
    """q_upper, q_carrier, q_arm, q_steer of one position, from wheel centre and angles of the upright."""
    wheel, spin, axis = (v[0, 0] for v in (swept.wheel_centre(), swept.spin(), swept.steering_axis()))
    tilt = np.arctan2(axis[1], axis[2])
    design = iltis.UPPER_OUTER - iltis.LOWER_OUTER
    unsteered = iltis.about(AHEAD, np.arctan2(design[1], design[2]) - tilt, np.array([0.0, 1.0, 0.0]))
    flat, there = (v - axis * (axis @ v) for v in (unsteered, spin))
    steer = np.arctan2(axis @ np.cross(flat, there), flat @ there)

    def carried(point: np.ndarray) -> np.ndarray:
        roll = np.arctan2(design[1], design[2]) - tilt
        return wheel + iltis.about(axis, steer, iltis.about(AHEAD, roll, point - iltis.WHEEL))

    top, bottom = (
        carried(iltis.UPPER_OUTER) - iltis.UPPER_PIVOT,
        carried(iltis.LOWER_OUTER) - iltis.LOWER_PIVOT,
    )
    upper, elevation = np.arctan2(-top[2], top[1]), np.arctan2(bottom[2], bottom[1])
    return upper, tilt - upper, -elevation - tilt, -steer


@pytest.mark.parametrize(("rack", "upper", "carrier", "arm", "steer"), ILTIS_ARCHIVE)
def test_archive_rows(rack: float, upper: float, carrier: float, arm: float, steer: float) -> None:
    travel = iltis.solve(upper, -rack).wheel[2] - iltis.WHEEL[2]  # the archive shows the other side
    found = archive_angles(Swept(CAR, travel, -rack))
    np.testing.assert_allclose(found, (upper, carrier, arm, steer), rtol=0, atol=2e-7)


@pytest.mark.parametrize("row", ILTIS_TABLE, ids=lambda r: f"travel {r[0]} rack {r[1]}")
def test_table(row: tuple[float, ...]) -> None:
    swept = Swept(CAR, row[0], row[1])
    names = ("wheel_x_mm", "wheel_y_mm", "wheel_z_mm", "steer_deg", "camber_deg", "spring_length_mm")
    np.testing.assert_allclose([swept.one(n) for n in names], row[2:8], rtol=0, atol=1e-5)


@pytest.mark.parametrize("row", ILTIS_TABLE, ids=lambda r: f"travel {r[0]} rack {r[1]}")
def test_upper_joint_of_the_table(row: tuple[float, ...]) -> None:
    upper = archive_angles(Swept(CAR, row[0], row[1]))[0]
    length = np.linalg.norm(iltis.UPPER_OUTER - iltis.UPPER_PIVOT)
    rise = iltis.UPPER_PIVOT[2] - length * np.sin(upper) - iltis.UPPER_OUTER[2]
    np.testing.assert_allclose(rise, row[8], rtol=0, atol=1e-5)


def test_mirrored_side_has_the_mirrored_table() -> None:
    """Trap: rack, steer and the spin axis change sign from side to side; camber and lengths do not."""
    for travel, rack, x, y, z, steer, camber, damper, _ in ILTIS_TABLE:
        swept = Swept(CAR, travel, -rack, side="right")
        names = ("wheel_x_mm", "wheel_y_mm", "wheel_z_mm", "steer_deg", "camber_deg", "spring_length_mm")
        expected = (x, -y, z, -steer, camber, damper)
        np.testing.assert_allclose([swept.one(n) for n in names], expected, rtol=0, atol=1e-5)
        np.testing.assert_allclose(swept.one("toe_deg"), -steer, rtol=0, atol=1e-5)


def test_camber_is_the_true_inclination() -> None:
    """Trap: the front-view projection is another angle once the wheel steers; the table tells them apart."""
    travel, rack, *_, camber, _, _ = ILTIS_TABLE[7]
    spin = Swept(CAR, travel, rack).spin()[0, 0]
    projected = -np.degrees(np.arctan2(spin[2], spin[1]))
    assert abs(projected - camber) > 100 * 1e-5


def test_design_position_exactly() -> None:
    corner = {
        "lower": (exact(259, -268), exact(572, -341)),
        "upper": (exact("158.5", 30), exact(488, -39)),
    }
    centre = meet(*corner["lower"], *corner["upper"])
    assert centre == (Fraction(-27927051000, 2456500), Fraction(2401353000, 982600))
    ground = exact(615, -570)
    roll_centre = meet(centre, ground, exact(0, 0), exact(0, 1))[1] + 570
    assert roll_centre == Fraction(8094589000, 52333864)
    swept = Swept(CAR, 0.0)
    names = ("front_ic_y_mm", "front_ic_z_mm", "roll_centre_height_mm")
    expected = [float(v) for v in (*centre, roll_centre)]
    np.testing.assert_allclose([swept.one(n) for n in names], expected, rtol=1e-10, atol=0)


def test_design_position_steering_axis() -> None:
    swept = Swept(CAR, 0.0)
    np.testing.assert_allclose(swept.one("kingpin_deg"), 15.54367923, rtol=0, atol=5e-9)
    np.testing.assert_allclose(swept.one("scrub_radius_mm"), -20.69536, rtol=0, atol=5e-6)
    np.testing.assert_allclose([swept.one(n) for n in ("caster_deg", "caster_trail_mm")], 0.0, rtol=0, atol=1e-9)


def test_design_position_anti_dive_is_that_of_bump_steer() -> None:
    """The arms, parallel to x, carry none; yet the contact point moves as the wheel steers about the kingpin.

    Rate of steer and kingpin offset are the published ones: slope = rate times offset inboard of the kingpin.
    """
    slope = np.radians(0.01172417) * 20.69536
    expected = 100.0 * 0.6 * 2017.0 / 680.0 * slope
    np.testing.assert_allclose(Swept(CAR, 0.0).one("anti_dive_pct"), expected, rtol=0, atol=1e-6)


def test_design_position_rates() -> None:
    step = 0.05
    swept = Swept(CAR, [-step, step])
    names = ("wheel_y_mm", "camber_deg", "steer_deg")
    rates = [np.diff(swept.line(n)).item() / (2 * step) for n in names]
    np.testing.assert_allclose(rates, (0.22179218, -0.00478117, 0.01172417), rtol=0, atol=1e-8)


def leaf_to_height(force_n: float) -> float:
    """Height (mm, benchmark's origin) of the upper outer joint for a force of the leaf spring."""
    return 37.0 - 1e3 * (force_n / 35906.0 + 0.152)


def damper_force(length_mm: float) -> float:
    """Cubic law of the spring and damper unit at rest, N."""
    z = 1e-3 * length_mm
    return float(-4.0092e6 + 2.8397e7 * z - 6.7061e7 * z**2 + 5.2796e7 * z**3)


def test_force_laws_at_the_nominal_position() -> None:
    assert leaf_to_height(-2728.856) == pytest.approx(-39.0, rel=0, abs=1e-4)
    assert damper_force(Swept(CAR, 0.0).one("spring_length_mm")) == pytest.approx(-128.026, rel=0, abs=2e-3)


@pytest.mark.parametrize(("leaf_n", "damper_n"), [(-3068.62, -335.29), (-2885.51, -241.64)])
def test_published_pairs_of_leaf_and_damper_force(leaf_n: float, damper_n: float) -> None:
    """The leaf's force gives the joint's height, the linkage the damper's length, that the damper's force."""
    length = np.linalg.norm(iltis.UPPER_OUTER - iltis.UPPER_PIVOT)
    upper = float(np.arcsin((iltis.UPPER_PIVOT[2] - leaf_to_height(leaf_n)) / length))
    swept = Swept(CAR, iltis.solve(upper).wheel[2] - iltis.WHEEL[2])
    assert archive_angles(swept)[0] == pytest.approx(upper, rel=0, abs=1e-11)
    assert damper_force(swept.one("spring_length_mm")) == pytest.approx(damper_n, rel=0, abs=0.02)


def test_wheel_rate_is_not_the_ratio_squared_alone() -> None:
    """Wheel rate k MR² + F dMR/dz: 20 N/mm and 2000 N on the lower arm; the second term is a sixth of it."""
    swept = Swept(CAR, 0.0)
    ratio, slope = swept.one("motion_ratio"), swept.one("motion_ratio_slope_per_mm")
    np.testing.assert_allclose(ratio, 0.59142677, rtol=0, atol=5e-8)  # itself found by differences
    near, far = (iltis.at_height(-h).damper - iltis.at_height(h).damper for h in (0.5, 1.0))
    np.testing.assert_allclose(ratio, (8.0 * near - far) / 6.0, rtol=0, atol=1e-10)
    np.testing.assert_allclose(1e3 * slope, 0.62997, rtol=0, atol=5e-6)
    np.testing.assert_allclose(1e3 * swept.one("wheel_rate_n_per_mm"), 8255.66, rtol=0, atol=5e-3)
    np.testing.assert_allclose(1e3 * 20.0 * ratio**2, 6995.71, rtol=0, atol=5e-3)


def test_a_published_model_file_has_a_wrong_length() -> None:
    """Trap: a model file has 321.46 mm for the lower arm; only the points' 321.40006 gives its results."""
    assert np.linalg.norm(iltis.LOWER_OUTER - iltis.LOWER_PIVOT) == pytest.approx(321.40006, rel=0, abs=5e-6)
    for rack, *angles in ILTIS_ARCHIVE:
        right, wrong = (iltis.solve(angles[0], -rack, arm).angles - angles for arm in (None, 321.46))
        assert np.abs(right).max() < 2e-7
        assert np.abs(wrong).max() > 1e-5
