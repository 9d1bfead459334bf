"""The end of the travel: found to 0.01 mm, named, and never crossed in silence."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from kin3d.solve.continuation import along_the_way
from kin3d.solve.lanes import Lanes, Status
from kin3d.solve.limits import limit_sentence
from kin3d.solve.model import AxleModel
from tests.laws.cars import CORNERS, car, model

FAR = np.array([-700.0, -450.0, 450.0, 700.0])


@pytest.mark.parametrize(("name", "axle"), CORNERS)
def test_limits_are_sharp_and_the_same_from_any_target(name, axle):
    m = model(name, axle)
    lanes = m.kernel.lanes(m.variants, FAR)
    solved = m.kernel.solve(m.variants, lanes)
    assert (solved.status == Status.LIMIT).all()
    ends = np.array([solved.limits[k][0] for k in range(lanes.count)]).reshape(2, 4)
    assert_allclose(ends[:, 0], ends[:, 1], rtol=0, atol=0.01)
    assert_allclose(ends[:, 2], ends[:, 3], rtol=0, atol=0.01)
    assert_allclose(ends[0], ends[1], rtol=0, atol=0.01)
    near = np.concatenate([ends[0, [1, 2]] * (1 - 1e-9) + [0.02, -0.02], ends[0, [1, 2]] + [-0.02, 0.02]])
    around = m.kernel.solve(m.variants, m.kernel.lanes(m.variants, near).take(slice(0, 4)))
    assert around.status.tolist() == [Status.OK, Status.OK, Status.LIMIT, Status.LIMIT]


def test_rod_and_rocker_over_centre_is_named():
    """Lower the rocker so far that the rod pulls straight before the wishbones end: rod and rocker are at fault."""
    m = model("dunlin", "front")
    lanes = m.kernel.lanes(m.variants, np.array([-700.0]))
    solved = m.kernel.solve(m.variants, lanes)
    said = limit_sentence(lanes, solved, 0)
    assert '"rod"' in said.text or '"lower arm"' in said.text
    assert f"{solved.limits[0][0]:+.2f} mm" in said.text


def test_a_limit_with_the_rack_moved_lies_on_the_way_to_what_was_asked_for():
    """Travel and rack go together from the design position: at the limit both have come the same share of their way."""
    m = model("dunlin", "front")
    lanes = m.kernel.lanes(m.variants, np.array([700.0, -700.0]), 20.0)
    solved = m.kernel.solve(m.variants, lanes)
    for k in range(lanes.count):
        travel, rack = solved.limits[k]
        assert_allclose(rack / 20.0, travel / lanes.travel[k], rtol=1e-12, atol=0)
        assert 0.0 < rack < 20.0
        assert f"with rack {rack:+.2f} mm" in limit_sentence(lanes, solved, k).text


def test_unreachable_lanes_are_nan_and_leave_the_others_intact():
    m = model("dunlin", "front")
    mixed = m.kernel.lanes(m.variants, np.array([-700.0, 10.0, 700.0]))
    solved = m.kernel.solve(m.variants, mixed)
    fine = m.kernel.solve(m.variants, m.kernel.lanes(m.variants, np.array([10.0])))
    assert np.isnan(solved.q[:, 0]).all()
    assert np.isnan(solved.q[:, 2]).all()
    assert_allclose(solved.q[:, 1], fine.q[:, 0], rtol=0, atol=1e-12)


def test_measures_of_unreachable_lanes_are_nan_and_leave_the_others_intact():
    """Derivatives of a batch in which some lanes have no position."""
    import kin3d
    from tests.laws.cars import car

    mixed = kin3d.sweep(car("dunlin"), "front", [-700.0, -50.0, 0.0, 50.0, 700.0]).dataset()
    fine = kin3d.sweep(car("dunlin"), "front", [-50.0, 0.0, 50.0]).dataset()
    assert np.isnan(mixed.motion_ratio.values[[0, 4]]).all()
    assert_allclose(mixed.motion_ratio.values[1:4], fine.motion_ratio.values, rtol=0, atol=1e-12)
    assert mixed.status.values[:, 0, 0].tolist() == [1, 0, 0, 0, 1]


def test_lanes_of_one_ray_share_its_limit_and_the_rest_is_solved():
    """Thousands of lanes beyond the limit, of both sides, cost one search a ray; lanes short of it are all there."""
    m = model("plover", "front")
    travel = np.linspace(-400.0, 400.0, 3201)
    lanes = m.kernel.lanes(m.variants, travel)
    solved = m.kernel.solve(m.variants, lanes)
    ends = np.array([solved.limits[k][0] for k in sorted(solved.limits)])
    low, high = ends[ends < 0].max(), ends[ends > 0].min()
    assert ends[ends < 0].min() > low - 0.01
    inside = (lanes.travel > low + 0.01) & (lanes.travel < high - 0.01)
    assert (solved.status[inside] == Status.OK).all()
    assert (solved.status[(lanes.travel < low - 0.02) | (lanes.travel > high + 0.02)] == Status.LIMIT).all()
    assert set(solved.in_line) == set(solved.limits)


@pytest.mark.parametrize("axle", ["front", "rear"])
def test_the_way_on_is_the_same_from_jets_and_from_the_tape_that_comes_later(axle):
    """The first answers are made by jets, those after the sixth by a tape; between by differences of solved places."""
    model = AxleModel.of(car("dunlin"), axle)
    kernel, variants = model.kernel, model.variants
    whole, share, step = np.array([40.0, -30.0]), np.array([0.3, 0.6]), 1e-3

    def at(part):
        return Lanes(np.array([0, 1]), whole * part, np.zeros(2))

    ends = Lanes(np.array([0, 1]), whole, np.zeros(2))
    q = kernel.solve(variants, at(share)).q
    ways = [along_the_way(kernel.system, variants, ends, q, share, 2) for _ in range(9)]
    assert kernel.system.ways[2]._tape is not None
    assert_allclose(ways[-1], ways[0], rtol=1e-12, atol=1e-10)
    before, after = (kernel.solve(variants, at(share + s)).q for s in (-step, step))
    assert_allclose(ways[-1][1], (after - before) / (2.0 * step), rtol=0, atol=2e-3)
    assert_allclose(ways[-1][2], (after - 2.0 * q + before) / (2.0 * step**2), rtol=0, atol=2e-2)
