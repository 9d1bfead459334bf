"""Derivatives of every residual of photographs against central differences; covariance against a numerical one."""

from __future__ import annotations

from copy import copy
from dataclasses import replace

import numpy as np
import pytest

from kin3d.photographs.adjust import adjust, known_of, spread
from kin3d.photographs.located import result_of
from kin3d.photographs.model import Model
from kin3d.photographs.snooping import _checked
from kin3d.solve.upright import pose, slopes
from tests import photo_scenes as scenes
from tests.photo_scenes import FRONT, LOW, QUARTER, SIDE

SEED = 7


@pytest.fixture(scope="module")
def scene():
    return scenes.scene(["dunlin", "plover"], [FRONT, QUARTER, LOW, SIDE], SEED)


@pytest.fixture(scope="module")
def near(scene):
    """A state off the truth, so that no term of a derivative is 0 by chance."""
    rng = np.random.default_rng(SEED)
    scale = np.where(scene.parameters.sigma > 0.0, scene.parameters.scale, 0.0)
    return scene.model.evaluate(scene.model.moved(scene.truth, 0.2 * scale * rng.normal(size=len(scale)))).state


def central(model: Model, state, direction, step):
    ends = [model.evaluate(model.moved(state, s * direction), slopes=False).residual for s in (step, -step)]
    return (ends[0] - ends[1]) / (2.0 * step)


def test_every_kind_of_mark_and_every_side_is_there(scene):
    kinds = {(m.kind, m.side, m.name if m.kind in ("rim", "contact") else "") for _, m in scene.model.marks}
    wanted = {(k, s, "") for k in ("point", "leg") for s in ("left", "right")}
    wanted |= {
        ("rim", "left", "front"),
        ("rim", "left", "rear"),
        ("rim", "right", "front"),
        ("contact", "left", "rear"),
    }
    assert wanted <= kinds


def test_derivatives_of_every_residual(scene, near):
    jacobian = scene.model.evaluate(near).jacobian
    for k, p in enumerate(scene.parameters.listed):
        unit = np.zeros(len(scene.parameters.listed))
        unit[k] = p.scale
        found = central(scene.model, near, unit, 1e-4)
        np.testing.assert_allclose(jacobian[:, k] * p.scale, found, rtol=1e-6, atol=2e-5, err_msg=str(p))


def test_covariance_is_that_of_a_normal_matrix_of_differences(scene):
    fit = adjust(scene.model, scene.truth)
    assert fit.settled
    known = known_of(scene.model)
    free = np.flatnonzero(known.free)
    columns = []
    for k in free:
        unit = np.zeros(len(known.value))
        unit[k] = scene.parameters.listed[k].scale
        # Richardson's extrapolation of central differences
        two = [central(scene.model, fit.state, unit, h) for h in (2e-3, 1e-3)]
        columns.append((4.0 * two[1] - two[0]) / 3.0)
    scale = scene.parameters.scale[free]
    normal = np.array(columns) @ np.array(columns).T
    normal += np.diag(
        np.where(known.observed[free], (scale / np.where(known.observed[free], known.sigma[free], 1.0)) ** 2, 0)
    )
    expected = np.linalg.inv(normal) * np.outer(scale, scale)
    found = spread(fit).covariance[np.ix_(free, free)]
    sigma = np.sqrt(np.diag(expected))
    np.testing.assert_allclose(found / np.outer(sigma, sigma), expected / np.outer(sigma, sigma), rtol=0.0, atol=2e-6)


def test_sources_squares_sum_to_the_variances(scene):
    found = spread(adjust(scene.model, scene.truth))
    total = found.effect @ found.effect.T + found.known_effect @ found.known_effect.T
    sigma = np.sqrt(np.diag(found.covariance))
    sigma[sigma == 0.0] = 1.0
    np.testing.assert_allclose(
        total / np.outer(sigma, sigma), found.covariance / np.outer(sigma, sigma), rtol=0, atol=1e-9
    )


def test_the_upright_moves_as_in_the_general_solver():
    upright = scenes.double_wishbone()
    design = np.array([scenes.design("dunlin")[p] for p in upright.points])
    travel, rack = np.linspace(-25.0, 25.0, 6), np.linspace(12.0, -15.0, 6)
    lanes = np.tile(design, (6, 1, 1))
    found = pose(upright, lanes, travel, rack)
    assert found.closed.all()
    places = found.points(upright, lanes, rack)
    for inner, outer in zip(upright.inner, upright.outer, strict=True):
        lengths = np.linalg.norm(places[:, outer] - places[:, inner], axis=-1)
        np.testing.assert_allclose(lengths, np.linalg.norm(design[outer] - design[inner]), rtol=0.0, atol=1e-9)
    np.testing.assert_allclose(places[:, upright.centre, 2] - design[upright.centre, 2], travel, rtol=0.0, atol=1e-9)
    along = slopes(upright, lanes, rack, found).points
    rng = np.random.default_rng(1)
    change, drives = rng.normal(size=lanes.shape), rng.normal(size=(2, 6))
    ends = []
    for h in (1e-3, -1e-3):
        moved, shift = lanes + h * change, rack + h * drives[1]
        ends.append(pose(upright, moved, travel + h * drives[0], shift).points(upright, moved, shift))
    directions = np.concatenate([change.reshape(6, -1), drives.T], axis=1)
    expected = (ends[0] - ends[1]) / 2e-3
    np.testing.assert_allclose(np.einsum("lpik,lk->lpi", along, directions), expected, rtol=0.0, atol=1e-6)


def test_a_mark_that_is_out_is_tested_as_if_it_were_in(scene):
    """Its miss over the deviation of that miss is the same from within and from without (exactly so where the
    equations are linear): W. Baarda, A Testing Procedure for Use in Geodetic Networks (1968), from memory.
    """
    inside = _checked(scene.model, scene.truth, set(), set())
    tested = [k for k in range(len(scene.model.marks)) if 0.2 < inside.redundancy[k] < 0.8 and inside.w[k] > 0.5]
    assert len(tested) >= 3
    for k in tested[:3]:
        without = _checked(scene.model, inside.fit.state, {k}, set())
        np.testing.assert_allclose(without.w[k], inside.w[k], rtol=0.03, atol=0.0)
        np.testing.assert_allclose(without.redundancy[k], inside.redundancy[k], rtol=0.03, atol=0.0)


def test_a_right_hand_car_is_the_mirror_image_and_its_angles_are_those_of_its_wheel_axis():
    seen = scenes.scene(["dunlin"], [FRONT, QUARTER], 5)
    fit = _checked(seen.model, seen.truth, set(), set())
    left = result_of(fit).car
    files = tuple(replace(c, side="right") for c in fit.model.parameters.cars)
    turned = replace(fit.model.parameters, cars=files)
    model = copy(fit.model)
    model.parameters = turned
    right = result_of(replace(fit, model=model)).car
    np.testing.assert_allclose(right.xyz_mm, left.xyz_mm * [1.0, -1.0, 1.0], rtol=0.0, atol=1e-9)
    np.testing.assert_allclose(right.sigma_mm, left.sigma_mm, rtol=1e-9, atol=0.0)
    hub, axis = (left.xyz_mm[left.names.index(n)] for n in ("wheel_centre", "wheel_axis"))
    x, y, z = (axis - hub) / np.linalg.norm(axis - hub)
    # ISO 8855: camber is −asin(a_z), toe atan2(a_x, a_y) on the left
    np.testing.assert_allclose(left.figures["camber_deg"][0], -np.degrees(np.arcsin(z)), rtol=1e-9, atol=0.0)
    np.testing.assert_allclose(left.figures["toe_deg"][0], np.degrees(np.arctan2(x, y)), rtol=1e-6, atol=1e-9)
