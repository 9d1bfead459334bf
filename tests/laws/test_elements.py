"""Inboard elements: heave springs, bars and T-bars by symmetry, rates against differences of energy from elsewhere."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.spatial.transform import Rotation

import kin3d
from kin3d.linkage.keys import Stop
from kin3d.linkage.record import changed
from kin3d.loads.elements import Element, axle_elements
from kin3d.loads.exerted import exerted
from kin3d.measures.corner_pair import CornerPair
from kin3d.solve.model import AxleModel
from kin3d.spatial.jets import value
from kin3d.studies.rates import axle_rates
from tests.car_files import write_car
from tests.laws.axles import CORNER, one_axle
from tests.oracles import whole_corner
from tests.oracles.corners import corner as own_corner

T_BAR = {
    "tbar_link_rocker": (22, 325, 412),
    "tbar_end": (48, 90, 495),
    "tbar_axis_1": (215, 30, 440),
    "tbar_axis_2": (215, -30, 440),
}
U_BAR = {
    "bar_link_rocker": (-20, 305, 420),
    "bar_link_arm": (-25, 318, 300),
    "bar_axis_1": (95, 180, 300),
    "bar_axis_2": (95, -180, 300),
}
SPRING = {"rate_n_per_mm": 60.0, "design_force_n": 1500.0}
CROSS = {"rate_n_per_mm": 40.0, "points": ["heave_end"], "design_force_n": 200.0}


class Two:
    """Elements of an axle at travels of its two wheels."""

    def __init__(self, folder: Path, points: Any, left: Any, right: Any, **keys: Any) -> None:
        self.model = AxleModel.of(one_axle(folder, points, **keys), "front")
        self.pair = CornerPair.at(self.model, left, right)
        assert self.pair.ok.all()
        self.elements: dict[str, Element] = {e.label: e for e in axle_elements(self.model)}

    def slopes(self, label: str) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        u = self.elements[label].deflection(self.pair.left, self.pair.right)
        shape = self.pair.ok.shape
        value, left, right = (np.broadcast_to(x, shape) for x in (u.value, u[(1, 0)], u[(0, 1)]))
        return np.array(value), np.array(left), np.array(right)


def test_heave_spring_takes_no_part_in_roll_and_twice_in_heave(tmp_path: Path) -> None:
    heave = np.array([-20.0, 0.0, 25.0])
    points = CORNER | {"heave_end": (10, 240, 455)}
    value, left, right = Two(tmp_path, points, heave, heave, third=CROSS).slopes("third")
    assert_allclose(left, right, rtol=1e-9)  # in roll the two cancel
    assert (left > 0.05).all()  # bump compresses it
    alone = CornerPair.at(AxleModel.of(one_axle(tmp_path, points, third=CROSS), "front"), heave, heave).left
    sideways = alone.place("heave_end")[1]
    assert_allclose(left + right, -2.0 * sideways.rate(0).value, rtol=1e-9)
    assert_allclose(value, 2.0 * (240.0 - sideways.value), atol=1e-9)


@pytest.mark.parametrize(("points", "label"), [(U_BAR, "bar"), (T_BAR, "bar")], ids=["u", "t"])
def test_bar_takes_no_part_in_heave_and_twice_in_roll(tmp_path: Path, points: Any, label: str) -> None:
    heave = np.array([-20.0, 0.0, 25.0])
    value, left, right = Two(tmp_path, CORNER | points, heave, heave, bar={"rate_n_m_per_deg": 50.0}).slopes(label)
    assert_allclose(value, 0.0, atol=1e-9)
    assert_allclose(left, -right, rtol=1e-9)
    assert (left > 1e-3).all()  # the left wheel's bump winds it
    there = Two(tmp_path, CORNER | points, heave, -heave, bar={"rate_n_m_per_deg": 50.0}).slopes(label)[0]
    back = Two(tmp_path, CORNER | points, -heave, heave, bar={"rate_n_m_per_deg": 50.0}).slopes(label)[0]
    assert_allclose(there, -back, atol=1e-9)  # roll to the other side winds it the other way


def test_t_bar_keeps_both_links_as_long_as_they_were(tmp_path: Path) -> None:
    """Swing and twist found again with SciPy's rotations: only with the right twist do both links close."""
    from scipy.optimize import fsolve

    left_mm, right_mm = np.array([20.0, -10.0]), np.array([-15.0, 25.0])
    two = Two(tmp_path, CORNER | T_BAR, left_mm, right_mm, bar={"rate_n_m_per_deg": 50.0})
    twist = two.slopes("bar")[0]
    mirror = np.array([1.0, -1.0, 1.0])
    ends = [np.array(T_BAR["tbar_end"], float), np.array(T_BAR["tbar_end"], float) * mirror]
    driven = [np.array(T_BAR["tbar_link_rocker"], float), np.array(T_BAR["tbar_link_rocker"], float) * mirror]
    pivot = np.array([215.0, 0.0, 440.0])
    stem = (0.5 * (ends[0] + ends[1]) - pivot) / np.linalg.norm(0.5 * (ends[0] + ends[1]) - pivot)
    lengths = [np.linalg.norm(d - e) for d, e in zip(driven, ends, strict=True)]
    for k in range(2):
        now = [np.array([float(np.ravel(c.value)[k]) for c in corner.place("tbar_link_rocker")])
               for corner in (two.pair.left, two.pair.right)]  # fmt: skip

        def gaps(x: np.ndarray, now: list[np.ndarray] = now) -> list[float]:
            turn = Rotation.from_rotvec([0.0, x[0], 0.0]) * Rotation.from_rotvec(x[1] * stem)
            heads = [pivot + turn.apply(e - pivot) for e in ends]
            return [float(np.linalg.norm(n - h) - s) for n, h, s in zip(now, heads, lengths, strict=True)]

        found = fsolve(gaps, [0.0, 0.0], xtol=1e-13)
        assert np.abs(gaps(found)).max() < 1e-9
        assert_allclose(abs(twist[k]), abs(found[1]), rtol=1e-8)


def test_roll_spring_between_two_levels_works_in_roll(tmp_path: Path) -> None:
    points = CORNER | {"over": (10, 265, 455), "under": (10, 265, 345)}
    roll = {"rate_n_per_mm": 40.0, "points": ["over", "under"]}
    _, left, right = Two(tmp_path, points, 0.0, 0.0, roll_spring=roll).slopes("roll_spring")
    assert abs(left[0] - right[0]) > 5.0 * abs(left[0] + right[0])


# central differences of second order, error of order h⁸
_STENCIL = np.array([-1 / 560, 8 / 315, -1 / 5, 8 / 5, -205 / 72, 8 / 5, -1 / 5, 8 / 315, -1 / 560])


@pytest.mark.parametrize("rod_on", ["lower arm", "upper arm"])
@pytest.mark.parametrize("at_mm", [-20.0, 0.0, 20.0])
def test_wheel_rate_is_the_second_difference_of_energy(tmp_path: Path, rod_on: str, at_mm: float) -> None:
    """Energy of spring and torsion spring from positions of another solver."""
    points = own_corner(rod_on)
    h = 2.5
    travel = at_mm + h * np.arange(-4, 5)
    solved = whole_corner.solve(points, rod_on, [0.0, 1.0, 0.0], travel)
    u = np.linalg.norm(points["spring_outer"] - points["spring_inner"]) - solved.spring
    turn = np.degrees(solved.rocker)
    sense = np.sign(turn[-1] - turn[0])  # the design torque resists bump
    energy = 1500.0 * u + 30.0 * u**2 + np.radians(1000.0 * (20.0 * sense * turn + 0.5 * 8.0 * turn**2))
    expected = _STENCIL @ energy / h**2
    keys: dict[str, Any] = {"spring": SPRING, "torsion": {"rate_n_m_per_deg": 8.0, "design_torque_n_m": 20.0}}
    read = kin3d.load(write_car(tmp_path, points, rod_on=rod_on, **keys))
    rates = axle_rates(read, "front", [at_mm])
    assert_allclose(rates.total.heave_rate[0], expected, rtol=1e-8)
    assert_allclose(rates.total.single_rate[0], expected, rtol=1e-8)
    # the axle's measure says the same
    swept = kin3d.sweep(read, "front", [at_mm]).dataset()["wheel_rate_n_per_mm"].values.ravel()
    assert_allclose(swept, expected, rtol=1e-8)


@pytest.mark.parametrize("direction", [(1.0, 1.0), (1.0, -1.0), (1.0, 0.0)], ids=["heave", "roll", "single"])
def test_rates_of_all_elements_are_second_differences_of_their_energy(tmp_path: Path, direction: Any) -> None:
    points = CORNER | U_BAR | {"heave_end": (10, 240, 455)}
    keys: dict[str, Any] = {"spring": SPRING, "bar": {"rate_n_m_per_deg": 50.0}, "third": CROSS}
    read = one_axle(tmp_path, points, **keys)
    assert read.front is not None
    read = changed(read, front=changed(read.front, stops=(Stop(rate_n_per_mm=30.0, gap_mm=2.0, name="packer"),)))
    model = AxleModel.of(read, "front")
    h, at = 1.5, 18.0
    step = h * np.arange(-4, 5)
    pair = CornerPair.at(model, at + step * direction[0], at + step * direction[1])
    energy = sum(e.energy(e.deflection(pair.left, pair.right).value) for e in axle_elements(model))
    expected = float(_STENCIL @ energy) / h**2
    rates = axle_rates(read, "front", [at])
    total = rates.total
    radius = 0.5 * rates.track_mm[0]
    found = {
        (1.0, 1.0): 2.0 * total.heave_rate[0],
        (1.0, 0.0): total.single_rate[0],
        (1.0, -1.0): total.roll_rate[0] * (180.0 / np.pi) * 1000.0 / radius**2,
    }[direction]
    assert_allclose(found, expected, rtol=1e-8)
    assert any(f.code == "stop-met" for f in rates.findings)


def test_t_bar_is_in_balance_under_its_links(tmp_path: Path) -> None:
    """Its links push along themselves: about its hinge nothing is left, about its stem the moment of the twist."""
    two = Two(tmp_path, CORNER | T_BAR, np.array([22.0]), np.array([-17.0]), bar={"rate_n_m_per_deg": 50.0})
    bar = two.elements["bar"]
    acting = [one for one in exerted([bar], two.pair, {})[0] if one.name == "bar"]
    assert bar.t_bar is not None
    ends_now = bar.t_bar.heads(two.pair.left, two.pair.right)
    heads = np.stack([[float(np.ravel(value(c))[0]) for c in v] for v in ends_now])
    ends, driven = (np.array(T_BAR[n], float) for n in ("tbar_end", "tbar_link_rocker"))
    force, place = acting[0].force, acting[0].place
    pivot, hinge = np.array([215.0, 0.0, 440.0]), np.array([0.0, 1.0, 0.0])
    lengths = np.linalg.norm(place.T - heads, axis=1)
    assert_allclose(lengths, np.linalg.norm(driven - ends), rtol=1e-9)
    on_t = -force.T
    assert_allclose(np.cross(place.T - heads, on_t), 0.0, atol=1e-6 * np.abs(on_t).max())
    moment = np.cross(heads - pivot, on_t).sum(axis=0)
    assert abs(moment @ hinge) < 1e-6 * np.abs(moment).max()
    stem = 0.5 * (heads[0] + heads[1]) - pivot
    stem = stem / np.linalg.norm(stem)
    twist = abs(float(np.ravel(bar.deflection(two.pair.left, two.pair.right).value)[0]))
    assert twist > 0.01
    assert_allclose(abs(moment @ stem), 50.0 * 1000.0 * np.degrees(twist), rtol=1e-6)
