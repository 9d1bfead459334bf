"""What keeps a lane on its branch of assembly, each test alone: every one is all that stands against its case."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from typing import Any

import numpy as np
import pytest
from numpy.testing import assert_allclose

from kin3d.errors import AssemblyError
from kin3d.measures.corner import Corner
from kin3d.solve import continuation
from kin3d.solve.kernel import Kernel
from kin3d.solve.lanes import Lanes, Status
from kin3d.solve.newton import CLOSURE_MM, CORRECTION_SHARE, STEP_MM, correct
from kin3d.studies.sweep import sweep
from tests.laws.cars import car, model
from tests.unit.corners import POINTS, double_wishbone

FRONT = ("dunlin", "front")


def left(travel: Any) -> Lanes:
    t = np.atleast_1d(np.asarray(travel, dtype=float))
    return Lanes(np.zeros(len(t), dtype=np.intp), t, np.zeros(len(t)))


def full_step(lanes: Lanes, q: np.ndarray) -> np.ndarray:
    """Newton's step from dense Jacobians by LAPACK: what is left to do at q, mm."""
    m = model(*FRONT)
    system = m.kernel.system
    dense, residual = system.linear(continuation.Numbers(system, m.variants)(lanes, q), lanes.count)
    return np.linalg.solve(dense, residual.T[:, :, None])[:, :, 0].T


@cache
def other_assembly() -> np.ndarray:
    """Unknowns of the design travel in another assembly: lengths close, det J has the other sign. Shape (unknowns, 1).

    Found by Newton from places up to 400 mm off the design position.
    """
    m = model(*FRONT)
    system, lanes = m.kernel.system, left(0.0)
    start = m.variants.start[:, :1]
    sign = np.sign(np.linalg.det(system.dense(continuation.Numbers(system, m.variants)(lanes, start), 1)))
    random = np.random.default_rng(1)
    for _ in range(400):
        q = start + random.uniform(-400.0, 400.0, start.shape)
        for _ in range(40):
            q = q - full_step(lanes, q)
            if not np.isfinite(q).all() or np.abs(q).max() > 1e5:
                break
        else:
            dense = system.dense(continuation.Numbers(system, m.variants)(lanes, q), 1)
            if np.abs(full_step(lanes, q)).max() < STEP_MM and np.sign(np.linalg.det(dense)) == -sign:
                return q
    raise AssertionError("no other assembly was found")


def test_newton_refuses_another_assembly_by_its_determinant_alone() -> None:
    """It closes, its last step is small, and the corrector moves nothing: only det J tells."""
    m = model(*FRONT)
    guess = other_assembly()
    q, error, good = correct(m.kernel.system, m.variants, left(0.0), guess)
    assert error[0] < CLOSURE_MM
    assert_allclose(q, guess, rtol=0, atol=STEP_MM)
    assert not good[0]
    start = m.variants.start[:, :1]
    assert correct(m.kernel.system, m.variants, left(0.0), start)[2][0]


def test_newton_refuses_lengths_that_do_not_close() -> None:
    """The same lanes with their errors weighed so heavily that none closes: the last step is as small as before."""
    m = model(*FRONT)
    lanes = left([-30.0, 30.0])
    solved = m.kernel.solve(m.variants, lanes)
    assert correct(m.kernel.system, m.variants, lanes, solved.q + 1e-3)[2].all()
    heavy = replace(m.variants, inverse_lengths=1e12 * m.variants.inverse_lengths)
    _, error, good = correct(m.kernel.system, heavy, lanes, solved.q + 1e-3)
    assert (error > CLOSURE_MM).all()
    assert not good.any()


def attempt(lanes: Lanes, q: np.ndarray, reached: float, ahead: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    m = model(*FRONT)
    at, on = np.full(lanes.count, reached), np.full(lanes.count, ahead)
    return continuation._try(m.kernel.system, m.variants, lanes, q, at, on, expanded(lanes, q, at))


def expanded(lanes: Lanes, q: np.ndarray, reached: np.ndarray) -> np.ndarray:
    m = model(*FRONT)
    return continuation.along_the_way(m.kernel.system, m.variants, lanes, q, reached, 2)


def test_a_step_to_another_assembly_is_refused() -> None:
    """From a place on the other branch a step that goes nowhere closes and pulls nothing; the branch is not ours."""
    tried, error, good = attempt(left(0.0), other_assembly(), 0.25, 0.25)
    assert error[0] < CLOSURE_MM
    assert_allclose(tried, other_assembly(), rtol=0, atol=STEP_MM)
    assert not good[0]
    assert attempt(left(0.0), model(*FRONT).variants.start[:, :1], 0.25, 0.25)[2][0]


def test_a_step_that_the_corrector_pulls_far_is_refused() -> None:
    """Near the limit one step from the design position finds the right place, but by a pull of more than its share."""
    m = model(*FRONT)
    lanes = left(np.linspace(-80.0, -5.0, 151))
    right = m.kernel.solve(m.variants, lanes)
    assert (right.status == Status.OK).all()
    start = np.repeat(m.variants.start[:, :1], lanes.count, axis=1)
    guess, _ = continuation._predict(expanded(lanes, start, np.zeros(lanes.count)), np.ones(lanes.count))
    tried, error, good = continuation._corrected(m.kernel.system, m.variants, lanes, start, guess)
    lone = (error < CLOSURE_MM) & (np.abs(tried - right.q).max(axis=0) < STEP_MM)
    pull = np.abs(tried - guess).max(axis=0) / np.abs(guess - start).max(axis=0)
    far = lone & (pull > 1.01 * CORRECTION_SHARE)
    near = lone & (pull < 0.99 * CORRECTION_SHARE)
    assert far.any()
    assert not good[far].any()
    assert near.any()
    assert good[near].all()


def test_a_step_on_which_the_way_bends_is_refused() -> None:
    """Second order is a quarter of first order where a step is as long as the way to the limit (square root)."""
    m = model(*FRONT)
    lanes = left(np.linspace(-80.0, -5.0, 76))
    start = np.repeat(m.variants.start[:, :1], lanes.count, axis=1)
    still = np.zeros(lanes.count)
    _, straight = continuation._predict(expanded(lanes, start, still), still + 1.0)
    assert straight[-1]
    assert not straight[0]
    assert not attempt(lanes, start, 0.0, 1.0)[2][~straight].any()


def test_stepped_counts_the_lanes_that_one_run_does_not_reach() -> None:
    m = model(*FRONT)
    far = np.arange(-85.0, 86.0, 5.0)
    lanes = m.kernel.lanes(m.variants, far)
    missed = int((m.kernel.solve(m.variants, lanes, step=False).status != Status.OK).sum())
    assert 0 < missed < lanes.count
    assert m.kernel.solve(m.variants, lanes).stepped == missed
    assert sweep(car("dunlin"), "front", far, measures="camber_deg").stepped == missed
    assert sweep(car("dunlin"), "front", [-20.0, 0.0, 20.0], measures="camber_deg").stepped == 0


def test_a_square_linkage_of_deficient_rank_is_refused() -> None:
    """As many equations as unknowns, one rank too few.

    The tie link ends on the steering axis and steers nothing. The wheel centre stands straight outboard along the lean
    of that axis in plan view, so that steering does not change its height, and travel does not hold the wheel either.
    """
    bottom, top = (np.array(POINTS[p], dtype=float) for p in ("lower_outer", "upper_outer"))
    centre = bottom + np.array([*(-1.7 * (top - bottom)[:2]), 97.0])
    axis = centre + np.array([0.0, 100.0, -3.0])
    moved = {"tie_outer": bottom + 0.3 * (top - bottom), "wheel_centre": centre, "wheel_axis": axis}
    with pytest.raises(AssemblyError, match='the design position is a dead centre: "tie link" and'):
        Kernel(*double_wishbone(**moved))
    Kernel(*double_wishbone(**(moved | {"tie_outer": POINTS["tie_outer"]})))  # off the axis it is an ordinary linkage


@pytest.mark.parametrize("rack", [-18.0, 12.0])
def test_caster_trail_of_a_steered_wheel_lies_along_its_heading(rack: float) -> None:
    """From the solved points alone: where the kingpin line meets the ground, seen along the wheel's own heading."""
    m = model(*FRONT)
    lanes = m.kernel.lanes(m.variants, [8.0], [rack])
    solved = m.kernel.solve(m.variants, lanes)
    found = sweep(car("dunlin"), "front", 8.0, rack).values
    for side, points in enumerate(m.kernel.points(m.variants, lanes, solved)):
        at = dict(zip(m.linkage.points, points, strict=True))
        spin = at["wheel_axis"] - at["wheel_centre"]
        heading = np.cross(spin, [0.0, 0.0, 1.0]) * (1.0 - 2.0 * side)
        heading /= np.linalg.norm(heading)
        down = np.cross(spin, heading)
        down *= -np.sign(down[2]) / np.linalg.norm(down)
        contact = at["wheel_centre"] + m.axle.loaded_radius_mm * down
        bottom, top = at["lower_outer"], at["upper_outer"]
        ground = bottom + (contact[2] - bottom[2]) / (top[2] - bottom[2]) * (top - bottom)
        trail = float((ground - contact) @ heading)
        assert_allclose(found["caster_trail_mm"][0, 0, side], trail, rtol=0, atol=1e-9)
        assert abs(trail - float((ground - contact)[0])) > 0.5  # along x it would be another figure


def test_corner_and_pair_are_the_same_corners() -> None:
    """The pair's left and right corner, cut out of the stacked lanes, against each corner solved alone."""
    from kin3d.measures.corner_pair import CornerPair

    m = model(*FRONT)
    travel = np.array([[-12.0, 5.0], [20.0, -7.0]])
    pair = CornerPair.at(m, travel[0], travel[1], 4.0)
    for side, corner in enumerate((pair.left, pair.right)):
        lanes = Lanes(np.full(2, side), travel[side], np.full(2, 4.0))
        alone = Corner.of(m, lanes, m.kernel.solve(m.variants, lanes), 2)
        own = (1, 0) if side == 0 else (0, 1)
        for k in range(3):
            assert_allclose(corner.contact[k].value, alone.contact[k].value, rtol=0, atol=1e-9)
            assert_allclose(corner.contact[k][own], alone.contact[k][(1,)], rtol=0, atol=1e-9)
            assert_allclose(corner.contact[k][own[::-1]], 0.0, rtol=0, atol=0)
