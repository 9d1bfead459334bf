"""Every kind of body and joint: rods on each member, sliders, ties, bodies of three points in one line."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from numpy.testing import assert_allclose

from tests.unit.corners import PLAIN, POINTS, WISHBONES, double_wishbone, layout, linkage, sweep

TRAVEL = np.linspace(-30.0, 30.0, 7)


def assert_rigid(points, made, design):
    for body, names in made.bodies.items():
        for p, q in itertools.combinations(names, 2):
            i, j = made.index(p), made.index(q)
            now = np.linalg.norm(points[:, i] - points[:, j], axis=1)
            assert_allclose(now, np.linalg.norm(design[i] - design[j]), rtol=0, atol=1e-9, err_msg=f"{body} {p} {q}")


@pytest.mark.parametrize(
    ("rod_on", "outer"),
    [("lower arm", (5, 620, 185)), ("upper arm", (-10, 590, 372)), ("upright", (2, 672, 250)), (None, None)],
)
def test_rod_on_every_member(rod_on, outer):
    moved = {"rod_outer": outer} if outer else {}
    made, design = double_wishbone(rod_on, **moved)
    points, solved, kernel = sweep(made, design, TRAVEL)
    assert not solved.status.any()
    assert_rigid(points, made, design)
    assert len(kernel.system.blocks) == (2 if rod_on else 1)
    assert [b.elimination.size for b in kernel.system.blocks] == ([9, 3] if rod_on else [9])


def test_the_rod_changes_nothing_at_the_wheel():
    with_rod, a = double_wishbone("lower arm")
    without, b = double_wishbone()
    one, _, _ = sweep(with_rod, a, TRAVEL)
    two, _, _ = sweep(without, b, TRAVEL)
    for name in without.points:
        assert_allclose(one[:, with_rod.index(name)], two[:, without.index(name)], rtol=0, atol=1e-10)


@pytest.mark.parametrize("top_x", [-20.0, -2.0], ids=["aslant", "upright in the side view"])
def test_strut_slides_through_its_top(top_x):
    """A strut: the chassis point slides on the line of two points of the upright."""
    top, low = np.array([top_x, 560.0, 700.0]), np.array([-2.0, 640.0, 300.0])
    points = {n: PLAIN[n] for n in PLAIN if not n.startswith("upper")}
    points |= {"strut_top": top, "strut_low": low, "strut_high": low + 0.3 * (top - low)}
    bodies = {
        "chassis": ["lower_front", "lower_rear", "strut_top"],
        "lower arm": WISHBONES["lower arm"],
        "upright": ["lower_outer", "tie_outer", "strut_low", "strut_high"],
        "tie link": WISHBONES["tie link"],
    }
    made, design = linkage(layout(bodies, sliders=[("strut_top", ("strut_low", "strut_high"))]), points)
    found, solved, _ = sweep(made, design, TRAVEL)
    assert not solved.status.any()
    assert_rigid(found, made, design)
    low, high = found[:, made.index("strut_low")], found[:, made.index("strut_high")]
    along = (high - low) / np.linalg.norm(high - low, axis=1)[:, None]
    off = np.cross(top - low, along)
    assert_allclose(off, 0.0, rtol=0, atol=1e-9)
    length = np.linalg.norm(top - low, axis=1)
    assert np.all(np.diff(length) < -5.0)  # it really slides: shorter in bump


def test_a_body_of_three_points_in_line_is_a_link_that_carries_a_point():
    made, design = linkage(
        layout(WISHBONES | {"tie link": ["tie_inner", "tie_middle", "tie_outer"]}),
        PLAIN | {"tie_middle": np.add(PLAIN["tie_inner"], PLAIN["tie_outer"]) / 2},
    )
    points, solved, kernel = sweep(made, design, TRAVEL)
    assert not solved.status.any()
    assert len(kernel.system.unknown_keys) == 9
    middle = 0.5 * (points[:, made.index("tie_inner")] + points[:, made.index("tie_outer")])
    assert_allclose(points[:, made.index("tie_middle")], middle, rtol=0, atol=1e-10)


def test_three_points_nearly_in_line_are_still_solved():
    """Upright with its three joints 4 mm off a line over 220 mm: a flat triangle, but its base is taken elsewhere."""
    moved = {"tie_outer": (2.0, 670.0, 270.0)}
    made, design = double_wishbone(**moved)
    points, solved, _ = sweep(made, design, TRAVEL)
    assert (solved.status == 0).sum() >= 3
    good = solved.status == 0
    assert_rigid(points[good], made, design)


def test_a_point_of_two_bases_is_tied():
    """A rod of three joints: its outer end is both in its base and carried by the lower arm: a tie."""
    bodies = WISHBONES | {
        "chassis": [*WISHBONES["chassis"], "rocker_axis_1", "rocker_axis_2", "horn_inner"],
        "lower arm": [*WISHBONES["lower arm"], "rod_outer"],
        "rod": ["rod_outer", "rod_inner", "horn"],
        "horn link": ["horn", "horn_inner"],
        "rocker": ["rocker_axis_1", "rocker_axis_2", "rod_inner", "spring_outer"],
    }
    points = {n: p for n, p in POINTS.items() if n != "spring_inner"}
    points |= {"horn": (60, 460, 320), "horn_inner": (70, 420, 480)}
    made, design = linkage(layout(bodies), points)
    found, solved, kernel = sweep(made, design, 0.6 * TRAVEL)
    assert kernel.system.equations.unknowns.ties == (("rod_outer", "lower arm"),)
    assert not solved.status.any()
    assert_rigid(found, made, design)
    plain, positions = double_wishbone("lower arm")
    alone, _, _ = sweep(plain, positions, 0.6 * TRAVEL)
    for name in ("rod_inner", "rod_outer", "spring_outer"):
        assert_allclose(found[:, made.index(name)], alone[:, plain.index(name)], rtol=0, atol=1e-9)


def test_a_rack_that_runs_aslant_moves_its_points_along_itself():
    made, design = double_wishbone()
    from kin3d.solve.kernel import Kernel

    kernel = Kernel(made, design)
    direction = np.array([0.1, 0.98, -0.05]) / np.linalg.norm([0.1, 0.98, -0.05])
    variants = kernel.variants(design, direction)
    lanes = kernel.lanes(variants, np.array([0.0, 10.0]), np.array([8.0, 8.0]))
    solved = kernel.solve(variants, lanes)
    moved = kernel.points(variants, lanes, solved)[:, made.index("tie_inner")] - design[made.index("tie_inner")]
    assert_allclose(moved, np.broadcast_to(8.0 * direction, (2, 3)), rtol=0, atol=1e-12)
