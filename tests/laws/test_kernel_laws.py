"""Laws of the kernel over all demo corners: closure, derivatives, invariance, independence of lanes."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from numpy.testing import assert_allclose

from kin3d.solve.continuation import Numbers
from kin3d.solve.lanes import Status
from kin3d.solve.program import evaluate
from kin3d.spatial.jets import box
from tests.laws.cars import CORNERS, model

TRAVEL = np.linspace(-40.0, 40.0, 9)
RACK = np.array([-15.0, 0.0, 15.0])
every_corner = pytest.mark.parametrize(("name", "axle"), CORNERS)


def grid(m):
    lanes = m.kernel.lanes(m.variants, TRAVEL[:, None], RACK)
    return lanes, m.kernel.solve(m.variants, lanes)


@every_corner
def test_every_position_is_solved_and_closes(name, axle):
    m = model(name, axle)
    _, solved = grid(m)
    assert (solved.status == Status.OK).all()
    assert solved.error_mm.max() < 1e-9


@every_corner
def test_lengths_within_every_body_are_constant(name, axle):
    m = model(name, axle)
    lanes, solved = grid(m)
    points = m.kernel.points(m.variants, lanes, solved)
    for body, names in m.linkage.bodies.items():
        for p, q in itertools.combinations(names, 2):
            i, j = m.linkage.index(p), m.linkage.index(q)
            now = np.linalg.norm(points[:, i] - points[:, j], axis=1)
            then = np.linalg.norm(m.variants.design[lanes.variant, i] - m.variants.design[lanes.variant, j], axis=1)
            assert_allclose(now, then, rtol=0, atol=1e-9, err_msg=f"{body}: {p}, {q}")


@every_corner
def test_bodies_keep_their_hand(name, axle):
    """A body is turned, never mirrored: the volume of any four of its points keeps its value."""
    m = model(name, axle)
    lanes, solved = grid(m)
    points = m.kernel.points(m.variants, lanes, solved)
    for names in m.linkage.bodies.values():
        for four in itertools.islice(itertools.combinations(names, 4), 6):
            rows = [m.linkage.index(p) for p in four]

            def volume(at, rows=rows):
                a, b, c, d = (at[:, r] for r in rows)
                return np.einsum("ni,ni->n", b - a, np.cross(c - a, d - a))

            assert_allclose(volume(points), volume(m.variants.design[lanes.variant]), rtol=1e-9, atol=1e-3)


@every_corner
def test_wheel_and_rack_are_where_the_drives_say(name, axle):
    m = model(name, axle)
    lanes, solved = grid(m)
    points = m.kernel.points(m.variants, lanes, solved)
    moved = points - m.variants.design[lanes.variant]
    assert_allclose(moved[:, m.linkage.index("wheel_centre"), 2], lanes.travel, rtol=0, atol=1e-9)
    expected = np.zeros((lanes.count, 3))
    expected[:, 1] = lanes.rack
    assert_allclose(moved[:, m.linkage.index("tie_inner")], expected, rtol=0, atol=1e-12)
    for p in m.linkage.fixed:
        assert_allclose(moved[:, m.linkage.index(p)], 0.0, rtol=0, atol=0)


@every_corner
def test_jacobian_against_central_differences(name, axle):
    m = model(name, axle)
    lanes, solved = grid(m)
    system = m.kernel.system
    dense = system.dense(Numbers(system, m.variants)(lanes, solved.q), lanes.count)
    for column in range(len(system.unknown_keys)):
        step = np.zeros_like(solved.q)
        step[column] = 1e-3

        def rows(q):
            return np.stack(
                [
                    np.broadcast_to(v, lanes.count)
                    for v in evaluate(system.residuals, Numbers(system, m.variants)(lanes, q))
                ]
            )

        difference = (rows(solved.q + step) - rows(solved.q - step)) / 2e-3
        scale = np.abs(dense).max()
        assert_allclose(dense[:, :, column].T, difference, rtol=1e-7, atol=1e-7 * scale)


@every_corner
@pytest.mark.parametrize("drive", ["travel", "rack"])
def test_first_derivatives_along_the_drives(name, axle, drive):
    m = model(name, axle)
    lanes, solved = grid(m)
    motion = m.kernel.motion(m.variants, lanes, solved, box(1), {drive: 0})
    found = np.stack([[np.broadcast_to(c[(1,)], lanes.count) for c in motion.at[p]] for p in m.linkage.points])
    assert_allclose(found, _difference(m, lanes, drive, 2e-3), rtol=1e-6, atol=1e-7)


def _difference(m, lanes, drive, step):
    at = []
    for sign in (1.0, -1.0):
        moved = {"travel": lanes.travel, "rack": lanes.rack}
        moved[drive] = moved[drive] + sign * step
        there = type(lanes)(lanes.variant, moved["travel"], moved["rack"])
        at.append(m.kernel.points(m.variants, there, m.kernel.solve(m.variants, there)))
    return np.moveaxis((at[0] - at[1]) / (2 * step), 0, -1)


@every_corner
def test_second_derivatives_along_travel(name, axle):
    m = model(name, axle)
    lanes, solved = grid(m)
    second = m.kernel.motion(m.variants, lanes, solved, box(2), {"travel": 0})
    step = 5e-3
    first = []
    for sign in (1.0, -1.0):
        there = type(lanes)(lanes.variant, lanes.travel + sign * step, lanes.rack)
        there_solved = m.kernel.solve(m.variants, there)
        first.append(m.kernel.motion(m.variants, there, there_solved, box(1), {"travel": 0}))
    for p in m.linkage.points:
        for k in range(3):
            change = (first[0].at[p][k][(1,)] - first[1].at[p][k][(1,)]) / (2 * step)
            assert_allclose(second.at[p][k].derivative((2,)), change, rtol=1e-5, atol=1e-9)


@every_corner
def test_sensitivities_against_solving_again(name, axle):
    """∂(state)/∂(every coordinate of every point), and of its rate along travel."""
    m = model(name, axle)
    count = len(m.linkage.points)
    seeds = np.eye(3 * count).reshape(-1, count, 3)
    lanes = m.kernel.lanes(m.variants, np.array([-25.0, 30.0]), np.array([0.0, 10.0]))
    solved = m.kernel.solve(m.variants, lanes)
    motion = m.kernel.motion(m.variants, lanes, solved, box(1, 1), {"travel": 0, "points": 1}, seeds)
    step = 1e-3
    for direction in range(len(seeds)):
        ends = []
        for sign in (step, -step):
            variants = m.kernel.variants(m.variants.design + sign * seeds[direction], m.variants.rack_axis)
            again = m.kernel.solve(variants, lanes)
            ends.append(m.kernel.motion(variants, lanes, again, box(1), {"travel": 0}))
        for p in m.linkage.points:
            for k in range(3):
                for order, mixed in (((0,), (0, 1)), ((1,), (1, 1))):
                    change = (ends[0].at[p][k][order] - ends[1].at[p][k][order]) / (2 * step)
                    found = np.broadcast_to(motion.at[p][k][mixed], (len(seeds), lanes.count))[direction]
                    assert_allclose(found, np.broadcast_to(change, lanes.count), rtol=1e-6, atol=2e-8)


@every_corner
def test_turning_and_moving_the_whole_car_turns_and_moves_the_result(name, axle):
    """About the vertical only: travel is a height."""
    m = model(name, axle)
    c, s = np.cos(0.7), np.sin(0.7)
    turn = np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])
    move = np.array([1200.0, -340.0, 77.0])
    lanes, solved = grid(m)
    points = m.kernel.points(m.variants, lanes, solved)
    variants = m.kernel.variants(m.variants.design @ turn.T + move, m.variants.rack_axis @ turn.T)
    turned = m.kernel.points(variants, lanes, m.kernel.solve(variants, lanes))
    assert_allclose(turned, points @ turn.T + move, rtol=0, atol=1e-9)


@every_corner
def test_left_and_right_are_mirror_images(name, axle):
    m = model(name, axle)
    left = m.kernel.lanes(m.variants, TRAVEL[:, None], RACK).take(slice(0, len(TRAVEL) * len(RACK)))
    right = type(left)(left.variant + 1, left.travel, -left.rack)
    at = [m.kernel.points(m.variants, w, m.kernel.solve(m.variants, w)) for w in (left, right)]
    assert_allclose(at[0] * np.array([1.0, -1.0, 1.0]), at[1], rtol=0, atol=1e-9)


@every_corner
def test_a_lane_does_not_depend_on_its_neighbours(name, axle):
    m = model(name, axle)
    lanes, solved = grid(m)
    order = np.random.default_rng(5).permutation(lanes.count)[:7]
    some = m.kernel.solve(m.variants, lanes.take(order))
    assert_allclose(some.q, solved.q[:, order], rtol=0, atol=1e-9)


@every_corner
def test_a_variant_does_not_depend_on_the_others(name, axle):
    m = model(name, axle)
    noise = np.random.default_rng(11).normal(0.0, 1.5, (40, *m.variants.design.shape[1:]))
    many = m.kernel.variants(m.variants.design[0] + noise)
    lanes = m.kernel.lanes(many, TRAVEL)
    together = m.kernel.solve(many, lanes)
    alone = m.kernel.variants(many.design[17])
    one = m.kernel.solve(alone, m.kernel.lanes(alone, TRAVEL))
    assert_allclose(together.q[:, lanes.variant == 17], one.q, rtol=0, atol=1e-9)


@every_corner
def test_reference_position_of_the_plan_does_not_matter(name, axle):
    """Pivots chosen for one variant serve another that is tens of millimetres away."""
    from kin3d.solve.kernel import Kernel

    m = model(name, axle)
    shift = np.random.default_rng(3).uniform(-12.0, 12.0, m.variants.design[0].shape)
    other = Kernel(m.linkage, m.variants.design[0] + shift)
    lanes = m.kernel.lanes(m.variants, TRAVEL)
    mine = m.kernel.points(m.variants, lanes, m.kernel.solve(m.variants, lanes))
    variants = other.variants(m.variants.design, m.variants.rack_axis)
    theirs = other.points(variants, lanes, other.solve(variants, lanes))
    assert_allclose(theirs, mine, rtol=0, atol=1e-9)
