"""Laws over the registry: the sign in the mirror, and every entry against a formula of its own from coordinates."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from numpy.testing import assert_allclose

from kin3d.linkage.car import Car
from kin3d.linkage.keys import Driveshaft
from kin3d.linkage.part_keys import RodPart
from kin3d.linkage.record import changed
from kin3d.solve.model import AxleModel
from kin3d.studies.car import CarModel
from kin3d.studies.rates import MEASURES as RATES
from kin3d.studies.rates_result import rates
from kin3d.studies.registry import EVERY
from kin3d.studies.sweep import sweep
from tests.laws.cars import car
from tests.oracles.axle_by_numbers import AXLE, CAR, Both, Whole, normal
from tests.oracles.by_numbers import CORNER, One, bend, slope

BOLT = (0.36, 0.8, 0.48)
TRAVEL, HEAVE, ROLL, PITCH, RACK = 12.0, 5.0, 1.5, 0.4, 10.0
JOINED = {"roll_centre_offset_mm", "motion_ratio_own", "motion_ratio_other"}
CLOSE = {"rtol": 2e-7, "atol": 2e-8}


@cache
def full() -> Car:
    """Dunlin with every figure that some measure needs."""
    known = car("dunlin")
    data = changed(known.data, drive="all", front_drive_share=0.3, roll_inertia_kg_m2=61.0)
    out = changed(known, data=data)
    for name, mass, tyre in (("front", 15.0, 180.0), ("rear", 18.0, 190.0)):
        axle = next(a for a in out.axles() if a.name == name)
        part = changed(axle.rod_part or RodPart(), bolt_outer=BOLT)
        drive = Driveshaft(points=("spring_inner", "wheel_centre"), inner_axis=(0.1, 0.99, 0.0995))
        front = known.axle("front")
        axle = changed(axle, links=front.links, solids=front.solids)  # both axles have the same names of points
        axle = changed(axle, rod_part=part, unsprung_mass_kg=mass, tyre_rate_n_per_mm=tyre, driveshaft=drive)
        out = changed(out, **{name: axle})
    return out


def rack_of(axle: str) -> float:
    return RACK if AxleModel.of(full(), axle).linkage.rack else 0.0


# --- mirror ----------------------------------------------------------------------------------------------------------


def mirrored(result, turned: tuple[int, ...]) -> int:
    """Checks right against left with the drives of the given axes turned about; the number of measures looked at."""
    for m in result.measures:
        v = result.values[m.name]
        right, left = v[..., 1], np.flip(v[..., 0], axis=turned)
        size = np.abs(np.where(np.isfinite(v), v, 0.0)).max()
        assert_allclose(right, m.mirror * left, rtol=1e-8, atol=1e-9 * (1.0 + size), err_msg=m.name)
    return len(result.measures)


@pytest.mark.parametrize(("name", "axle"), [("dunlin", "front"), ("plover", "front"), ("siskin", "front")])
def test_a_corner_on_the_right_is_the_mirror_image_of_that_on_the_left(name, axle):
    read = full() if name == "dunlin" else car(name)
    assert mirrored(sweep(read, axle, [-20.0, 0.0, 15.0, 25.0], [-RACK, RACK]), (1,)) > 25


@pytest.mark.parametrize("axle", ["front", "rear"])
def test_an_axle_in_roll_and_rack_is_the_mirror_image_of_itself(axle):
    rack = rack_of(axle)
    racks = [-rack, rack] if rack else [0.0]
    assert mirrored(sweep(full(), axle, heave=[-10.0, 8.0], roll=[-ROLL, ROLL], rack=racks), (1, 2)) > 50


def test_the_car_in_roll_and_rack_is_the_mirror_image_of_itself():
    for axle in ("front", "rear"):
        found = sweep(full(), axle, heave=5.0, pitch=[-0.5, 0.5], roll=[-ROLL, ROLL], rack=[-RACK, RACK])
        assert mirrored(found, (2, 3)) > 50


# --- every entry against a formula ------------------------------------------------------------------------------------


def entries(scope: str, axle: str | None = None) -> set[str]:
    # what only axles have whose sides are one system stands against SciPy in test_kinds.py
    found = {m.name for m in EVERY if m.scope == scope and (axle is None or m.axle in (None, axle))}
    return found - JOINED if scope == "corner" else found


def test_every_entry_has_a_formula_here():
    silent = JOINED | {n for n in CORNER if "drives" in n or "gap" in n}
    assert {m.name for m in EVERY if m.silent and m.scope == "corner"} == silent
    assert entries("corner") == set(CORNER)
    assert entries("axle") == set(AXLE)
    assert {m.name for m in EVERY if m.group == "frequencies"} == set(FREQUENCIES)
    assert entries("car") == set(CAR) | set(FREQUENCIES)
    assert entries("element") == {m.name for m in RATES} == set(ELEMENT)


@pytest.mark.parametrize("axle", ["front", "rear"])
def test_every_measure_of_a_corner(axle):
    rack = rack_of(axle)
    found = sweep(full(), axle, TRAVEL, rack, measures=sorted(entries("corner", axle)))
    model = AxleModel.of(full(), axle)
    assert {m.name for m in found.measures} == entries("corner", axle), found.left_out
    unasked = {m.name for m in sweep(full(), axle, TRAVEL, rack).measures}
    assert unasked == entries("corner", axle) - {m.name for m in EVERY if m.named}
    for k in (0, 1):
        one = One(model, k, TRAVEL, rack)
        for m in found.measures:
            assert_allclose(found.values[m.name][0, 0, k], CORNER[m.name](one), **CLOSE, err_msg=m.name)


@pytest.mark.parametrize("axle", ["front", "rear"])
def test_every_measure_of_an_axle(axle):
    rack = rack_of(axle)
    wanted = entries("axle", axle) | entries("corner", axle)
    found = sweep(full(), axle, heave=HEAVE, roll=ROLL, rack=rack, measures=sorted(wanted))
    both = Both.stood(AxleModel.of(full(), axle), HEAVE, ROLL, rack)
    names = {m.name for m in found.measures}
    # without a rack the rear axle has no steering of its own
    assert names == wanted, found.left_out
    for m in found.measures:
        for k in (0, 1):
            expected = AXLE[m.name](both, k) if m.name in AXLE else CORNER[m.name](both.wheels[k])
            assert_allclose(found.values[m.name][0, 0, 0, k], expected, **CLOSE, err_msg=m.name)


def test_every_measure_of_the_car():
    found = sweep(full(), "front", heave=HEAVE, pitch=PITCH, roll=ROLL, rack=RACK)
    model = CarModel.of(full())
    flat = [np.array([v]) for v in (HEAVE, np.radians(PITCH), np.radians(ROLL), RACK)]
    stance = model.stance(*flat)
    standing = model.stand(stance)
    n = normal(ROLL, float(stance.pitch_rad[0]))
    travel = standing.travel_mm[:, 0]
    front = Both(model.front, travel[:2], RACK, n)
    rear = Both(model.rear, travel[2:], 0.0, n)
    heights = [w.p @ n for w in front.wheels] + [w.p @ n + model.shift_mm * n[0] for w in rear.wheels]
    assert_allclose(heights, heights[0], rtol=0, atol=1e-8)
    assert_allclose(travel.mean(), HEAVE, rtol=0, atol=1e-9)
    whole = Whole(front, rear, model.shift_mm)
    names = {m.name for m in found.measures if m.scope == "car"}
    assert names == set(CAR), found.left_out
    for name in names:
        for k in (0, 1):
            assert_allclose(found.values[name].ravel()[k], CAR[name](whole, k), **CLOSE, err_msg=name)


# --- rates and frequencies: differences of energy over both wheels' travels -------------------------------------------


class Inboard:
    """An element, or all of them, of an axle: deflection and energy over both wheels' travels."""

    def __init__(self, axle: str, name: str, at: float) -> None:
        self.model, self.name, self.at = AxleModel.of(full(), axle), name, at
        bar = self.model.linkage.bar
        senses = [np.sign(slope(lambda t, k=k: self._arm(k, t), 0.0)) for k in (0, 1)] if bar else [1.0, 1.0]
        self.senses = senses

    @cache  # noqa: B019
    def _one(self, side: int, travel: float) -> One:
        return One(self.model, side, travel, 0.0)

    def _arm(self, side: int, travel: float) -> float:
        bar = self.model.linkage.bar
        return float(self._one(side, travel).turn_about(bar.axis, bar.link[1]))

    def twist(self, left: float, right: float) -> float:
        return self.senses[0] * self._arm(0, left) - self.senses[1] * self._arm(1, right)

    def deflection(self, left: float, right: float) -> float:
        """mm, or deg for the bar."""
        if self.name == "bar":
            return float(np.degrees(self.twist(left, right)))
        return float(self._one(0, left).pressed())

    def force(self) -> float:
        axle, u = self.model.axle, self.deflection(self.at, self.at)
        if self.name == "bar":
            return axle.bar.rate_n_m_per_deg * u
        return axle.spring.design_force_n + axle.spring.rate_n_per_mm * u

    def energy(self, left: float, right: float) -> float:
        """N·mm, of both sides."""
        out = 0.0
        if self.name in ("spring", "sum"):
            out += self._one(0, left).energy() + self._one(1, right).energy()
        if self.name in ("bar", "sum"):
            out += 0.5 * self.model.axle.bar.rate_n_m_per_deg * 1000.0 * 180.0 / np.pi * self.twist(left, right) ** 2
        return out

    def second(self, left: float, right: float) -> float:
        """Force times second derivative: along a way of both wheels, of the spring or bar force held as it is now."""
        way = (left, right)
        t = self.at
        held = 0.0
        if self.name in ("spring", "sum"):
            for k in (0, 1):
                spring = self.model.axle.spring
                press = spring.design_force_n + spring.rate_n_per_mm * self._one(k, t).pressed()
                held += press * bend(lambda x, k=k: self._one(k, t + way[k] * x).pressed(), 0.0)
        if self.name in ("bar", "sum"):
            torque = self.model.axle.bar.rate_n_m_per_deg * 1000.0 * 180.0 / np.pi * self.twist(t, t)
            held += torque * bend(lambda x: self.twist(t + way[0] * x, t + way[1] * x), 0.0)
        return held

    def rate(self, left: float, right: float) -> float:
        return bend(lambda x: self.energy(self.at + left * x, self.at + right * x), 0.0)

    def ratio(self, left: float, right: float) -> float:
        return slope(lambda x: self.deflection(self.at + left * x, self.at + right * x), 0.0)

    def roll(self, along) -> float:
        """Of a figure along both wheels against each other, N·m/deg."""
        track = self._one(0, self.at).p[1] - self._one(1, self.at).p[1]
        return 0.25 * track**2 * along(1.0, -1.0) * np.pi / 180.0 / 1000.0


ELEMENT = {
    "deflection": lambda e: e.deflection(e.at, e.at),
    "force": lambda e: e.force(),
    "heave_ratio": lambda e: e.ratio(1.0, 1.0),
    "heave_ratio_slope_per_mm": lambda e: bend(lambda x: e.deflection(e.at + x, e.at + x), 0.0),
    "roll_ratio": lambda e: e.ratio(1.0, -1.0),
    "single_ratio": lambda e: e.ratio(1.0, 0.0),
    "heave_rate_n_per_mm": lambda e: 0.5 * e.rate(1.0, 1.0),
    "heave_second_term_n_per_mm": lambda e: 0.5 * e.second(1.0, 1.0),
    "single_rate_n_per_mm": lambda e: e.rate(1.0, 0.0),
    "single_second_term_n_per_mm": lambda e: e.second(1.0, 0.0),
    "roll_rate_n_m_per_deg": lambda e: e.roll(e.rate),
    "roll_second_term_n_m_per_deg": lambda e: e.roll(e.second),
}
WITHOUT = ("deflection", "force", "heave_ratio", "heave_ratio_slope_per_mm", "roll_ratio", "single_ratio")


@pytest.mark.parametrize("axle", ["front", "rear"])
def test_every_rate_of_an_element(axle):
    found = rates(full(), axle, [TRAVEL])
    curves = {c.name: c for c in (*found.found.curves, found.found.total)}
    assert set(curves) == {"spring", "bar", "sum"}
    for name, curve in curves.items():
        element = Inboard(axle, name, TRAVEL)
        for m in RATES:
            value = m.compute(curve)[0]
            if name == "sum" and m.name in WITHOUT:
                assert np.isnan(value)
            else:
                assert_allclose(value, ELEMENT[m.name](element), rtol=1e-6, atol=1e-6, err_msg=f"{name} {m.name}")


def _hertz(rate: float, inertia: float) -> float:
    return float(np.sqrt(rate / inertia) / (2.0 * np.pi))


def _ride(axle: str, tyre: float | None) -> float:
    heave = 0.5 * Inboard(axle, "sum", 0.0).rate(1.0, 1.0)
    share, unsprung = (0.42, 15.0) if axle == "front" else (0.58, 18.0)
    rate = heave if tyre is None else heave * tyre / (heave + tyre)
    return _hertz(1000.0 * rate, 0.5 * 470.0 * share - unsprung)


def _rolls() -> tuple[float, float]:
    front, rear = (e.roll(e.rate) for e in (Inboard("front", "sum", 0.0), Inboard("rear", "sum", 0.0)))
    return front, rear


FREQUENCIES = {
    "front_ride_hz": lambda: _ride("front", None),
    "front_ride_on_tyre_hz": lambda: _ride("front", 180.0),
    "rear_ride_hz": lambda: _ride("rear", None),
    "rear_ride_on_tyre_hz": lambda: _ride("rear", 190.0),
    "roll_rate_n_m_per_deg": lambda: sum(_rolls()),
    "front_roll_share_pct": lambda: 100.0 * _rolls()[0] / sum(_rolls()),
    "roll_hz": lambda: _hertz(sum(_rolls()) * 180.0 / np.pi, 61.0),
}


def test_every_frequency():
    found = rates(full(), "front")
    assert set(found.values) == set(FREQUENCIES), found.left_out
    for name, value in found.values.items():
        assert_allclose(value, FREQUENCIES[name](), rtol=1e-6, err_msg=name)
