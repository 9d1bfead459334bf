"""Cars in steady turns as a case: values, rates along the acceleration and causes, against repeated settling."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from numpy.testing import assert_allclose

import kin3d
from kin3d.errors import RequestError
from kin3d.studies.attribution import ATTITUDE
from tests.laws.cars import car

NAMES = ["camber_outer_deg", "roll_centre_height_mm", "spring_share_cornering_pct"]


@cache
def by_sweep(name: str, lateral: float) -> np.ndarray:
    """The figures of the car put on the ground as `kin3d.settle` says, which brings the load on from rest."""
    state = kin3d.settle(car(name), lateral=lateral)
    stands = {"heave": state.heave_mm, "roll": state.roll_deg, "pitch": state.pitch_deg}
    found = kin3d.sweep(car(name), "front", **stands, measures=NAMES)
    return np.array([float(found.values[n].reshape(-1, 2)[0, 0]) for n in NAMES])


@pytest.mark.parametrize("name", ["dunlin", "plover"])
def test_values_are_those_of_the_settled_car_and_rates_those_of_its_neighbours(name: str) -> None:
    found = kin3d.tolerance(car(name), "front", None, NAMES, side="left", lateral=[0.5, 1.0], samples=0).first
    rows = np.column_stack([by_sweep(name, g) for g in (0.5, 1.0)])
    assert_allclose(found.value, rows, rtol=1e-7, atol=1e-8)
    over = {"side": "left", "lateral": [0.499, 0.501], "samples": 0}
    near = kin3d.tolerance(car(name), "front", None, NAMES, **over).first.value
    assert_allclose(found.rate, (near[:, 1] - near[:, 0]) / 0.002, rtol=1e-5, atol=1e-5)


def test_parts_of_a_difference_in_a_turn_add_up_and_the_attitude_is_one() -> None:
    how = {"measures": NAMES, "side": "left", "lateral": 1.0, "samples": 0}
    pair = kin3d.compare([car("dunlin"), car("plover")], "front", **how).pairs[0]
    found = pair.attribution
    assert found.adds_up().all()
    assert_allclose(found.start_difference, found.start_parts.sum(axis=1), rtol=1e-6)
    assert_allclose(found.rate_difference, found.rate_parts.sum(axis=1), rtol=1e-6)
    wanted = by_sweep("plover", 1.0) - by_sweep("dunlin", 1.0)
    assert_allclose(found.start_difference, [wanted[NAMES.index(m.name)] for m in found.measures], rtol=1e-6, atol=1e-7)
    assert [c.axis for c in found.causes if c.group == ATTITUDE] == ["heave", "roll", "pitch"]


def test_the_attitude_is_the_whole_cause_where_springs_alone_differ() -> None:
    a = car("dunlin")
    b = a.with_figures({"front.spring.rate_n_per_mm": 150.0})
    names = ["camber_outer_deg", "roll_centre_height_mm"]
    found = kin3d.compare([a, b], "front", measures=names, lateral=1.0, samples=0).pairs[0].attribution
    groups = found.grouped(found.start_parts)
    assert_allclose(groups.pop(ATTITUDE), found.start_difference, rtol=1e-6)
    assert all(np.abs(v).max() < 1e-9 for v in groups.values())
    assert np.abs(found.start_difference).min() > 1e-3


def test_at_rest_a_gradient_that_is_none_by_symmetry_is_no_kink() -> None:
    """The roll centre's height has no gradient over the acceleration there: what is left over is rounding."""
    cars = [car("dunlin"), car("plover")]
    found = kin3d.compare(cars, "front", measures=NAMES[1:2], lateral=0.0, samples=0).pairs[0].attribution
    assert_allclose(found.rate_difference, 0.0, rtol=0, atol=1e-9)
    assert found.adds_up().all()
    assert_allclose(found.start_parts.sum(axis=1), found.start_difference, rtol=1e-9)
    assert "kink" not in found.sentence()


def test_turns_that_no_car_holds_are_left_out_and_one_alone_is_refused() -> None:
    cars = [car("dunlin"), car("plover")]
    some = kin3d.compare(cars, "front", measures=NAMES[:2], lateral=[0.5, 2.4], samples=0)
    assert list(some.case.at) == [0.5]
    assert any("kin3d settle says why" in f.text for f in some.findings)
    with pytest.raises(RequestError, match="lifts off"):
        kin3d.compare(cars, "front", measures=NAMES[:2], lateral=2.4, samples=0)
