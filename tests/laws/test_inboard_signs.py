"""What is easily lost on the inboard side: slope of the rod, bolts of the other side, strokes, tyres in series."""

from __future__ import annotations

from math import pi, sqrt
from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose

from kin3d.studies.rates import axle_rates
from kin3d.studies.rates_result import rates
from kin3d.studies.sweep import sweep
from tests.laws.axles import one_axle
from tests.oracles import whole_corner
from tests.oracles.corners import corner

UP = np.array([0.0, 0.0, 1.0])
BOLT = np.array([0.3, 0.9, -0.1])  # as it stands on the side that the point table is for
SPRING = {"rate_n_per_mm": 45.0, "design_force_n": 1400.0}


def other_side(points: dict[str, np.ndarray]) -> dict[str, np.ndarray]:
    return {n: p * [1.0, -1.0, 1.0] for n, p in points.items()}


@pytest.mark.parametrize("side", ["left", "right"])
@pytest.mark.parametrize(("rod_on", "sense"), [("lower arm", 1.0), ("upper arm", -1.0)])
def test_the_rod_slopes_alike_on_both_sides(tmp_path: Path, side: str, rod_on: str, sense: float) -> None:
    """A push-rod rises on its way inboard and a pull-rod falls, left and right; by hand from the table's points."""
    points = corner(rod_on)
    rise, inboard = (points["rod_inner"] - points["rod_outer"])[[2, 1]] * [1.0, -1.0]
    expected = np.degrees(np.arctan2(rise, inboard))
    assert sense * expected > 20.0
    car = one_axle(tmp_path, points if side == "left" else other_side(points), rod_on=rod_on, side=side)
    found = sweep(car, "front", [0.0]).values["rod_slope_deg"]
    assert_allclose(found, np.full_like(found, expected), rtol=1e-9, atol=0)


@pytest.mark.parametrize("side", ["left", "right"])
def test_the_bolts_of_the_other_side_are_mirror_images(tmp_path: Path, side: str) -> None:
    """Angle of the rod to the plane square to the bolt, by hand in the design position; alike on both sides."""
    points = corner()
    along = points["rod_inner"] - points["rod_outer"]
    size = np.linalg.norm(along) * np.linalg.norm(BOLT)
    expected, not_mirrored = (np.degrees(np.arcsin(abs(along @ b) / size)) for b in (BOLT, BOLT * [1, -1, 1]))
    assert abs(expected - not_mirrored) > 2.0
    given = (BOLT if side == "left" else BOLT * [1.0, -1.0, 1.0]).tolist()
    part = {"diameter_mm": 16.0, "wall_mm": 1.5, "bolt_outer": given, "bolt_inner": given}
    car = one_axle(tmp_path, points if side == "left" else other_side(points), side=side, rod_part=part)
    found = sweep(car, "front", [-20.0, 0.0, 20.0]).values
    for name in ("rod_end_outer_deg", "rod_end_inner_deg"):
        both = found[name].reshape(3, 2)
        assert_allclose(both[1], expected, rtol=1e-9, atol=0)
        assert_allclose(both[:, 1], both[:, 0], rtol=1e-9, atol=0)


def test_ride_frequency_has_the_unsprung_mass_off_and_the_tyre_in_series(tmp_path: Path) -> None:
    """Textbook formula of one mass on two springs in series, by hand; the wheel rate is that of the sweep."""
    points = corner()
    car = one_axle(tmp_path, points, spring=SPRING, unsprung_mass_kg=14.0, tyre_rate_n_per_mm=180.0)
    rate = float(sweep(car, "front", [0.0]).values["wheel_rate_n_per_mm"].ravel()[0])
    sprung = 600.0 * 0.45 / 2.0 - 14.0
    found = rates(car).values
    assert_allclose(found["front_ride_hz"], sqrt(1000.0 * rate / sprung) / (2.0 * pi), rtol=1e-9, atol=0)
    series = rate * 180.0 / (rate + 180.0)
    assert_allclose(found["front_ride_on_tyre_hz"], sqrt(1000.0 * series / sprung) / (2.0 * pi), rtol=1e-9, atol=0)
    without = one_axle(tmp_path / "without", points, spring=SPRING)
    left_out = rates(without).left_out
    assert left_out["front_ride_hz"] == "[front] unsprung_mass_kg is not given"


def test_bump_and_droop_use_their_own_strokes(tmp_path: Path) -> None:
    """What the damper is shortened and let out by, from the corner solved elsewhere; each against its own stroke."""
    points = corner()
    spring = whole_corner.solve(points, "lower arm", UP, [-30.0, 0.0, 12.0]).spring
    droop, bump = spring[0] - spring[1], spring[1] - spring[2]
    assert droop > 1.5 * bump > 5.0
    part = {"bump_mm": round(float(bump) + 1.0, 1), "droop_mm": round(float(droop) - 1.0, 1)}
    car = one_axle(tmp_path, points, spring=SPRING, damper=part)
    told = [f for f in axle_rates(car, "front", [-30.0, 0.0, 12.0]).findings if f.code == "damper-stroke"]
    assert [f.severity.value for f in told] == ["note", "warning"]
    assert told[0].text.startswith(f"bump uses {bump:.1f} mm of {part['bump_mm']:g} mm")
    assert told[1].text.startswith(f"droop uses {droop:.1f} mm of {part['droop_mm']:g} mm")
    assert "the damper is at its end before the travel is" in told[1].text
