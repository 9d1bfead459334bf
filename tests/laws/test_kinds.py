"""Every built-in layout against rigid bodies of the whole car in SciPy: positions, roll centre, motion ratios."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose

import kin3d
from kin3d.solve.model import AxleModel
from tests.kinds import KINDS, demo_car
from tests.oracles.both_sides import whole_car
from tests.oracles.five_rod import spin_from_angles
from tests.oracles.rigid_bodies import Machine

RADIUS = 290.0
TRAVELS = np.array([[-30.0, 25.0], [20.0, 10.0]])  # left, right
STEER = {"rack": 6.0, "pitman": np.radians(5.0), "drag": 8.0}
# of travel and roll: the step of the central difference, mm
STEP = 2.0


def reference(kind: str) -> tuple[Machine, dict[str, np.ndarray]]:
    from kin3d.linkage.layout_file import builtin

    return whole_car(kind, builtin(kind).demo, spin_from_angles(-1.0, 0.1))


@pytest.mark.parametrize("kind", KINDS)
def test_positions(tmp_path: Path, kind: str) -> None:
    model = AxleModel.of(demo_car(tmp_path, kind), "rear")
    rack = np.array([0.0, STEER["rack"] if model.linkage.rack else 0.0])
    more = {n: np.array([0.0, STEER[n]]) for n in model.linkage.driven}
    lanes = model.pair(TRAVELS, rack, more)
    solved = model.kernel.solve(model.variants, lanes)
    assert not solved.status.any()
    found = model.kernel.points(model.variants, lanes, solved)
    machine, design = reference(kind)
    for k in range(2):
        drives = {"left": TRAVELS[0, k], "right": TRAVELS[1, k], "rack": rack[k]} | {n: v[k] for n, v in more.items()}
        expected = machine.solve(design, drives)
        for side, row in (("left", k), ("right", 2 + k)):
            for i, point in enumerate(model.linkage.points):
                where = expected[point if point in design else f"{side}_{point}"]
                assert_allclose(found[row, i], where, rtol=0, atol=1e-9, err_msg=f"{kind}: {side} {point}")


def contact(at: dict[str, np.ndarray], side: str) -> np.ndarray:
    spin = at[f"{side}_wheel_axis"] - at[f"{side}_wheel_centre"]
    spin = spin / np.linalg.norm(spin)
    down = np.array([0.0, 0.0, 1.0]) - spin[2] * spin
    return at[f"{side}_wheel_centre"] - RADIUS * down / np.linalg.norm(down)


def carried(machine: Machine, now: dict[str, np.ndarray], then: dict[str, np.ndarray], side: str, p: np.ndarray):
    """Where the wheel body's material point that is at p in one position stands in another."""
    body = next(b for b, points in machine.bodies.items() if f"{side}_wheel_centre" in points)
    names = list(machine.bodies[body])
    a, b = (np.array([q[n] for n in names]) for q in (then, now))
    u, _, vt = np.linalg.svd((a - a.mean(0)).T @ (b - b.mean(0)))
    turn = vt.T @ np.diag([1.0, 1.0, np.linalg.det(vt.T @ u.T)]) @ u.T
    return b.mean(0) + turn @ (p - a.mean(0))


@pytest.mark.parametrize("kind", KINDS)
def test_roll_centre_and_ratios(tmp_path: Path, kind: str) -> None:
    """At 15 mm of travel: extrapolated central differences of the independent positions."""
    car = demo_car(tmp_path, kind)
    swept = kin3d.sweep(car, "rear", travel=15.0)
    machine, design = reference(kind)

    def at(left: float, right: float) -> dict[str, np.ndarray]:
        return machine.solve(design, {"left": 15.0 + left, "right": 15.0 + right})

    here = at(0.0, 0.0)
    velocity = {}
    spots = {s: contact(here, s) for s in ("left", "right")}
    rolled = {h: at(h, -h) for h in (-2 * STEP, -STEP, STEP, 2 * STEP)}
    for side, p in spots.items():
        q = {h: carried(machine, places, here, side, p) for h, places in rolled.items()}
        velocity[side] = (8.0 * (q[STEP] - q[-STEP]) - (q[2 * STEP] - q[-2 * STEP])) / (12.0 * STEP)
    rows = np.array([velocity[s][1:] for s in spots])
    middle = 0.5 * (spots["left"] + spots["right"])[1:]
    if kind != "trailing arm":  # whose lines are parallel and cross nowhere
        y, z = np.linalg.solve(rows, [rows[k] @ (spots[s][1:] - middle) for k, s in enumerate(spots)])
        assert_allclose(swept.values["roll_centre_height_mm"].ravel(), [z, z], rtol=0, atol=2e-5)
        if "roll_centre_offset_mm" in swept.values:
            assert_allclose(swept.values["roll_centre_offset_mm"].ravel(), [y, y], rtol=0, atol=2e-5)
    if "motion_ratio" not in swept.values:
        return
    alike = {h: at(h, h) for h in (-2 * STEP, -STEP, STEP, 2 * STEP)}

    def ratio(places: dict[float, dict[str, np.ndarray]], side: str) -> float:
        outer, inner = (n if n in design else f"{side}_{n}" for n in ("spring_outer", "spring_inner"))
        length = {h: np.linalg.norm(q[outer] - q[inner]) for h, q in places.items()}
        return float(-(8.0 * (length[STEP] - length[-STEP]) - (length[2 * STEP] - length[-2 * STEP])) / (12.0 * STEP))

    both = [ratio(alike, s) for s in ("left", "right")]
    assert_allclose(swept.values["motion_ratio"].ravel(), both, rtol=0, atol=1e-6)
    if "motion_ratio_own" in swept.values:
        apart = [s * ratio(rolled, side) for s, side in ((1.0, "left"), (-1.0, "right"))]
        own, other = (0.5 * (np.array(both) + s * np.array(apart)) for s in (1.0, -1.0))
        assert_allclose(swept.values["motion_ratio_own"].ravel(), own, rtol=0, atol=1e-6)
        assert_allclose(swept.values["motion_ratio_other"].ravel(), other, rtol=0, atol=1e-6)


@pytest.mark.parametrize("kind", KINDS)
def test_both_wheels_stand_on_the_ground(tmp_path: Path, kind: str) -> None:
    """In 2 deg of roll and 5 mm of heave the contact points are on one plane and their mean travel is the heave."""
    swept = kin3d.sweep(demo_car(tmp_path, kind), "rear", roll=2.0, heave=5.0)
    assert swept.complete
    get = {n: swept.values[n].ravel() for n in ("contact_x_mm", "contact_y_mm", "contact_z_mm", "wheel_z_mm")}
    up = np.array([0.0, np.sin(np.radians(2.0)), np.cos(np.radians(2.0))])
    feet = np.stack([get[f"contact_{a}_mm"] for a in "xyz"], axis=1)
    assert_allclose(feet[0] @ up, feet[1] @ up, rtol=0, atol=1e-8)
    design = kin3d.sweep(demo_car(tmp_path, kind), "rear", travel=0.0).values["wheel_z_mm"].ravel()
    assert_allclose((get["wheel_z_mm"] - design).mean(), 5.0, rtol=0, atol=1e-9)
