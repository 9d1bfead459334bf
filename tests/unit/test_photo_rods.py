"""Rod, rocker and spring in photographs: they follow the upright as the general solver has it, and are located."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

import kin3d
from kin3d.errors import ReadingError, RequestError
from kin3d.photographs.adjust import adjust
from kin3d.photographs.located import located
from kin3d.photographs.model import Model
from kin3d.photographs.parameters import parameters_of
from kin3d.solve.upright import pose, slopes
from kin3d.studies.construction import construct_at
from kin3d.studies.locate import locate
from tests import photo_scenes as scenes
from tests.photo_scenes import FRONT, LOW, QUARTER, write_files

ROD = ("rod_outer", "rod_inner", "rocker_axis_1", "rocker_axis_2", "spring_outer", "spring_inner")
TRAVEL = np.linspace(-25.0, 25.0, 6)


def lanes_of(name, axle):
    """Upright with rod and rocker of a demo car, and its design coordinates over six lanes."""
    upright = scenes.double_wishbone(scenes.axle_of(name).axle(axle).rod_on)
    design = scenes.design(name, axle, True)
    return upright, np.tile([design[p] for p in upright.points], (len(TRAVEL), 1, 1))


@pytest.mark.parametrize("axle", ["front", "rear"])
@pytest.mark.parametrize("name", ["dunlin", "plover"])
def test_rod_and_rocker_move_as_in_the_general_solver(name, axle):
    upright, lanes = lanes_of(name, axle)
    rack = 9.0 if axle == "front" else 0.0
    steer = np.full(len(TRAVEL), rack)
    found = pose(upright, lanes, TRAVEL, steer)
    assert found.closed.all()
    places = found.points(upright, lanes, steer)
    solved = {c.heave_mm: c.wheel("left").points for c in construct_at(scenes.axle_of(name), axle, TRAVEL, rack)}
    for k, travel in enumerate(TRAVEL):
        points = next(p for at, p in solved.items() if np.isclose(at, travel))
        for point in upright.points:
            np.testing.assert_allclose(places[k, upright.index(point)], points[point], rtol=0.0, atol=1e-8)


@pytest.mark.parametrize("name", ["dunlin", "plover"])
def test_derivatives_of_rod_and_rocker(name):
    upright, lanes = lanes_of(name, "front")
    rng = np.random.default_rng(1)
    change, drives = rng.normal(size=lanes.shape), rng.normal(size=(2, len(lanes)))
    rack = np.linspace(12.0, -9.0, len(lanes))
    along = slopes(upright, lanes, rack, pose(upright, lanes, TRAVEL, rack)).points
    ends = []
    for h in (1e-3, -1e-3):
        moved, shift = lanes + h * change, rack + h * drives[1]
        ends.append(pose(upright, moved, TRAVEL + h * drives[0], shift).points(upright, moved, shift))
    directions = np.concatenate([change.reshape(len(lanes), -1), drives.T], axis=1)
    expected = (ends[0] - ends[1]) / 2e-3
    np.testing.assert_allclose(np.einsum("lpik,lk->lpi", along, directions), expected, rtol=0.0, atol=1e-7)


def test_a_rod_that_cannot_reach_closes_nothing():
    upright, lanes = lanes_of("dunlin", "front")
    far = lanes.copy()
    # a crank of some 10 mm in place of 35: the rod's end leaves its circle
    far[:, upright.index("rod_inner")] = far[:, upright.index("rocker_axis_1")] + [10.0, 0.0, 0.0]
    found = pose(upright, far, np.full(len(far), 40.0), np.zeros(len(far)))
    assert not found.closed.any()
    assert pose(upright, far, np.zeros(len(far)), np.zeros(len(far))).closed.all()


@pytest.fixture(scope="module")
def scene():
    return scenes.scene(["plover"], [FRONT, QUARTER, LOW], 3, rods=True, template_off=20.0)


def test_derivatives_along_rod_and_rocker(scene):
    """Marks on joints and tubes of the rod along their own coordinates, against central differences."""
    model = scene.model
    jacobian = model.evaluate(scene.truth).jacobian
    for k, p in enumerate(scene.parameters.listed):
        if not any(n in p.name for n in ROD):
            continue
        unit = np.zeros(len(scene.parameters.listed))
        unit[k] = p.scale
        ends = [model.evaluate(model.moved(scene.truth, s * unit), slopes=False).residual for s in (1e-4, -1e-4)]
        np.testing.assert_allclose(jacobian[:, k] * p.scale, (ends[0] - ends[1]) / 2e-4, rtol=1e-6, atol=2e-5)


def test_marks_without_noise_give_the_truth():
    exact = scenes.scene(["dunlin"], [FRONT, QUARTER, LOW], 3, rods=True, noise=False)
    rng = np.random.default_rng(3)
    block, upright = exact.parameters.blocks[0], exact.parameters.uprights[0]
    rows = [block.points[upright.index(n)] for n in ROD]
    step = np.zeros(len(exact.parameters.listed))
    step[np.ravel(rows)] = rng.normal(0.0, 6.0, np.size(rows))
    found = adjust(exact.model, exact.model.moved(exact.truth, step))
    assert found.settled
    np.testing.assert_allclose(found.cost, 0.0, rtol=0.0, atol=1e-9)
    np.testing.assert_allclose(found.state.numbers, exact.truth.numbers, rtol=0.0, atol=1e-3)


def test_the_truth_is_within_the_bands_and_marks_of_the_rod_made_them_narrow(scene):
    """2.58 sigma hold 99 % of a normal distribution; a box of 40 mm has a deviation of 23 mm."""
    found = located(scene.car).car
    truth = scenes.design("plover", "front", True)
    for name, place in truth.items():
        row = found.names.index(name)
        assert (np.abs(found.xyz_mm[row] - place) <= 2.576 * found.sigma_mm[row] + 1e-9).all(), name
    for name in ("rod_inner", "rocker_axis_1", "rocker_axis_2"):
        assert found.sigma_mm[found.names.index(name)].max() < 8.0
    # the tube alone says where the joint at the arm is, but not how far along the tube
    assert found.sigma_mm[found.names.index("rod_outer")].min() < 10.0


def test_a_rod_that_nobody_marked_is_refused(scene):
    bare = replace(scene.car, marks=tuple(m for m in scene.car.marks if m.name not in ROD))
    with pytest.raises(RequestError, match="nowhere marked: rod_outer"):
        located(bare)


def written(scene, folder, old="", new=""):
    path = write_files(scene, folder)
    text = path.read_text("utf-8")
    assert old in text
    path.write_text(text.replace(old, new), "utf-8")
    return path


def test_the_motion_ratio_comes_from_photographs(scene, tmp_path):
    path = written(scene, tmp_path)
    found = locate(path, ["motion_ratio"]).wanted[0]
    true = kin3d.sweep(scenes.axle_of("plover"), travel=[0.0], measures=["motion_ratio"]).dataset()
    assert abs(found.value - float(true.motion_ratio.sel(side="left").squeeze())) < 2.576 * found.sigma
    car = tmp_path / "car.toml"
    bare = '[front]\npoints = "plover.photos.toml"\nlayout = "double wishbone"\n'
    car.write_text(bare + 'rod_on = "upper arm"\n', "utf-8")
    loaded = kin3d.load(car)
    assert loaded.front.points.names == locate(path).car.names
    assert loaded.front.linkage.rocker is not None
    car.write_text(bare, "utf-8")
    with pytest.raises(ReadingError, match=r'rod_on: is "upper arm", and in \[front\] of the car file not given') as no:
        kin3d.load(car)
    assert len(no.value.findings) == 1


def test_marks_of_a_rod_that_the_file_does_not_call_for_are_told_what_is_missing(scene, tmp_path):
    path = written(scene, tmp_path, 'rod_on = "upper arm"\n')
    with pytest.raises(ReadingError) as caught:
        locate(path)
    texts = [f.text for f in caught.value.findings]
    assert any('"rod_outer" is not the inboard end of a leg' in t and "when the file of photographs has rod_on" in t
               for t in texts)  # fmt: skip
    path = written(scene, tmp_path, '"upper arm"', '"upper wishbone"')
    with pytest.raises(ReadingError, match='is \'upper wishbone\'; "lower arm" or "upper arm" or "upright"'):
        locate(path)


def test_a_template_without_a_rod_is_helped_out_by_the_usual_look(scene, tmp_path):
    path = written(scene, tmp_path)
    table = tmp_path / "plover.template.csv"
    rows = [r for r in table.read_text("utf-8").splitlines() if not r.startswith(ROD)]
    table.write_text("\n".join(rows) + "\n", "utf-8")
    found = locate(path)
    assert any("lacks rod_outer" in f.text or "rod_outer" in f.text for f in found.findings)
    truth = scenes.design("plover", "front", True)
    for name in ("rod_inner", "rocker_axis_1"):
        row = found.car.names.index(name)
        assert np.abs(found.car.xyz_mm[row] - truth[name]).max() < 4.0 * found.car.sigma_mm[row].max()


def test_cars_share_the_marking_of_the_joints_that_both_have():
    """One car with a rod and one without: the joints of both are one parameter, those of the rod stand alone."""
    first = scenes.blank("dunlin", [FRONT])
    second = scenes.blank("plover", [FRONT], same_as=first, shares=("joint marking",), rods=True)
    parameters = parameters_of(second)
    a, b = parameters.blocks
    ua, ub = parameters.uprights
    for name in ub.points:
        own = b.joints[ub.index(name)]
        if name in ROD:
            assert all(parameters.listed[k].owner == "plover" for k in own)
        else:
            np.testing.assert_array_equal(own, a.joints[ua.index(name)])
    assert Model(parameters).parameters is parameters
