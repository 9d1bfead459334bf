"""Push to pull and back: the motion ratio stays, the wheel notices nothing; what cannot be done is said."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from numpy.testing import assert_allclose

import kin3d
from kin3d.errors import Kin3dError
from kin3d.studies.swap import RodKind, SwapResult, swap
from tests.laws.cars import car

TRAVEL = np.linspace(-30.0, 30.0, 25)
INBOARD = ("spring", "motion", "rocker", "rod", "wheel_rate", "least_gap")  # the rod has gaps too


@cache
def swapped(name: str, to: RodKind) -> SwapResult:
    return swap(car(name), "front", to)


@pytest.mark.parametrize(("name", "to"), [("dunlin", "pull"), ("plover", "push")])
def test_motion_ratio_is_kept_and_the_wheel_notices_nothing(name: str, to: RodKind) -> None:
    result = swapped(name, to)
    assert result.fits
    before, after = (kin3d.sweep(c, "front", TRAVEL, [-8.0, 0.0, 8.0]).dataset() for c in (car(name), result.car))
    assert (after["status"] == 0).all()
    assert_allclose(after["motion_ratio"], before["motion_ratio"], rtol=5e-3)
    wheel = [n for n in before.data_vars if not str(n).startswith((*INBOARD, "status"))]
    assert len(wheel) > 20
    for n in wheel:
        assert_allclose(after[n], before[n], rtol=1e-9, atol=1e-9, err_msg=str(n))
    assert result.wheel.difference < 1e-9
    assert result.worst_by_element["bar"] < 1.0
    assert result.after.kind == to
    assert (np.sign(result.after.rod_force_per_load) == (1.0 if to == "pull" else -1.0)).all()


def test_points_stay_in_their_boxes_and_the_wheel_keeps_its_own() -> None:
    result = swapped("dunlin", "pull")
    for point, (_, new) in result.moved.items():
        low, high = result.boxes[point]
        assert (new >= low - 1e-9).all()
        assert (new <= high + 1e-9).all()
    first, second = car("dunlin").front, result.car.front
    assert first is not None
    assert second is not None
    kept = [p for p in first.points.names if p not in result.moved]
    assert {"lower_outer", "tie_inner", "wheel_centre"} <= set(kept)
    for p in kept:
        assert_allclose(second.points[p], first.points[p], rtol=0, atol=0)


def test_there_and_back_returns_the_curve() -> None:
    there = swapped("dunlin", "pull")
    back = swap(there.car, "front", "push")
    assert back.fits
    assert back.after.rod_on == "lower arm"
    curves = [kin3d.sweep(c, "front", TRAVEL).dataset()["motion_ratio"] for c in (car("dunlin"), back.car)]
    assert_allclose(curves[1], curves[0], rtol=1e-2)  # twice half a per cent


def test_tight_boxes_give_the_nearest_layout_and_what_is_in_the_way() -> None:
    around = {
        "spring_outer": (np.array([-40.0, 330.0, 205.0]), np.array([-36.0, 334.0, 209.0])),
        "rod_inner": (np.array([-60.0, 300.0, 300.0]), np.array([-58.0, 302.0, 302.0])),
        "spring_inner": (np.array([-60.0, 330.0, 400.0]), np.array([-55.0, 334.0, 405.0])),
    }
    result = swap(car("dunlin"), "front", "pull", box=around, starts=2)
    assert not result.fits
    assert result.worst_pct > 0.5
    assert any("end of its box" in text for text in result.obstacles)


@pytest.mark.parametrize(
    ("keys", "said"),
    [
        ({"mount": "uper arm"}, 'no rod can stand on "uper arm"; layout allows: "lower arm", "upper arm", "upright"'),
        ({"mount": "uper arm"}, 'did you mean "upper arm"?'),
        ({"box": {"rod_iner": (np.zeros(3), np.ones(3))}}, 'there is no point "rod_iner"; did you mean "rod_inner"?'),
        ({"box": {"lower_outer": (np.zeros(3), np.ones(3))}}, '"lower_outer" is not moved by a swap'),
        ({"box": {"rod_inner": (np.ones(3), np.zeros(3))}}, 'the box of "rod_inner" is upside down'),
        ({"travel": [-200.0, 30.0]}, "the car does not reach travel -200 mm"),
    ],
)
def test_what_cannot_be_asked_is_said(keys: dict[str, object], said: str) -> None:
    with pytest.raises(Kin3dError) as caught:
        swap(car("dunlin"), "front", "pull", **keys)  # type: ignore[arg-type]
    assert said in str(caught.value)


def test_a_car_without_rocker_is_refused() -> None:
    with pytest.raises(Kin3dError) as caught:
        swap(car("siskin"), "rear", "pull")
    assert "no [rear] axle" in str(caught.value)
