"""Rear axles from photographs: behind the front one by the wheelbase, no rack, front wheels that may be steered."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

import kin3d
from kin3d.errors import ReadingError
from kin3d.photographs.adjust import adjust
from kin3d.photographs.advice import helps
from kin3d.photographs.located import located
from kin3d.photographs.second_look import _mechanism
from kin3d.studies.locate import locate
from kin3d.studies.photo_draw import on_photograph
from tests import photo_scenes as scenes
from tests.photo_lines_coverage import located_of
from tests.photo_scenes import BEHIND, write_files


@pytest.fixture(scope="module")
def scene():
    return scenes.scene(["plover"], BEHIND, 2, axle="rear", template_off=25.0)


@pytest.fixture(scope="module")
def found(scene):
    return located(scene.car)


def test_the_truth_is_within_the_bands_without_help(scene, found):
    """2.58 sigma hold 99 % of a normal distribution."""
    inner = found.checked.fit.model
    best = adjust(inner, inner.state(scene.truth.numbers, scene.truth.turns), found.checked.fit.known)
    np.testing.assert_allclose(found.checked.fit.cost, best.cost, rtol=0.0, atol=1e-6)
    for name, place in scenes.design("plover", "rear").items():
        row = found.car.names.index(name)
        assert (np.abs(found.car.xyz_mm[row] - place) <= 2.576 * found.car.sigma_mm[row] + 1e-9).all(), name


def test_the_axle_stands_behind_by_the_wheelbase(found):
    hub = found.car.names.index("wheel_centre")
    wheelbase, sigma = found.car.figures["wheelbase_mm"]
    assert found.car.xyz_mm[hub, 0] == -wheelbase
    np.testing.assert_allclose(found.car.sigma_mm[hub, 0], sigma, rtol=1e-12)


def test_front_wheels_that_are_steered_and_marked_tell_it(scene):
    """Rims of the front wheels in a picture from ahead, steered by 8 degrees: found, and the rack stays where it is."""
    shots = (*BEHIND, replace(scenes.QUARTER, name="ahead"))
    made = scenes.scene(["dunlin"], shots, 4, axle="rear", noise=False)
    steer = made.parameters.pictures[3, 15]
    numbers = made.truth.numbers.copy()
    numbers[steer] = np.radians(8.0)
    shown = scenes.visible_pixels(made.model, made.model.state(numbers, made.truth.turns))
    marks = tuple(replace(m, u=float(p[0]), v=float(p[1])) for m, p in zip(made.car.marks, shown, strict=True)
                  if p is not None)  # fmt: skip
    got = located(replace(made.car, marks=marks)).checked.fit.state.numbers
    assert abs(np.degrees(got[steer]) - 8.0) < 1.0
    np.testing.assert_array_equal(got[made.parameters.pictures[:, 12]], 0.0)


def test_other_explanations_leave_what_is_held_alone(scene):
    fit = adjust(scene.model, scene.truth)
    held = ~fit.known.free
    assert held[scene.parameters.pictures[:, 12]].all()
    for change in _mechanism(scene.model, fit):
        numbers = fit.state.numbers.copy()
        change(numbers)
        np.testing.assert_array_equal(numbers[held], fit.known.value[held])


def test_further_photographs_are_taken_from_behind(found):
    gradient = found.car.gradient(np.ones((len(found.car.names), 3)))
    _, better = helps(found.checked, gradient)
    told = [h.what for h in better if h.kind == "photograph"]
    assert told
    assert all("tail" in t or "behind" in t for t in told)


def test_the_drawing_tells_anti_lift(tmp_path):
    exact = scenes.scene(["plover"], BEHIND, 2, axle="rear", noise=False)
    result = located_of(exact, adjust(exact.model, exact.truth))
    car = scenes.axle_of("plover")
    drawn = on_photograph(result, result.cars[0].source, "quarter", car, plain=True)
    names = ["roll_centre_height_mm", "anti_lift_pct"]
    true = kin3d.sweep(car, "rear", travel=[0.0], measures=names).dataset().isel(side=0).squeeze()
    assert [f.label for f in drawn.own.figures] == ["roll centre", "anti-lift"]
    for figure, name in zip(drawn.own.figures, names, strict=True):
        np.testing.assert_allclose(figure.value, float(true[name]), rtol=0.0, atol=0.5)
    drawn.plot(tmp_path / "rear.png")
    assert (tmp_path / "rear.png").stat().st_size > 20_000


def test_a_template_of_the_other_axle_is_told(scene, tmp_path):
    path = write_files(scene, tmp_path)
    assert locate(path).car.axle == "rear"
    path.write_text(path.read_text("utf-8").replace('axle = "rear"', 'axle = "front"'), "utf-8")
    with pytest.raises(ReadingError, match=r"wheel_centre at x = -23[0-9.]+ mm, and the front axle stands at 0"):
        locate(path)
