"""Settled is settled: the load at which a car falls over by hand, lift by geometry, least energy, slack springs."""

from __future__ import annotations

import re
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline
from scipy.optimize import minimize

import kin3d
from kin3d.linkage.car import Car
from kin3d.linkage.keys import Damper, Spring
from kin3d.linkage.record import changed
from kin3d.studies.settle import settle
from kin3d.studies.settled import Settled

Array = NDArray[np.float64]
DUNLIN = Path(__file__).parents[2] / "models" / "dunlin" / "car.toml"
WEIGHT, G = 470.0 * 9.81, 9.81
SHARES = np.array([0.42, 0.42, 0.58, 0.58])
RADII = np.array([260.0, 260.0, 267.0, 267.0])


@pytest.fixture(scope="module")
def dunlin() -> Car:
    return kin3d.load(DUNLIN)


def axles(car: Car, **keys: object) -> Car:
    """The car with keys of both axles replaced."""
    return changed(car, **{a.name: changed(a, **keys) for a in car.axles()})  # type: ignore[arg-type]


def largest_g(car: Car, asked: float) -> float:
    """The largest lateral load that the program says is held."""
    with pytest.raises(kin3d.Kin3dError, match="no attitude carries these loads") as caught:
        settle(car, 0.0, asked)
    found = re.search(r"the largest that is held is ([0-9.]+) g to the left", str(caught.value))
    assert found is not None
    return float(found[1])


@pytest.mark.parametrize("give", [0.0, 4.0, 12.0])
def test_a_car_on_rigid_springs_falls_over_where_the_balance_by_hand_says(dunlin: Car, give: float) -> None:
    """Plane statics: both inside tyres are let out by their static give, both outside ones pressed in as much more.

    The line through cg and outside contact point is then upright to weight and inertia together: without tyre give
    lateral g = track/(2 h).
    """
    assert dunlin.front is not None
    stiff = Spring(rate_n_per_mm=3e4)
    tyre = (lambda share: 0.5 * share * WEIGHT / give) if give else (lambda share: None)
    front = changed(dunlin.front, spring=stiff, bar=None, camber_deg=0.0, toe_deg=0.0, tyre_rate_n_per_mm=tyre(0.42))
    rear = changed(front, name="rear", tyre_rate_n_per_mm=tyre(0.58))
    car = changed(dunlin, front=front, rear=rear)
    half, height = float(front.points["wheel_centre"][1]), 285.0
    lean = np.arcsin(give / half)  # the ground's plane goes through both contact points
    outward, upward = np.array([np.cos(lean), np.sin(lean)]), np.array([-np.sin(lean), np.cos(lean)])
    arm = np.array([half, 0.0]) + give * upward - np.array([0.0, height])  # from mass centre to outside contact
    expected = float(arm @ outward / -(arm @ upward))
    if not give:
        assert expected == pytest.approx(half / height, rel=1e-12, abs=0)
    assert largest_g(car, 1.1 * expected) == pytest.approx(expected, rel=2e-3, abs=0)
    assert not settle(car, 0.0, 0.99 * expected).state[9] < 0.0


def test_roll_rises_with_lateral_load_up_to_the_largest(dunlin: Car) -> None:
    soft = axles(dunlin, tyre_rate_n_per_mm=50.0)
    largest = largest_g(soft, 3.0)
    found = [settle(soft, 0.0, g) for g in (1.0, 2.0, 0.95 * largest, 0.999 * largest)]
    assert all(b.roll_deg > a.roll_deg + 0.01 for a, b in pairwise(found))
    assert found[-1].wheels[0].lifted
    with pytest.raises(kin3d.Kin3dError, match="no attitude carries these loads"):
        settle(soft, 0.0, 1.002 * largest)


def body_of(car: Car, found: Settled) -> dict[str, Array]:
    """Each wheel's centre, spin axis and spring length over travel by the corner's own sweep, (4, n, …)."""
    travel = np.linspace(-45.0, 45.0, 61)
    out: dict[str, list[Array]] = {"centre": [], "axis": [], "length": []}
    for wheel in found.wheels:
        axle, side = wheel.name.split()
        rows = kin3d.sweep(car, axle, travel).dataset().sel(side=side, rack_mm=0.0)
        sign = 1.0 if side == "left" else -1.0
        camber, toe = (np.radians(rows[f"{k}_deg"].values) for k in ("camber", "toe"))
        flat = np.cos(camber)
        out["axis"].append(np.stack([flat * np.sin(toe), sign * flat * np.cos(toe), -np.sin(camber)], -1))
        shift = [0.0 if axle == "front" else found.wheels[2].contact_mm[0] - rows["contact_x_mm"].values[30], 0, 0]
        out["centre"].append(np.stack([rows[f"wheel_{k}_mm"].values for k in "xyz"], -1) + np.round(shift, 0))
        out["length"].append(rows["spring_length_mm"].values)
    return {"travel": travel} | {k: np.stack(v) for k, v in out.items()}


def loaded_point(centre: Array, axis: Array, radius: float, up: Array) -> Array:
    """Lowest point of a disc of the loaded radius, up being the ground's normal."""
    down = up - (up @ axis) * axis
    return np.asarray(centre - radius * down / np.linalg.norm(down))


def test_the_lift_is_the_distance_to_the_ground_through_the_other_tyres(dunlin: Car) -> None:
    soft = axles(dunlin, tyre_rate_n_per_mm=50.0)
    found = settle(soft, 0.0, 2.4)
    body = body_of(soft, found)
    feet = [w.contact_mm for w in found.wheels[1:]]
    up = np.cross(feet[2] - feet[0], feet[1] - feet[0])
    up *= np.sign(up[2]) / np.linalg.norm(up)
    at = [CubicSpline(body["travel"], body[k][0])(found.wheels[0].travel_mm) for k in ("centre", "axis")]
    above = float((loaded_point(at[0], at[1], 260.0, up) - feet[0]) @ up)
    assert found.wheels[0].lifted
    assert found.wheels[0].gap_mm == pytest.approx(above - 0.5 * 0.42 * WEIGHT / 50.0, rel=0, abs=1e-4)
    assert found.wheels[0].gap_mm > 10.0


@pytest.mark.parametrize("lateral", [1.5, 2.4])
def test_a_settled_car_lies_in_a_minimum_of_energy(dunlin: Car, lateral: float) -> None:
    """scipy's minimiser on springs, tyres, weight and inertia, side forces held as they are, comes back to the state.

    Lengths and places are those of the corners' own sweeps; tyres press from their free radius on and never pull.
    """
    soft = axles(dunlin, tyre_rate_n_per_mm=50.0, bar=None, damper=None)
    found = settle(soft, 0.0, lateral)
    body = body_of(soft, found)
    splines = {k: [CubicSpline(body["travel"], v) for v in body[k]] for k in ("centre", "axis", "length")}
    rates, forces = np.array([38.0, 38.0, 41.0, 41.0]), np.array([1030.0, 1030.0, 1380.0, 1380.0])
    shorter = [float(s(0.0)) for s in splines["length"]]
    mass_centre = np.array([-0.58 * 2380.0, 0.0, 285.0])
    origin = mass_centre[2] - 285.0
    assert origin == 0.0

    def energy(x: Array) -> float:
        roll, pitch = x[5:] / 1000.0
        up = np.array([-np.sin(pitch), np.cos(pitch) * np.sin(roll), np.cos(pitch) * np.cos(roll)])
        left = np.cross(up, [1.0, 0.0, 0.0])
        left /= np.linalg.norm(left)
        total = WEIGHT * (up @ mass_centre - x[4]) + WEIGHT * lateral * (left @ mass_centre)
        for k in range(4):
            pressed = shorter[k] - float(splines["length"][k](x[k])) + forces[k] / rates[k]
            total += 0.5 * rates[k] * max(pressed, 0.0) ** 2
            foot = loaded_point(splines["centre"][k](x[k]), splines["axis"][k](x[k]), RADII[k], up)
            total += 0.5 * 50.0 * max(0.5 * SHARES[k] * WEIGHT / 50.0 - (up @ foot - x[4]), 0.0) ** 2
            let_out = found.wheels[k].gap_mm  # the side force acts where the ground is
            foot = loaded_point(splines["centre"][k](x[k]), splines["axis"][k](x[k]), RADII[k] + let_out, up)
            total -= found.wheels[k].side_n * (left @ foot)
        return float(total)

    state = np.array([*found.state[:4], found.state[8], *(1000.0 * found.state[9:11])])
    off = np.array([2.0, -1.0, 1.5, -2.0, 1.0, 2.0, -1.0])
    near = list(zip(state - 8.0, state + 8.0, strict=True))
    lowest = minimize(energy, state + off, bounds=near, options={"ftol": 1e-14, "gtol": 1e-4, "maxfun": 20000}).x
    # close to the largest load the softest way has hardly any stiffness: small forces move it by a tenth of a mm
    np.testing.assert_allclose(lowest[1:], state[1:], rtol=0, atol=0.1 if lateral < 2.0 else 0.2)
    # a wheel in the air without mass lies where its spring has just no force
    assert lowest[0] == pytest.approx(state[0], rel=0, abs=0.1 if lateral < 2.0 else 2.5)


def test_a_slack_spring_carries_nothing_and_a_captive_one_pulls(dunlin: Car) -> None:
    """A wheel of 15 kg whose spring is slack stands on the ground with no more than its own weight."""
    heavy = axles(dunlin, bar=None, unsprung_mass_kg=15.0, damper=None)
    captives = {a.name: changed(a, spring=changed(a.spring, captive=True)) for a in heavy.axles()}  # type: ignore[type-var]
    held = changed(heavy, **captives)  # type: ignore[arg-type]
    slack, captive = settle(heavy, 0.0, 2.25), settle(held, 0.0, 2.5)
    one, other = (next(e for e in s.elements if (e.axle, e.name) == ("front", "spring left")) for s in (slack, captive))
    assert one.force == 0.0
    assert one.slack_mm == pytest.approx(-1030.0 / 38.0 - one.deflection, rel=0, abs=1e-9)
    # virtual work of that wheel: ground's force on its contact point, weight and inertia on its centre
    wheel, roll = slack.wheels[0], float(slack.state[9])
    near = kin3d.sweep(heavy, "front", wheel.travel_mm + np.array([-0.01, 0.01])).dataset()
    near = near.sel(side="left", rack_mm=0.0)
    foot, hub = (np.array([float(np.diff(near[f"{p}_y_mm"].values)[0]) / 0.02, 1.0]) for p in ("contact", "wheel"))
    up, left = np.array([np.sin(roll), np.cos(roll)]), np.array([np.cos(roll), -np.sin(roll)])
    work = wheel.load_n * (foot @ up) + wheel.side_n * (foot @ left)
    assert work == pytest.approx(15.0 * G * (hub @ up + 2.25 * (hub @ left)), rel=0.02, abs=0)
    assert f"[front] spring left: is slack, {one.slack_mm:.1f} mm beyond its free length" in words(slack)
    assert other.force < -100.0
    assert "slack" not in words(captive)
    assert max(slack.error_n, captive.error_n) < 1e-6


def test_a_wheel_in_the_air_hangs_on_the_end_of_its_damper(dunlin: Car) -> None:
    """The damper holds the spring together, and 15 kg hang on its end."""
    heavy = axles(dunlin, bar=None, unsprung_mass_kg=15.0)
    assert heavy.front is not None
    short = changed(heavy.front, damper=Damper(bump_mm=34.0, droop_mm=4.0))
    found = settle(changed(heavy, front=short), 0.0, 2.0)
    assert found.wheels[0].lifted
    spring, end = (
        next(e for e in found.elements if (e.axle, e.name) == ("front", n)) for n in ("spring left", "damper end left")
    )
    assert spring.deflection == pytest.approx(-4.0, rel=0, abs=0.1)
    assert spring.force > 0.0
    assert end.force < 0.0


def words(found: Settled) -> str:
    return "\n".join(str(f) for f in found.findings)
