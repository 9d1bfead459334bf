"""Laws of the quasi-static attitude: balance of forces put down anew, linear prediction, energy, lift, texts."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

import kin3d
from kin3d.linkage.car import Car
from kin3d.linkage.keys import Bar, Damper
from kin3d.linkage.record import changed
from kin3d.studies.settle import settle
from kin3d.studies.settled import Settled
from tests.laws.axles import one_axle

DUNLIN = Path(__file__).parents[2] / "models" / "dunlin" / "car.toml"
G = 9.81


@pytest.fixture(scope="module")
def dunlin() -> Car:
    return kin3d.load(DUNLIN)


def axles(car: Car, **keys: object) -> Car:
    """The car with keys of both axles replaced."""
    return changed(
        car,
        **{a.name: changed(a, **keys) for a in car.axles()},  # type: ignore[arg-type]
    )


def turned(settled: Settled) -> np.ndarray:
    """From the chassis frame to the ground's directions: pitch (nose down), then roll (left up) of the body."""
    pitch, roll = settled.state[10], settled.state[9]
    cp, sp, cr, sr = np.cos(pitch), np.sin(pitch), np.cos(roll), np.sin(roll)
    about_y = np.array([[cp, 0, sp], [0, 1, 0], [-sp, 0, cp]])
    return np.asarray(about_y @ np.array([[1, 0, 0], [0, cr, -sr], [0, sr, cr]]))


CASES = [(0.0, 0.0, 0.0), (1.5, 1.2, 0.0), (-0.6, -0.8, 0.0), (0.8, 2.3, 900.0)]


@pytest.mark.parametrize(("braking", "lateral", "aero"), CASES)
def test_force_and_moment_balance(dunlin: Car, braking: float, lateral: float, aero: float) -> None:
    """Tyre forces, weight, inertia and downforce of the whole car, put down again in the ground's frame.

    With upright wheels the design position is plain: contact points under the wheel centres, all at z = 0.
    """
    found = settle(axles(dunlin, camber_deg=0.0, toe_deg=0.0), braking, lateral, aero, 2.0 * aero)
    turn = turned(found)
    places = [w.contact_mm for w in found.wheels] + [(-0.58 * 2380.0, 0, 285.0), (0, 0, 0), (-2380.0, 0, 0)]
    forces = [(w.along_n, w.side_n, w.load_n) for w in found.wheels]
    forces += [470.0 * G * np.array([braking, -lateral, -1.0]), (0, 0, -aero), (0, 0, -2.0 * aero)]
    assert np.abs(np.sum(forces, axis=0)).max() < 1e-6
    moment = np.cross(np.array(places) @ turn.T, np.array(forces)).sum(axis=0) / 1000.0
    assert np.abs(moment).max() < 1e-6
    assert found.error_n < 1e-6
    assert found.error_n_m < 1e-6
    heights = (np.array(places[:4]) @ turn.T)[:, 2]
    np.testing.assert_allclose(heights, heights[0], rtol=0, atol=1e-8)


@pytest.mark.parametrize(
    ("braking", "lateral", "tyre"), [(1.5, 1.2, None), (0.0, 2.5, None), (0.9, 1.6, 80.0), (-0.7, 1.0, None)]
)
def test_each_wheel_hangs_in_balance_on_its_springs(
    dunlin: Car, braking: float, lateral: float, tyre: float | None
) -> None:
    """Virtual work with finite differences of the corner's own sweep: tyre forces and weight against the spring.

    What the force has about the spin axis of a wheel that is not braked does no work on the body that carries it.
    """
    car = axles(dunlin, bar=None, tyre_rate_n_per_mm=tyre, unsprung_mass_kg=12.0, damper=None)
    captive = {a.name: changed(a, spring=changed(a.spring, captive=True)) for a in car.axles()}  # type: ignore[type-var]
    found = settle(changed(car, **captive), braking, lateral)  # type: ignore[arg-type]
    turn = turned(found)
    for number, wheel in enumerate(found.wheels):
        axle, side = wheel.name.split()
        step = 1e-3
        near = kin3d.sweep(dunlin, axle, wheel.travel_mm + np.array([-step, 0.0, step]), measures=None).dataset()
        near = near.sel(side=side, rack_mm=0.0)
        velocity, omega = material(near, step, 1.0 if side == "left" else -1.0)
        arm = wheel.contact_mm - np.array([float(near[f"wheel_{k}_mm"][1]) for k in "xyz"])
        force = np.array([wheel.along_n, wheel.side_n, wheel.load_n]) @ turn
        toe, camber = (np.radians(float(near[k][1])) for k in ("toe_deg", "camber_deg"))
        sign = 1.0 if side == "left" else -1.0
        spin = np.array([np.sin(toe) * np.cos(camber), sign * np.cos(toe) * np.cos(camber), -np.sin(camber)])
        work = force @ (velocity + np.cross(omega, arm))
        work -= (np.cross(arm, force) @ spin) * (omega @ spin) if braking <= 0.0 else 0.0
        work += 12.0 * G * np.array([braking, -lateral, -1.0]) @ turn @ velocity
        spring = next(e for e in found.elements if e.axle == axle and e.name == f"spring {side}")
        ratio = -float(near["spring_length_mm"][2] - near["spring_length_mm"][0]) / (2 * step)
        assert work == pytest.approx(spring.force * ratio, rel=0, abs=2e-3), number
        assert spring.unit == "mm"


def material(near: object, step: float, sign: float) -> tuple[np.ndarray, np.ndarray]:
    """Velocity of the wheel centre and angular velocity of the upright, from two near positions of its two axes."""
    place = np.stack([near[f"wheel_{k}_mm"].values for k in "xyz"], axis=-1)  # type: ignore[index]
    angle = {n: np.radians(near[f"{n}_deg"].values) for n in ("camber", "toe", "caster", "kingpin")}  # type: ignore[index]
    flat = np.cos(angle["camber"])
    spin = np.stack([flat * np.sin(angle["toe"]), sign * flat * np.cos(angle["toe"]), -np.sin(angle["camber"])], -1)
    king = np.stack([-np.tan(angle["caster"]), -sign * np.tan(angle["kingpin"]), np.ones(3)], -1)
    king /= np.linalg.norm(king, axis=-1, keepdims=True)
    frames = np.stack([spin, king, np.cross(spin, king)], axis=-1)
    rate = (frames[2] - frames[0]) / (2 * step) @ np.linalg.inv(frames[1])
    return (place[2] - place[0]) / (2 * step), np.array([rate[2, 1], rate[0, 2], rate[1, 0]])


def test_small_braking_agrees_with_wheel_rate_and_anti_dive(dunlin: Car) -> None:
    """δz = ΔF·(1 − anti)/k at the front: load transfer over the wheelbase, linear for small decelerations."""
    level = axles(dunlin, bar=None)
    here = settle(level)
    travel = here.wheels[0].travel_mm
    front = kin3d.sweep(level, "front", [travel]).dataset().sel(side="left", rack_mm=0.0)
    height, base = 285.0 + here.centre_rise_mm, 2380.0
    slope = float(front["anti_dive_pct"][0]) / 100.0 / (0.62 * 2380.0 / 285.0)  # v_x/v_z
    small = 1e-3
    transfer = 470.0 * G * small * height / base / 2.0
    braking = 0.62 * 470.0 * G * small / 2.0
    expected = (transfer - braking * slope) / float(front["wheel_rate_n_per_mm"][0])
    found = settle(level, small).wheels[0].travel_mm - settle(level, -0.0).wheels[0].travel_mm
    assert found == pytest.approx(expected, rel=0.01, abs=0)


def test_small_cornering_agrees_with_roll_stiffness(dunlin: Car) -> None:
    """Roll = m·a·(h − h_RC)/(K − m·g·(h − h_RC)) with K from wheel rates and half tracks; no bars."""
    level = axles(dunlin, bar=None)
    here, small = settle(level), 1e-3
    lever, stiffness = 0.0, 0.0
    height = 285.0 + here.centre_rise_mm
    for axle, share in (("front", 0.42), ("rear", 0.58)):
        at = kin3d.sweep(level, axle, [here.wheels[0 if axle == "front" else 2].travel_mm]).dataset()
        at = at.sel(side="left", rack_mm=0.0)
        half = float(at["contact_y_mm"][0])
        stiffness += 2.0 * float(at["wheel_rate_n_per_mm"][0]) * half**2
        lever += share * (height - float(at["roll_centre_height_mm"][0]))
    weight = 470.0 * G
    expected = np.degrees(weight * small * lever / (stiffness - weight * lever))
    found = settle(level, 0.0, small).roll_deg
    assert found == pytest.approx(expected, rel=0.02, abs=0)
    assert found > 0.0  # a left turn leans the body to the right: its left side rises


def test_mirror(dunlin: Car) -> None:
    left, right = settle(dunlin, 0.7, 1.4), settle(dunlin, 0.7, -1.4)
    for a, b in ((0, 1), (1, 0), (2, 3), (3, 2)):
        one, other = left.wheels[a], right.wheels[b]
        for name in ("travel_mm", "load_n", "camber_ground_deg", "toe_ground_deg"):
            assert getattr(one, name) == pytest.approx(getattr(other, name), rel=0, abs=1e-6), name
        assert one.side_n == pytest.approx(-other.side_n, rel=0, abs=1e-6)
    assert left.roll_deg == pytest.approx(-right.roll_deg, rel=0, abs=1e-9)
    assert left.pitch_deg == pytest.approx(right.pitch_deg, rel=0, abs=1e-9)


def test_work_of_the_loads_is_the_energy_of_the_springs(dunlin: Car) -> None:
    """Cornering brought on in steps: work of weight and side force on the body and of the tyres, by Simpson's rule.

    The car stands still in the ground's frame but for the slip of its contact points, on which the side forces work.
    """
    from scipy.interpolate import CubicSpline

    steps = np.linspace(0.0, 1.0, 9)
    states = [settle(dunlin, 0.0, 1.4 * s) for s in steps]
    # seen from the chassis weight and inertia of the body do no work; the tyre forces do, on their contact points
    work = 0.0
    for number in range(4):
        place = np.stack([s.wheels[number].contact_mm for s in states])
        wheels = [s.wheels[number] for s in states]
        force = np.stack(
            [np.array([w.along_n, w.side_n, w.load_n]) @ turned(s) for s, w in zip(states, wheels, strict=True)]
        )
        power = np.einsum("ij,ij->i", force, CubicSpline(steps, place).derivative()(steps))
        work += float(CubicSpline(steps, power).integrate(0.0, 1.0))
    stored = states[-1].energy_n_mm - states[0].energy_n_mm
    assert work == pytest.approx(stored, rel=1e-3, abs=0)
    assert stored > 5e3


def test_bars_share_the_roll(dunlin: Car) -> None:
    soft = settle(axles(dunlin, bar=None), 0.0, 1.0)
    assert dunlin.front is not None
    stiff_front = changed(dunlin, front=changed(dunlin.front, bar=Bar(rate_n_m_per_deg=60.0)))
    plain, stiff = settle(dunlin, 0.0, 1.0), settle(stiff_front, 0.0, 1.0)
    assert soft.roll_deg >= plain.roll_deg
    assert [f.code for f in plain.findings].count("bar-without-points") <= 2
    assert stiff.error_n < 1e-6


def test_a_wheel_that_lifts_carries_nothing_and_hangs(dunlin: Car) -> None:
    found = settle(dunlin, 0.0, 2.5)
    wheel = found.wheels[0]
    assert wheel.lifted
    assert wheel.load_n == 0.0
    assert wheel.gap_mm > 1.0
    assert found.error_n < 1e-6
    assert "the front left wheel lifts off, " in "\n".join(str(f) for f in found.findings)
    assert sum(w.load_n for w in found.wheels) == pytest.approx(470.0 * G, rel=0, abs=1e-6)


def test_tyres_with_a_rate_give_way(dunlin: Car) -> None:
    """Downforce sinks the body by springs and tyres; each tyre by its extra load over its rate."""
    soft = axles(dunlin, tyre_rate_n_per_mm=150.0)
    hard, found = (settle(c, aero_front=800.0, aero_rear=1200.0) for c in (dunlin, soft))
    static = (0.42, 0.42, 0.58, 0.58)
    for share, a, b in zip(static, hard.wheels, found.wheels, strict=True):
        assert b.gap_mm == pytest.approx(-(b.load_n - 0.5 * share * 470.0 * G) / 150.0, rel=0, abs=1e-6)
        assert b.load_n == pytest.approx(a.load_n, rel=1e-3, abs=0)
    assert found.centre_rise_mm < hard.centre_rise_mm - 3.0


def test_unsprung_masses_do_not_load_the_springs(dunlin: Car) -> None:
    """With 15 and 18 kg a wheel, as in the file's own reckoning, the given spring forces hold the car as designed."""
    front, rear = (
        changed(a, unsprung_mass_kg=m) for a, m in zip(dunlin.axles(), (15.0, 18.0), strict=True)
    )
    found = settle(changed(dunlin, front=front, rear=rear))
    assert max(abs(w.travel_mm) for w in found.wheels) < 0.5
    assert min(w.travel_mm for w in settle(axles(dunlin, unsprung_mass_kg=None)).wheels) > 3.0


def test_springs_without_a_given_force_hold_the_design_position(dunlin: Car) -> None:
    front, rear = (
        changed(a, spring=changed(a.spring, design_force_n=None))  # type: ignore[type-var]
        for a in dunlin.axles()
    )
    found = settle(changed(dunlin, front=front, rear=rear))
    for wheel in found.wheels:
        assert wheel.travel_mm == pytest.approx(0.0, rel=0, abs=1e-6)
    assert "which holds the static load there" in "\n".join(str(f) for f in found.findings)


def test_springs_and_dampers_beyond_their_travel_are_told(dunlin: Car) -> None:
    assert dunlin.front is not None
    short = changed(dunlin.front, damper=Damper(bump_mm=10.0, droop_mm=10.0))
    found = settle(changed(dunlin, front=short), 0.0, 2.0)
    text = "\n".join(str(f) for f in found.findings)
    assert "[front.damper] spring right: is " in text
    assert "beyond the stroke that the damper has there" in text
    # in droop the damper's end holds
    assert "[front] damper end left: is met, with " in text


def test_wrong_and_missing_data(dunlin: Car, tmp_path: Path) -> None:
    bare = changed(
        dunlin, data=changed(dunlin.data, mass_kg=None, cg_height_mm=None, front_brake_share=None)
    )
    with pytest.raises(kin3d.Kin3dError) as caught:
        settle(bare, 1.0)
    text = str(caught.value)
    for key in ("mass_kg", "cg_height_mm", "front_brake_share"):
        assert f"[car] {key}: is missing; the attitude under load needs it" in text
    for drive, key in ((None, "drive"), ("all", "front_drive_share")):
        undriven = changed(dunlin, data=changed(dunlin.data, drive=drive, front_drive_share=None))
        with pytest.raises(kin3d.Kin3dError, match=rf"\[car\] {key}: is missing; the attitude under load needs it"):
            settle(undriven, driving=0.3)
    with pytest.raises(kin3d.Kin3dError, match=r"\[rear\.spring\]: is missing; give the springs of the rear axle"):
        settle(changed(dunlin, rear=changed(dunlin.rear, spring=None)))  # type: ignore[type-var]
    with pytest.raises(kin3d.Kin3dError, match=r"has no \[rear\] axle"):
        settle(one_axle(tmp_path, spring={"rate_n_per_mm": 30.0}))
    with pytest.raises(kin3d.Kin3dError, match=r"--lateral: a finite number is expected"):
        settle(dunlin, 0.0, float("nan"))
    with pytest.raises(kin3d.Kin3dError, match=r"no attitude .* the largest that is held is 2\.[3-7]"):
        settle(dunlin, 0.0, 4.0)
