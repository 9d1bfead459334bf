"""Frequencies of the car and figures of T-bars in comparisons: by hand from rates, slopes by repeated rates."""

from __future__ import annotations

from collections.abc import Callable
from types import SimpleNamespace

import numpy as np
import pytest
from numpy.testing import assert_allclose

import kin3d
from kin3d.errors import RequestError
from kin3d.linkage.car import Car
from kin3d.measures.entry import figure
from tests.laws.axles import CORNER, one_axle
from tests.laws.cars import car
from tests.laws.test_elements import T_BAR

NAMES = ["front_ride_hz", "rear_ride_hz", "front_ride_on_tyre_hz", "front_roll_share_pct", "roll_hz"]
KNOWN = {
    "front.unsprung_mass_kg": 14.0,
    "rear.unsprung_mass_kg": 17.0,
    "front.tyre_rate_n_per_mm": 120.0,
    "car.roll_inertia_kg_m2": 55.0,
}
OF_BAR = ["bar.roll_ratio", "bar.roll_rate_n_m_per_deg", "roll_rate_n_m_per_deg"]


def by_hand(given: Car) -> np.ndarray:
    """The same from wheel rates alone: √(k/m)/2π, roll rates in N·m/rad over the moment of inertia."""
    data = given.data
    found = {a: kin3d.rates(given, a, travel=[0.0]).found.total for a in ("front", "rear")}
    k = {a: 1000.0 * float(r.heave_rate[0]) for a, r in found.items()}
    roll = {a: float(r.roll_rate[0]) * 180.0 / np.pi for a, r in found.items()}
    front_share = float(data.front_mass_share or 0.0)
    share = {"front": front_share, "rear": 1.0 - front_share}
    unsprung = {a: float(given.axle(a).unsprung_mass_kg or 0.0) for a in k}
    m = {a: share[a] * float(data.mass_kg or 0.0) / 2.0 - unsprung[a] for a in k}
    tyre = 1000.0 * float(given.axle("front").tyre_rate_n_per_mm or 0.0)
    both = 1.0 / (1.0 / k["front"] + 1.0 / tyre)
    whole = roll["front"] + roll["rear"]
    inertia = float(data.roll_inertia_kg_m2 or 0.0)
    omega = [k["front"] / m["front"], k["rear"] / m["rear"], both / m["front"], whole / inertia]
    hz = np.sqrt(omega) / (2.0 * np.pi)
    return np.array([hz[0], hz[1], hz[2], 100.0 * roll["front"] / whole, hz[3]])


def moved(given: Car, axle: str, point: str, k: int, mm: float) -> Car:
    table = given.axle(axle).points
    place = table.xyz_mm[table.names.index(point)].copy()
    place[k] += mm
    return given.with_points({point: place}, axle)


def central(told: Callable[[float], np.ndarray], step: float) -> np.ndarray:
    return (told(step) - told(-step)) / (2.0 * step)


@pytest.fixture(scope="module")
def known() -> Car:
    return car("dunlin").with_figures(KNOWN)


def test_frequencies_are_those_of_masses_on_wheel_rates(known: Car) -> None:
    found = kin3d.sensitivity(known, "rear", NAMES, heave=0.0)
    rows = [found.row(n) for n in NAMES]
    # the car stands on the ground as designed, a little pitched in its points' frame: its track differs by 1e-7
    assert_allclose(found.value[rows], by_hand(known), rtol=1e-6)


def given_figure(given: Car, key: str) -> float:
    """What a car file gives for a key."""
    return float(
        figure(
            SimpleNamespace(car=given.data, **{a: SimpleNamespace(axle=given.axle(a)) for a in ("front", "rear")}), key
        )
    )


def test_doubt_of_masses_and_rates_is_carried_exactly(known: Car) -> None:
    sigmas = {"car.mass_kg": 9.0, "front.unsprung_mass_kg": 0.8, "car.roll_inertia_kg_m2": 3.0}
    sigmas["rear.bar.rate_n_m_per_deg"] = 2.0
    at = {k: given_figure(known, k) for k in sigmas}
    given = known.with_figures({k: (at[k], s) for k, s in sigmas.items()})
    base, found = (kin3d.tolerance(c, "front", 0.0, NAMES, samples=0).first.sigma[:, 0] for c in (known, given))
    expected = np.zeros(len(NAMES))
    for k, s in sigmas.items():
        step = 1e-3 * at[k]
        slope = central(lambda d, k=k: by_hand(known.with_figures({k: at[k] + d})), step)  # type: ignore[misc]
        expected += (slope * s) ** 2
    order = [m.name for m in kin3d.tolerance(known, "front", 0.0, NAMES, samples=0).measures]
    expected = expected[[NAMES.index(n) for n in order]]
    assert_allclose(found**2 - base**2, expected, rtol=1e-5, atol=1e-12)


def test_causes_of_softer_and_moved_springs_add_up(known: Car) -> None:
    b = moved(known, "front", "rod_inner", 2, 5.0).with_figures(
        {"car.mass_kg": 490.0, "rear.bar.rate_n_m_per_deg": 30.0}
    )
    pair = kin3d.compare([known, b], "front", 0.0, NAMES, samples=0).pairs[0]
    expected = by_hand(b) - by_hand(known)
    assert_allclose([pair.difference(n, "design").difference for n in NAMES], expected, rtol=1e-6)
    assert {m.name for m in pair.attribution.measures} == set(NAMES)
    assert pair.attribution.adds_up().all()


def test_a_car_without_masses_says_what_it_lacks() -> None:
    found = kin3d.tolerance(car("dunlin"), "front", 0.0, NAMES, samples=0)
    assert found.left_out["front_ride_hz"] == "[front] unsprung_mass_kg is not given"
    assert [m.name for m in found.measures] == ["front_roll_share_pct"]


def test_nothing_that_was_asked_is_there() -> None:
    for study in (kin3d.tolerance, kin3d.sensitivity):
        with pytest.raises(RequestError) as refused:
            study(car("dunlin"), "front", measures=["front_ride_hz", "roll_hz"])
        assert "front_ride_hz cannot be had: [front] unsprung_mass_kg is not given" in str(refused.value)
        assert "roll_hz cannot be had: [car] roll_inertia_kg_m2 is not given" in str(refused.value)
    found = kin3d.compare([car("dunlin"), car("plover")], "front", measures=["roll_hz"], samples=200)
    assert list(found.pairs[0].not_compared or found.runs[0].curves.left_out) == ["roll_hz"]


# --- T-bars -----------------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def with_t_bar(tmp_path_factory: pytest.TempPathFactory) -> Car:
    return one_axle(tmp_path_factory.mktemp("t"), CORNER | T_BAR, bar={"rate_n_m_per_deg": 50.0})


def told(given: Car, heave_mm: float) -> np.ndarray:
    found = kin3d.rates(given, "front", travel=[heave_mm]).found
    bar = {c.name: c for c in found.curves}["bar"]
    return np.array([float(x[0]) for x in (bar.turn * bar.roll_ratio, bar.roll_rate, found.total.roll_rate)])


@pytest.mark.parametrize("heave", [0.0, 12.0])
def test_figures_of_a_t_bar_and_their_slopes_are_those_of_repeated_rates(with_t_bar: Car, heave: float) -> None:
    found = kin3d.sensitivity(with_t_bar, "front", OF_BAR, heave=heave)
    rows = [found.row(n) for n in OF_BAR]
    assert_allclose(found.value[rows], told(with_t_bar, heave), rtol=1e-9)
    moves = [("tbar_end", 2), ("tbar_end", 0), ("tbar_axis_1", 0), ("tbar_link_rocker", 1), ("upper_outer", 1)]
    for point, axis in moves:
        expected = central(lambda d, p=point, k=axis: told(moved(with_t_bar, "front", p, k, d), heave), 0.02)  # type: ignore[misc]
        mine = found.slope[rows, found.points.index(point), axis]
        assert_allclose(mine, expected, rtol=3e-4, atol=3e-5, err_msg=f"{point} {axis}")


def test_samples_and_causes_of_a_t_bar(with_t_bar: Car) -> None:
    b = moved(with_t_bar, "front", "tbar_end", 2, 8.0)
    pair = kin3d.compare([with_t_bar, b], "front", 0.0, OF_BAR, samples=0).pairs[0]
    wanted = told(b, 0.0) - told(with_t_bar, 0.0)
    assert_allclose([pair.difference(n, "design").difference for n in OF_BAR], wanted, rtol=1e-8, atol=1e-9)
    assert pair.attribution.adds_up().all()
