"""Axles whose sides are one system in rates, on the ground and under load: against rigid bodies in SciPy."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose

import kin3d
from kin3d.linkage.car import Car
from kin3d.linkage.keys import LoadCase
from kin3d.linkage.layout_file import builtin
from kin3d.linkage.record import changed
from kin3d.loads.applied import RoadLoad
from kin3d.studies.car import CarModel
from kin3d.studies.case import case_of
from kin3d.studies.corner_case import model_of
from kin3d.studies.derived import AskedMeasures
from kin3d.studies.rates import axle_rates
from tests.kinds import KINDS, demo_car
from tests.laws.cars import car as demo
from tests.laws.test_axle_settle import turned
from tests.laws.test_kinds import carried, contact, reference

JOINED = tuple(k for k in KINDS if builtin(k).across.there)
SPRUNG = tuple(k for k in JOINED if "spring_outer" in builtin(k).demo and k != "one spring across")
SPRING = "[rear.spring]\nrate_n_per_mm = 40\ndesign_force_n = 2700\n"
STEP = 0.5


def whole_car(tmp_path: Path, kind: str) -> Car:
    """Dunlin's front with that layout at the rear."""
    rear = demo_car(tmp_path, kind, more=SPRING)
    front = demo("dunlin").front
    assert front is not None
    assert front.spring is not None
    spring = changed(front.spring, rate_n_per_mm=80.0, design_force_n=None)
    return changed(rear, front=changed(front, bar=None, damper=None, spring=spring))


class Springs:
    """Lengths of both springs of the independent rigid bodies, and places of what its wheels carry."""

    def __init__(self, kind: str) -> None:
        self.machine, self.design = reference(kind)

    def at(self, left: float, right: float) -> dict[str, np.ndarray]:
        return self.machine.solve(self.design, {"left": left, "right": right})

    def lengths(self, places: dict[str, np.ndarray]) -> np.ndarray:
        ends = [(f"{s}_spring_outer", f"{s}_spring_inner") for s in ("left", "right")]
        return np.array([np.linalg.norm(places[a] - places[b]) for a, b in ends])

    def ratios(self, left: float, right: float) -> np.ndarray:
        """Shortening of (left, right) spring by (left, right) travel."""
        out = []
        for way in np.eye(2):
            before, after = (self.lengths(self.at(*(np.array([left, right]) + s * STEP * way))) for s in (-1.0, 1.0))
            out.append(-(after - before) / (2.0 * STEP))
        return np.array(out).T


@pytest.mark.parametrize("kind", SPRUNG)
def test_rates_by_the_energy_of_the_springs(tmp_path: Path, kind: str) -> None:
    """Second differences of ½·k·u² + F·u of both springs over both travels; heave, one wheel, roll of the axle."""
    found = axle_rates(demo_car(tmp_path, kind, more=SPRING), "rear", [10.0])
    springs, step = Springs(kind), 2.0
    free = springs.lengths(springs.at(0.0, 0.0))

    def energy(left: float, right: float) -> float:
        u = free - springs.lengths(springs.at(10.0 + left, 10.0 + right))
        return float((0.5 * 40.0 * u**2 + 2700.0 * u).sum())

    e = {(i, j): energy(i * step, j * step) for i in (-1, 0, 1) for j in (-1, 0, 1)}
    ll = (e[1, 0] - 2.0 * e[0, 0] + e[-1, 0]) / step**2
    rr = (e[0, 1] - 2.0 * e[0, 0] + e[0, -1]) / step**2
    lr = (e[1, 1] - e[1, -1] - e[-1, 1] + e[-1, -1]) / (4.0 * step**2)
    here = springs.at(10.0, 10.0)
    track = float(contact(here, "left")[1] - contact(here, "right")[1])
    assert_allclose(found.total.heave_rate[0], 0.5 * (ll + 2.0 * lr + rr), rtol=2e-4)
    assert_allclose(found.total.single_rate[0], ll, rtol=2e-4)
    roll = 0.25 * track**2 * (ll - 2.0 * lr + rr) / 1000.0 * np.pi / 180.0
    assert_allclose(found.total.roll_rate[0], roll, rtol=2e-4)


@pytest.mark.parametrize("kind", SPRUNG)
@pytest.mark.parametrize(("braking", "lateral"), [(0.4, 0.5)])
def test_a_settled_axle_is_in_balance(tmp_path: Path, kind: str, braking: float, lateral: float) -> None:
    """Virtual work along each wheel's travel: the tyres' forces on both wheels against both springs."""
    car = whole_car(tmp_path, kind)
    found = kin3d.settle(car, braking, lateral)
    wheels, shift, springs = found.wheels[2:], CarModel.of(car).shift_mm, Springs(kind)
    left, right = (w.travel_mm for w in wheels)
    here, ratios = springs.at(left, right), springs.ratios(left, right)
    forces = np.array([e.force for e in found.elements if e.axle == "rear"])
    turn = turned(found)
    for number, way in enumerate(np.eye(2)):
        before, after = (springs.at(left + s * STEP * way[0], right + s * STEP * way[1]) for s in (-1.0, 1.0))
        work = 0.0
        for side, wheel in zip(("left", "right"), wheels, strict=True):
            p = wheel.contact_mm - [shift, 0.0, 0.0]
            moved = [carried(springs.machine, places, here, side, p) for places in (before, after)]
            push = np.array([wheel.along_n, wheel.side_n, wheel.load_n]) @ turn
            work += float(push @ (moved[1] - moved[0])) / (2.0 * STEP)
        assert_allclose(work, forces @ ratios[:, number], rtol=0, atol=0.05, err_msg=kind)


def test_a_settled_twist_beam_is_the_same_mirrored(tmp_path: Path) -> None:
    car = whole_car(tmp_path, "twist beam")
    one, other = kin3d.settle(car, 0.2, 0.4), kin3d.settle(car, 0.2, -0.4)
    for a, b in ((0, 1), (1, 0), (2, 3), (3, 2)):
        for name in ("travel_mm", "load_n", "camber_ground_deg", "toe_ground_deg"):
            assert_allclose(getattr(one.wheels[a], name), getattr(other.wheels[b], name), rtol=0, atol=1e-6)
    assert_allclose(one.roll_deg, -other.roll_deg, rtol=0, atol=1e-9)


def test_one_spring_across_is_one_spring(tmp_path: Path) -> None:
    """It holds both wheels: half of its rate at each in heave, nothing against roll."""
    spring = '[[rear.springs]]\nname = "heave spring"\npoints = ["spring_outer", "spring_inner"]\nrate_n_per_mm = 80\n'
    car = demo_car(tmp_path, "one spring across", more=spring)
    found = axle_rates(car, "rear", [0.0]).curves[0]
    machine, design = reference("one spring across")

    def length(left: float, right: float) -> float:
        at = machine.solve(design, {"left": left, "right": right})
        return float(np.linalg.norm(at["spring_outer"] - at["spring_inner"]))

    ratio = -(length(STEP, STEP) - length(-STEP, -STEP)) / (2.0 * STEP)
    assert_allclose(found.heave_rate[0], 0.5 * 80.0 * ratio**2, rtol=1e-5)
    assert_allclose(found.single_rate[0], 0.25 * 80.0 * ratio**2, rtol=1e-4)
    assert abs(found.roll_ratio[0]) < 1e-12


NAMES = (
    "camber_ground_deg",
    "toe_ground_deg",
    "roll_centre_height_mm",
    "roll_centre_offset_mm",
    "spring_share_cornering_pct",
    "spring_share_braking_pct",
    "jacking_coefficient",
    "camber_recovery_pct",
    "track_mm",
)


@pytest.mark.parametrize("kind", JOINED)
def test_derivatives_on_the_ground(tmp_path: Path, kind: str) -> None:
    """Along roll and along a change of every coordinate of the table at once: against changed cars."""
    drives = {"roll": [1.3], "heave": 4.0}
    case = case_of("rear", None, (0.0,), list(NAMES), **drives)
    model = model_of(case, demo_car(tmp_path, kind))
    there, _ = model.available(case.measures)
    parts, at = model.parts, case.at
    change = np.random.default_rng(5).normal(size=parts[0].places_mm.shape)
    for row, name in enumerate(parts[0].names):
        if name.startswith(("bush", "mono")):
            change[row] = 0.0  # a point on a slider's line would leave it
    seeds = np.concatenate([np.tensordot(change, p.seeds, axes=2) for p in parts])[None]
    found = model.derive(model.design[None], at, AskedMeasures(there, rates=True, seeds=seeds))
    swept = kin3d.sweep(demo_car(tmp_path, kind), "rear", **drives, measures=[m.name for m in there])
    step = 2e-3

    def slope(values: list[np.ndarray]) -> np.ndarray:
        a, b, c, d = values
        return (8.0 * (c - b) - (d - a)) / (12.0 * step)

    asked = AskedMeasures(there)
    moved = [model.derive(model.design + k * step * seeds, at, asked).value for k in (-2, -1, 1, 2)]
    rolled = [model.derive(model.design[None], at + k * step, asked).value for k in (-2, -1, 1, 2)]
    for k, m in enumerate(there):
        value = float(found.value[k, 0])
        assert_allclose(value, swept.values[m.name].ravel()[0], rtol=1e-9, atol=1e-9, err_msg=m.name)
        for what, exact, near in (("points", found.slope[k, 0, 0], moved), ("roll", found.rate[k, 0], rolled)):
            expected = float(slope([v[k] for v in near])[0])
            size = 1e-6 * (abs(expected) + 1e-2 * abs(value) + 1.0)
            assert abs(exact - expected) < size, (what, m.name, exact, expected)


RODS = {
    "live axle with panhard rod": ("left lower link", "right lower link", "upper link", "Panhard rod"),
    "live axle with triangulated links": ("left lower link", "right lower link", "left upper link", "right upper link"),
}
CASES = (
    LoadCase(name="kerb", axle="rear", side="left", contact_n=(-800.0, 500.0, 3000.0), wheel="braked"),
    LoadCase(name="turn", lateral_g=0.4, braking_g=0.3),
)


def on_the_axle(kind: str, roads: tuple[RoadLoad, ...], travels: list[float]) -> tuple[np.ndarray, list[str]]:
    """Axial forces of four rods and two springs from the six equations of the axle as a free body."""
    machine, design = reference(kind)
    at = machine.solve(design, dict(zip(("left", "right"), travels, strict=True)))
    rods = list(RODS[kind])
    ends = {"left spring": ("left_spring_outer", "left_spring_inner")}
    ends |= {"right spring": ("right_spring_outer", "right_spring_inner")}
    for rod in rods:
        points = machine.bodies[rod]
        outer = next(p for p in points if p in machine.bodies["axle"])
        ends[rod] = (outer, next(p for p in points if p != outer))
    columns = []
    for outer, inner in ends.values():
        pull = (at[inner] - at[outer]) / np.linalg.norm(at[inner] - at[outer])
        columns.append(np.concatenate([pull, np.cross(at[outer], pull)]))
    load = np.zeros(6)
    for road in roads:
        foot, force, couple = (v[:, 0] for v in (road.foot, road.force, road.couple))
        load += np.concatenate([force, np.cross(foot, force) + couple])
    return np.linalg.solve(np.array(columns).T, -load), list(ends)


@pytest.mark.parametrize("kind", RODS)
def test_forces_by_the_axle_as_a_free_body(tmp_path: Path, kind: str) -> None:
    car = changed(whole_car(tmp_path, kind), cases=CASES)
    settled = kin3d.settle(car, 0.3, 0.4)
    for part in kin3d.forces(car, [12.0], axle="rear").parts:
        travels = [12.0, 12.0] if part.case == "kerb" else [w.travel_mm for w in settled.wheels[2:]]
        assert part.side == ("left" if part.case == "kerb" else "both")
        assert part.error < 1e-6
        expected, names = on_the_axle(kind, part.roads, travels)
        found = {f.name: float(f.axial[0]) for f in part.forces() if f.axial is not None}
        assert_allclose([found[n] for n in names], expected, rtol=1e-7, atol=1e-4, err_msg=part.case)


@pytest.mark.parametrize("kind", SPRUNG)
def test_forces_leave_nothing_over(tmp_path: Path, kind: str) -> None:
    """Of a car settled without speed the springs have the forces that hold its weight, and every body is in balance."""
    car = changed(whole_car(tmp_path, kind), cases=(LoadCase(name="rest", vertical_g=1.0),))
    (part,) = kin3d.forces(car, axle="rear").parts
    assert part.error < 1e-6
    up = sum(float(f.force[2, 0]) for f in part.forces() if f.kind == "pickup")
    assert_allclose(up, sum(float(r.force[2, 0]) for r in part.roads), rtol=0, atol=1e-5)


def test_a_side_with_points_of_its_own_is_asked_on_the_ground(tmp_path: Path) -> None:
    """Over travel one table would be left out: refused with the way out, which has the causes of both tables."""
    kind = "live axle with triangulated links"
    demo_car(tmp_path, kind)
    rows = [f"{n},{x},{-y},{z + 3.0 * (n == 'upper_inner')},1" for n, (x, y, z) in builtin(kind).demo.items()]
    (tmp_path / "right.csv").write_text("\n".join(["point,x,y,z,sigma", *rows, ""]), "utf-8")
    text = (tmp_path / "car.toml").read_text("utf-8")
    (tmp_path / "car.toml").write_text(text.replace("\nunits", '\nother_points = "right.csv"\nunits'), "utf-8")
    car = kin3d.load(tmp_path / "car.toml")
    with pytest.raises(kin3d.Kin3dError, match="ask over --heave or --roll, where both tables have their part"):
        kin3d.tolerance(car, "rear", [0.0])
    found = kin3d.tolerance(car, "rear", heave=[0.0], measures=["roll_centre_height_mm"], samples=1500)
    assert found.spread is not None
    assert_allclose(found.spread.sigma, found.first.sigma, rtol=0.08)
    assert found.first.sigma.min() > 0.1
