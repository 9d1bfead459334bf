"""Exact sensitivities against central differences of the sweep of cars with moved points."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from kin3d.errors import RequestError
from kin3d.studies.sensitivity import sensitivity
from kin3d.studies.sweep import sweep
from tests.laws.cars import CORNERS, car
from tests.uncertain import moved

STEP_MM = 1e-3
PICKED = {
    "dunlin": ("lower_outer", "rod_inner", "wheel_centre"),
    "plover": ("tie_inner", "rocker_axis_2", "wheel_centre"),
}
PICKED["siskin"] = ("lower_rear_outer", "tie_inner", "wheel_centre")


@pytest.mark.parametrize(("name", "axle"), CORNERS, ids=lambda v: str(v))
@pytest.mark.parametrize("travel", [0.0, 23.0])
def test_central_differences(name, axle, travel):
    found = sensitivity(car(name), axle, travel=travel)
    side = ("left", "right").index(found.side)
    for point in PICKED[name]:
        for k in range(3):
            change = np.eye(3)[k] * STEP_MM
            values = []
            for sign in (1.0, -1.0):
                other = moved(car(name), axle, {point: sign * change})
                swept = sweep(other, axle, [travel])
                values.append([swept.values[m.name][0, 0, side] for m in found.measures])
            expected = (np.array(values[0]) - np.array(values[1])) / (2.0 * STEP_MM)
            got = found.slope[:, found.points.index(point), k]
            # differences of values cannot be surer than rounding of the value over the step
            size = np.abs(found.slope).max(axis=(1, 2)) + 1e-6 * np.abs(found.value) + 1e-5
            assert_allclose((got - expected) / size, 0.0, rtol=0, atol=2e-5, err_msg=f"{point} {k}")


def test_gradient_is_the_slope_of_the_sweep():
    found = sensitivity(car("dunlin"), "front", travel=10.0)
    h = 1e-2
    swept = sweep(car("dunlin"), "front", [10.0 - h, 10.0 + h])
    for k, m in enumerate(found.measures):
        low, high = swept.values[m.name][:, 0, 0]
        assert_allclose(found.rate[k], (high - low) / (2 * h), rtol=2e-5, atol=1e-8, err_msg=m.name)


def test_change_of_a_gradient_is_that_of_the_moved_point():
    """Second differences of sweeps, of points that stand in several groups of the table."""
    found = sensitivity(car("dunlin"), "front", ["camber_deg", "toe_deg", "motion_ratio"])
    step, h = 0.05, 2.0
    for point in ("upper_outer", "tie_inner", "rod_inner", "spring_inner"):
        rates = []
        for sign in (1.0, -1.0):
            other = moved(car("dunlin"), "front", {point: np.array([0.0, 0.0, sign * step])})
            swept = sweep(other, "front", [-h, h])
            rates.append([np.diff(swept.values[m.name][:, 0, 0])[0] / (2.0 * h) for m in found.measures])
        expected = (np.array(rates[0]) - np.array(rates[1])) / (2.0 * step)
        got = found.rate_slope[:, found.points.index(point), 2]
        size = np.abs(found.rate_slope).max(axis=(1, 2))
        assert_allclose((got - expected) / size, 0.0, rtol=0, atol=2e-3, err_msg=point)


def test_mirrored_side_has_the_same_sensitivities():
    """What a point of the table does to the mirror image differs in the sign of places across the car alone."""
    left, right = (sensitivity(car("dunlin"), "front", side=s) for s in ("left", "right"))
    for name in ("camber_deg", "toe_deg", "scrub_radius_mm", "roll_centre_height_mm", "motion_ratio"):
        k = [m.name for m in left.measures].index(name)
        assert_allclose(right.slope[k], left.slope[k], rtol=1e-9, atol=1e-12)
    k = [m.name for m in left.measures].index("wheel_y_mm")
    assert_allclose(right.slope[k], -left.slope[k], rtol=0, atol=1e-12)


def test_moving_all_points_along_x_changes_places_alone():
    found = sensitivity(car("siskin"), "front", travel=-15.0)
    total = found.slope[:, :, 0].sum(axis=1)
    for k, m in enumerate(found.measures):
        expected = 1.0 if m.name in ("wheel_x_mm", "contact_x_mm", "isa_px_mm", "side_ic_x_mm") else 0.0
        assert_allclose(total[k], expected, rtol=0, atol=1e-8 * (1 + abs(found.value[k])), err_msg=m.name)


def test_position_out_of_reach_is_refused():
    with pytest.raises(RequestError, match=r"travel \+400 mm"):
        sensitivity(car("dunlin"), "front", ["camber_deg"], travel=400.0)
