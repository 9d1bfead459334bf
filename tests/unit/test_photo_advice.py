"""What would help most: the promised sigma comes out when the thing is really marked or measured."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from kin3d.linkage.layout import WHEEL_AXIS
from kin3d.photographs.adjust import adjust, spread
from kin3d.photographs.located import result_of
from kin3d.photographs.model import Model
from kin3d.photographs.parameters import parameters_of
from kin3d.photographs.snooping import snoop
from tests import photo_scenes as scenes
from tests.photo_scenes import FRONT, QUARTER


@pytest.fixture(scope="module")
def located():
    scene = scenes.scene(["plover"], [FRONT, QUARTER], 4, template_off=20.0)
    thin = replace(scene.car, marks=tuple(m for m in scene.car.marks if m.name != "upper_rear"))
    model = Model(parameters_of(thin))
    turns, numbers = scene.truth.turns, scene.truth.numbers.copy()
    known = adjust(model, model.state(numbers, turns))
    return result_of(snoop(known))


@pytest.fixture(scope="module")
def gradient(located):
    """Height of the upper rear joint over the lower rear one, as a measure."""
    out = np.zeros((len(located.car.names), 3))
    out[located.car.names.index("upper_rear"), 2] = 1.0
    out[located.car.names.index("lower_rear"), 2] = -1.0
    return out


def again(located, car, gradient):
    """Sigma of the measure when a changed car is adjusted."""
    model = Model(parameters_of(car))
    model.reference = located.checked.model.reference
    state = located.checked.fit.state
    fit = adjust(model, model.state(state.numbers, state.turns))
    return float(np.linalg.norm(located.car.gradient(gradient) @ spread(fit).factor))


def test_sigma_now_is_that_of_the_covariance(located, gradient):
    now, _ = located.helps(gradient)
    flat = gradient.ravel()
    np.testing.assert_allclose(now, np.sqrt(flat @ located.car.covariance_mm2 @ flat), rtol=1e-8, atol=0.0)


def test_a_mark_helps_as_promised(located, gradient):
    now, found = located.helps(gradient)
    best = next(h for h in found if h.kind == "mark" and h.mark.kind != "rim")
    assert best.mark.name == "upper_rear"
    assert best.sigma < 0.8 * now
    file = located.files[-1]
    sigma = again(located, replace(file, marks=(*file.marks, replace(best.mark, row=99))), gradient)
    np.testing.assert_allclose(sigma, best.sigma, rtol=1e-3, atol=0.0)


def test_a_figure_helps_as_promised(located, gradient):
    _, found = located.helps(gradient)
    file = located.files[-1]
    help_ = next(h for h in found if h.kind == "figure" and h.what.startswith("loaded radius"))
    radius = located.car.figures["loaded_radius_mm"][0]
    known = dict(file.known)
    known["loaded_radius_mm"] = replace(
        known["loaded_radius_mm"], value=radius, sigma=known["loaded_radius_mm"].sigma / 4.0
    )
    np.testing.assert_allclose(again(located, replace(file, known=known), gradient), help_.sigma, rtol=2e-2, atol=0.0)


def test_photographs_are_proposed_and_help(located, gradient):
    now, found = located.helps(gradient)
    shots = [h for h in found if h.kind == "photograph"]
    assert len(shots) == 3
    assert shots[0].sigma <= shots[1].sigma <= shots[2].sigma < now
    assert located.car.names[-1] == WHEEL_AXIS
