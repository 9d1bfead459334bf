"""Figures of springs and bars in comparisons: values of `kin3d.rates`, derivatives against repeated rates."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from numpy.testing import assert_allclose

import kin3d
from kin3d.errors import RequestError
from kin3d.linkage.car import Car
from tests.laws.cars import car

NAMES = ["heave_rate_n_per_mm", "single_rate_n_per_mm", "roll_rate_n_m_per_deg", "bar.roll_ratio", "spring.force"]
STEP_MM = 0.02


def told(given: Car, heave_mm: float) -> np.ndarray:
    """The same figures by kin3d.rates, which solves an axle in heave and knows nothing of cases."""
    found = kin3d.rates(given, "front", travel=[heave_mm]).found
    by_name = {c.name: c for c in found.curves}
    total = found.total
    bar = by_name["bar"]
    figures = (total.heave_rate, total.single_rate, total.roll_rate, bar.turn * bar.roll_ratio, by_name["spring"].force)
    return np.array([float(f[0]) for f in figures])


def moved(given: Car, point: str, axis: int, mm: float) -> Car:
    table = given.axle("front").points
    place = table.xyz_mm[table.names.index(point)].copy()
    place[axis] += mm
    return given.with_points({point: place}, "front")


def central(change: Callable[[float], Car], heave_mm: float, step: float) -> np.ndarray:
    return (told(change(step), heave_mm) - told(change(-step), heave_mm)) / (2.0 * step)


@pytest.mark.parametrize("heave", [0.0, 12.0])
def test_values_and_slopes_are_those_of_repeated_rates(heave: float) -> None:
    given = car("dunlin")
    found = kin3d.sensitivity(given, "front", NAMES, heave=heave)
    rows = [found.row(n) for n in NAMES]
    assert_allclose(found.value[rows], told(given, heave), rtol=1e-9, atol=1e-9)
    over = np.array([told(given, heave + d) for d in (-0.05, 0.05)])
    assert_allclose(found.rate[rows], (over[1] - over[0]) / 0.1, rtol=2e-5, atol=1e-5)
    for point, axis in (("rod_inner", 2), ("bar_link_rocker", 0), ("upper_outer", 1)):
        expected = central(lambda d, p=point, k=axis: moved(given, p, k, d), heave, STEP_MM)  # type: ignore[misc]
        mine = found.slope[rows, found.points.index(point), axis]
        assert_allclose(mine, expected, rtol=2e-4, atol=2e-4, err_msg=point)


def test_doubt_of_a_rate_is_carried_exactly() -> None:
    known = car("dunlin")
    given = known.with_figures({"front.bar.rate_n_m_per_deg": (60.0, 3.0)})
    plain = kin3d.tolerance(known, "front", 0.0, NAMES[:3], samples=0).first
    found = kin3d.tolerance(given, "front", 0.0, NAMES[:3], samples=0).first
    step = np.array([told(known.with_figures({"front.bar.rate_n_m_per_deg": r}), 0.0) for r in (59.0, 61.0)])
    slope = ((step[1] - step[0]) / 2.0)[:3]
    same = known.with_figures({"front.bar.rate_n_m_per_deg": 60.0})
    base = kin3d.tolerance(same, "front", 0.0, NAMES[:3], samples=0).first.sigma[:, 0]
    assert plain.value.shape == found.value.shape
    assert_allclose(found.sigma[:, 0] ** 2 - base**2, (3.0 * slope) ** 2, rtol=1e-8, atol=1e-12)


def test_causes_of_a_stiffer_and_moved_car_add_up() -> None:
    a = car("dunlin")
    b = moved(a, "rod_inner", 2, 6.0).with_figures({"front.bar.rate_n_m_per_deg": 75.0})
    pair = kin3d.compare([a, b], "front", 0.0, NAMES[:4], samples=0).pairs[0]
    wanted = told(b, 0.0)[:4] - told(a, 0.0)[:4]
    found = pair.attribution
    assert {m.name for m in found.measures} == set(NAMES[:4])
    assert_allclose([pair.difference(n, "design").difference for n in NAMES[:4]], wanted, rtol=1e-9, atol=1e-9)
    assert found.adds_up().all()
    figures = found.grouped(found.start_parts)["figures of the car file"]
    row = [m.name for m in found.measures].index("roll_rate_n_m_per_deg")
    stiffer = a.with_figures({"front.bar.rate_n_m_per_deg": 75.0})
    before = told(stiffer, 0.0)[2] - told(a, 0.0)[2]
    after = told(b, 0.0)[2] - told(moved(a, "rod_inner", 2, 6.0), 0.0)[2]
    assert_allclose(figures[row], 0.5 * (before + after), rtol=1e-9)


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("roll_ratio", "put its name and a dot before it, as in spring.roll_ratio"),
        ("roll_freqency_hz", 'no measure "roll_freqency_hz"'),
    ],
)
def test_names_that_say_too_little(name: str, said: str) -> None:
    with pytest.raises(RequestError) as refused:
        kin3d.tolerance(car("dunlin"), "front", 0.0, [name], samples=0)
    assert said in str(refused.value)


def test_an_element_that_is_not_there_is_left_out_with_its_reason() -> None:
    found = kin3d.tolerance(car("dunlin"), "front", 0.0, ["third.heave_rate_n_per_mm", "camber_deg"], samples=0)
    assert found.left_out == {"third.heave_rate_n_per_mm": 'no element "third"; there are: spring, bar'}
