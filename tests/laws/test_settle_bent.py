"""A settled car whose joints and links give way: unbent at rest, rigid as stiffness grows, a spring in series."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from numpy.testing import assert_allclose

import kin3d
from kin3d.errors import RequestError
from kin3d.linkage.car import Car
from tests.laws.cars import car

STUD = [0.0, 0.0, 1.0]
SOFT = {
    "lower_outer": {"radial_n_per_mm": 9000.0, "axial_n_per_mm": 7000.0, "axis": STUD},
    "upper_outer": {"radial_n_per_mm": 8000.0, "axial_n_per_mm": 6000.0, "axis": STUD},
    "tie_outer": {"radial_n_per_mm": 12000.0, "axial_n_per_mm": 9000.0, "axis": STUD},
}


pytestmark = pytest.mark.slow


@cache
def soft(times: float = 1.0) -> Car:
    parts = {
        p: {k: v * times if k.endswith("mm") else v for k, v in keys.items()}  # type: ignore[operator]
        for p, keys in SOFT.items()
    }
    rods = dict.fromkeys(("front.rod_part", "rear.rod_part"))
    return car("dunlin").with_figures({"front.joints": parts, "rear.joints": parts, **rods})


def test_a_car_at_rest_is_unbent_and_a_stiff_one_is_rigid() -> None:
    rest, rigid = kin3d.settle(soft(), compliance=True), kin3d.settle(soft())
    assert rest.bends is not None
    assert_allclose(np.nan_to_num(rest.bends), 0.0, atol=1e-8)
    assert_allclose(rest.state, rigid.state, rtol=1e-9, atol=1e-9)
    stiff = kin3d.settle(soft(1e6), braking=0.8, lateral=0.6, compliance=True)
    assert_allclose(stiff.state, kin3d.settle(soft(1e6), braking=0.8, lateral=0.6).state, rtol=1e-6, atol=1e-7)


def test_bends_are_those_of_the_case_beside_rest() -> None:
    """As the table of `forces --compliance` has them, but for what bending itself changes in the loads."""
    bent = kin3d.settle(soft(), braking=0.9, lateral=0.7, compliance=True)
    cases = [{"name": "rest", "vertical_g": 1.0}, {"name": "turn", "braking_g": 0.9, "lateral_g": 0.7}]
    found = {(c.case, c.axle, c.side): c.bent for c in kin3d.forces(soft().with_figures({"cases": cases})).parts}
    assert bent.bends is not None
    for wheel, mine in zip(bent.wheels, bent.bends, strict=True):
        axle, side = wheel.name.split()
        there, rest = found["turn", axle, side], found["rest", axle, side]
        assert there is not None
        assert rest is not None
        expected = (there - rest)[:, 0]
        assert np.abs(expected[:2]).max() > 1e-3
        assert_allclose(mine, expected, rtol=0.02, atol=0.01 * np.abs(expected).max())


def test_wheels_that_give_way_are_springs_in_series() -> None:
    """Under more weight the body sinks by what the wheels give way beside what its springs do."""
    rigid, bent = (kin3d.settle(soft(), vertical=1.6, compliance=c) for c in (False, True))
    assert bent.bends is not None
    give = bent.bends[:, 5]
    assert (give > 0.02).all()
    sinks = rigid.centre_rise_mm - bent.centre_rise_mm
    low, high = sorted((give[0], give[2]))
    assert low * 0.95 < sinks < high * 1.05
    assert_allclose([w.travel_mm for w in bent.wheels], [w.travel_mm for w in rigid.wheels], atol=0.05)


def test_camber_shows_what_bends_and_forces_still_balance() -> None:
    rigid, bent = (kin3d.settle(soft(), lateral=1.0, compliance=c) for c in (False, True))
    assert bent.bends is not None
    assert bent.error_n < 1e-6
    assert bent.error_n_m < 1e-6
    roll = bent.roll_deg - rigid.roll_deg
    for w, r, b, side in zip(bent.wheels, rigid.wheels, bent.bends, (1.0, -1.0, 1.0, -1.0), strict=True):
        expected = b[1] - side * roll  # the left wheel leans inboard at its top as the body's left side rises
        assert_allclose(w.camber_ground_deg - r.camber_ground_deg, expected, rtol=0.1, atol=2e-3)


def test_what_is_rigid_or_too_soft_is_refused() -> None:
    rigid = dict.fromkeys(("front.joints", "rear.joints"))
    with pytest.raises(RequestError, match="nothing is elastic"):
        kin3d.settle(soft().with_figures(rigid), lateral=0.5, compliance=True)
    with pytest.raises(RequestError, match=r"front \w+: compliance changes \w+ by .*linear figures hold to 1°"):
        kin3d.settle(soft(0.01), lateral=1.0, compliance=True)
