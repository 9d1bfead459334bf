"""Guides and drives of a layout's own: against rigid bodies in SciPy, and what is known in closed form."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from kin3d.solve.kernel import Kernel
from tests.oracles.rigid_bodies import Machine
from tests.unit.corners import PLAIN, WISHBONES, layout, linkage

STRUT = {n: PLAIN[n] for n in PLAIN if not n.startswith("upper")} | {
    "strut_top": (-20.0, 560.0, 700.0),
    "strut_low": (-2.0, 640.0, 300.0),
    "strut_high": (-7.4, 616.0, 420.0),
}
STRUT_BODIES = {
    "chassis": ["lower_front", "lower_rear", "strut_top"],
    "lower arm": WISHBONES["lower arm"],
    "upright": ["lower_outer", "tie_outer", "strut_low", "strut_high", "ear_front", "ear_side"],
    "tie link": WISHBONES["tie link"],
}
EARS = {"ear_front": (60.0, 640.0, 310.0), "ear_side": (0.0, 700.0, 305.0)}
NO_RACK = PLAIN
PITMAN = WISHBONES | {
    "chassis": [*WISHBONES["chassis"], "pit_1", "pit_2"],
    "pitman arm": ["pit_1", "pit_2", "tie_inner"],
}
PIT = {"pit_1": (170.0, 250.0, 190.0), "pit_2": (165.0, 245.0, 290.0)}
COLUMN = WISHBONES | {
    "chassis": [*WISHBONES["chassis"], "column_1", "column_2", "shaft_end"],
    "column": ["column_1", "column_2", "joint", "cross_1"],
    "cross": ["joint", "cross_1", "cross_2"],
    "shaft": ["joint", "cross_2", "shaft_end", "tie_inner"],
}
JOINT, COLUMN_WAY, SHAFT_WAY = np.array([180.0, 260.0, 300.0]), np.array([0.6, 0.0, 0.8]), np.array([0.0, 0.0, 1.0])
UNIVERSAL = {
    "joint": JOINT,
    "column_1": JOINT + 60.0 * COLUMN_WAY,
    "column_2": JOINT + 260.0 * COLUMN_WAY,
    "cross_1": JOINT + 25.0 * np.array([0.0, 1.0, 0.0]),
    "cross_2": JOINT + 25.0 * np.array([1.0, 0.0, 0.0]),
    "shaft_end": JOINT - 110.0 * SHAFT_WAY,
}
AXES = {"pitman": ("pit_1", "pit_2"), "column": ("column_1", "column_2")}


def solved(made, design, travel, more):
    kernel = Kernel(made, design)
    variants = kernel.variants(design)
    lanes = kernel.lanes(variants, travel, 0.0, more)
    found = kernel.solve(variants, lanes)
    assert not found.status.any()
    return kernel.points(variants, lanes, found)


def test_two_guides_are_a_slider() -> None:
    plain = {b: [p for p in points if not p.startswith("ear")] for b, points in STRUT_BODIES.items()}
    slid, bare = linkage(layout(plain, sliders=[("strut_top", ("strut_low", "strut_high"))]), STRUT)
    guides = [{"point": "strut_top", "plane": ["strut_low", "strut_high", ear]} for ear in EARS]
    guided, design = linkage(layout(STRUT_BODIES, guides=guides), STRUT | EARS)
    travel = np.array([-30.0, 25.0])
    one, two = solved(slid, bare, travel, {}), solved(guided, design, travel, {})
    for point in slid.points:
        assert_allclose(one[:, slid.index(point)], two[:, guided.index(point)], rtol=0, atol=1e-10, err_msg=point)


def test_a_guide_keeps_the_design_distance_against_rigid_bodies() -> None:
    """The strut's top stands off the planes, so that it is no slider."""
    guides = [{"point": "strut_top", "plane": ["strut_low", "strut_high", ear]} for ear in EARS]
    places = STRUT | EARS | {"strut_top": (-35.0, 575.0, 690.0)}
    made, design = linkage(layout(STRUT_BODIES, guides=guides), places)
    travel = np.array([-30.0, 25.0])
    found = solved(made, design, travel, {})
    full = STRUT_BODIES | {"upright": [*STRUT_BODIES["upright"], "wheel_centre", "wheel_axis"]}
    machine = Machine(
        full,
        {"tie_inner": ("rack", np.array([0.0, 1.0, 0.0]))},
        guides=[(g["point"], *g["plane"]) for g in guides],
    )
    close(made, design, found, machine, [{"travel": t} for t in travel])


def close(made, design, found, machine, drives) -> None:
    at = dict(zip(made.points, design, strict=True))
    for lane, values in enumerate(drives):
        expected = machine.solve(at, values)
        for k, point in enumerate(made.points):
            assert_allclose(found[lane, k], expected[point], rtol=0, atol=1e-9, err_msg=point)


CASES = {
    "pitman": (
        PITMAN,
        NO_RACK | PIT,
        {"turns": "pitman arm", "axis": ["pit_1", "pit_2"]},
        Machine({}, turns={"pitman": [("tie_inner", "pit_1", "pit_2")]}),
        np.radians([12.0, -9.0]),
    ),
    "column": (
        COLUMN,
        NO_RACK | UNIVERSAL,
        {"turns": "column", "axis": ["column_1", "column_2"]},
        Machine({}, turns={"column": [("cross_1", "column_1", "column_2"), ("joint", "column_1", "column_2")]}),
        np.radians([8.0, -11.0]),
    ),
    "shove": (
        WISHBONES,
        NO_RACK,
        {"points": ["tie_inner"], "along": ["lower_front", "lower_rear"]},
        Machine({}),
        np.array([6.0, -7.0]),
    ),
    "ram": (
        {b: p for b, p in WISHBONES.items() if b != "tie link"} | {"chassis": [*WISHBONES["chassis"], "tie_inner"]},
        NO_RACK,
        {"length": ["tie_inner", "tie_outer"]},
        Machine({}, lengths={"ram": [("tie_inner", "tie_outer")]}),
        np.array([6.0, -7.0]),
    ),
}


@pytest.mark.parametrize("name", CASES)
def test_drive_against_rigid_bodies(name: str) -> None:
    bodies, places, drive, machine, values = CASES[name]
    if name == "ram":
        bodies = bodies | {"upright": ["lower_outer", "upper_outer", "tie_outer"]}
    made, design = linkage(layout(bodies, rack=(), drives={name: drive}), places)
    assert made.driven == {name: "deg" if "turns" in drive else "mm"}
    travel = np.array([20.0, -25.0])
    found = solved(made, design, travel, {name: values})
    full = bodies | {"upright": [*bodies["upright"], "wheel_centre", "wheel_axis"]}
    at = dict(zip(made.points, design, strict=True))
    moved = {}
    if name == "shove":
        way = at["lower_rear"] - at["lower_front"]
        moved = {"tie_inner": (name, way / np.linalg.norm(way))}
    other = Machine(full, moved, turns=machine.turns, lengths=machine.lengths)
    close(made, design, found, other, [{"travel": t, name: v} for t, v in zip(travel, values, strict=True)])


def test_the_universal_joint_turns_its_shaft_by_its_tangent() -> None:
    """tan(out) = tan(in)·cos(angle between the shafts) for a first yoke square to the plane of both; from memory.

    By hand: the arms of the cross stay square, (cos θ·y + sin θ·column×y)·(cos φ·x + sin φ·y) = 0.
    """
    bodies, places, drive, *_ = CASES["column"]
    made, design = linkage(layout(bodies, rack=(), drives={"column": drive}), places)
    turn = np.radians([-20.0, -7.0, 0.0, 5.0, 18.0])
    found = solved(made, design, 0.0, {"column": turn})
    cross = found[:, made.index("cross_2")] - found[:, made.index("joint")]
    # cross_2 is on the shaft, square to it: its turn about the shaft from its design direction, x
    out = np.arctan2(cross[:, 1], cross[:, 0])
    beta = np.arccos(COLUMN_WAY @ SHAFT_WAY)
    assert_allclose(np.tan(out), np.tan(turn) * np.cos(beta), rtol=0, atol=1e-9)


def test_a_turned_body_goes_round() -> None:
    """A crank that turns more than a half turn; its end is where the rotation says."""
    bodies = WISHBONES | {
        "chassis": [*WISHBONES["chassis"], "pit_1", "pit_2", "tie_inner"],
        "crank": ["pit_1", "pit_2", "pin"],
    }
    drive = {"turns": "crank", "axis": ["pit_1", "pit_2"]}
    places = NO_RACK | PIT | {"pin": (300.0, 100.0, 240.0)}
    made, design = linkage(layout(bodies, rack=(), drives={"crank": drive}), places)
    angle = np.radians([170.0, 200.0, 361.0])
    found = solved(made, design, 10.0, {"crank": angle})[:, made.index("pin")]
    from scipy.spatial.transform import Rotation

    start = np.array(PIT["pit_1"])
    axis = (np.array(PIT["pit_2"]) - start) / np.linalg.norm(np.array(PIT["pit_2"]) - start)
    expected = [start + Rotation.from_rotvec(a * axis).apply(np.array(places["pin"]) - start) for a in angle]
    assert_allclose(found, expected, rtol=0, atol=1e-10)
