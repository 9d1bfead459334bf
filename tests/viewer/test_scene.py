"""Every primitive where kernel and Dataset say, on both sides, for all layouts; no VTK, no Qt."""

from __future__ import annotations

import subprocess
import sys

import numpy as np
import pytest

import kin3d
from kin3d.linkage.layout import WHEEL_AXIS
from kin3d.solve.model import AxleModel
from kin3d.studies.sweep import sweep
from kin3d_viewer.forces import rod_force
from kin3d_viewer.model import Drives, LiveModel
from kin3d_viewer.primitives import Ball, Coil, Rod, Sheet, Wheel
from kin3d_viewer.scene import Other, scene, visible
from kin3d_viewer.style import CARS, LAYERS, ROLES
from tests.viewer.cars import CASES, car

MM = {"rtol": 0.0, "atol": 1e-9}
MIRROR = np.array([1.0, -1.0, 1.0])
PLACES = ((0.0, 0.0), (22.0, 0.0), (-18.0, 6.0))


class Seen:
    """A scene with what kernel and Dataset say of the same position."""

    def __init__(self, name, axle, folder, travel, rack):
        self.car = car(name, folder)
        model = LiveModel(self.car, axle)
        view = model.solve(model.design, Drives(travel, rack))
        self.scene = scene(view.now)
        reference = AxleModel.of(self.car, axle)
        lanes = reference.kernel.lanes(reference.variants, travel, rack)
        self.linkage = reference.linkage
        self.points = reference.kernel.points(
            reference.variants, lanes, reference.kernel.solve(reference.variants, lanes)
        )
        self.data = kin3d.sweep(self.car, axle, travel=[travel], rack=[rack]).dataset().isel(travel_mm=0, rack_mm=0)

    def point(self, side, name):
        return self.points[("left", "right").index(side), self.linkage.index(name)]

    def figures(self, side, *names):
        return np.array([float(self.data[n].sel(side=side)) for n in names])

    def vector(self, side, stem, unit="_mm"):
        return self.figures(side, *(f"{stem}{a}{unit}" for a in "xyz"))


@pytest.fixture(params=[(*c, *p) for c in CASES for p in PLACES], ids=lambda p: "-".join(map(str, p)))
def seen(request, tmp_path):
    name, axle, travel, rack = request.param
    return Seen(name, axle, tmp_path, travel, rack)


def test_joints_stand_where_the_kernel_says(seen):
    for side in ("left", "right"):
        for name in seen.linkage.points:
            if name != WHEEL_AXIS:
                np.testing.assert_allclose(seen.scene[f"{side}/{name}"].centre, seen.point(side, name), **MM)


def test_links_arms_and_springs_run_between_their_points(seen):
    for side in ("left", "right"):
        for body, points in seen.linkage.bodies.items():
            if len(points) == 2:
                rod = seen.scene[f"{side}/{body}"]
                np.testing.assert_allclose((rod.start, rod.end), [seen.point(side, p) for p in points], **MM)
        for rod in (p for p in seen.scene.of(Rod) if p.name.startswith(f"{side}/lower arm/lower_")):
            np.testing.assert_allclose(rod.start, seen.point(side, rod.name.rsplit("/", 1)[1]), **MM)
            np.testing.assert_allclose(rod.end, seen.point(side, "lower_outer"), **MM)
        if seen.linkage.spring:
            coil = seen.scene[f"{side}/spring"]
            assert isinstance(coil, Coil)
            length = float(seen.data["spring_length_mm"].sel(side=side))
            np.testing.assert_allclose(np.linalg.norm(coil.end - coil.start), length, **MM)


def test_wheel_and_ground_meet_in_the_contact_point(seen):
    sheet = seen.scene["ground"]
    assert isinstance(sheet, Sheet)
    for side in ("left", "right"):
        contact = seen.vector(side, "contact_")
        np.testing.assert_allclose(seen.scene[f"{side}/contact"].centre, contact, **MM)
        wheel = seen.scene[f"{side}/wheel"]
        assert isinstance(wheel, Wheel)
        np.testing.assert_allclose(wheel.centre, seen.vector(side, "wheel_"), **MM)
        np.testing.assert_allclose(np.linalg.norm(contact - wheel.centre), wheel.radius_mm, **MM)
        np.testing.assert_allclose(wheel.axis @ (contact - wheel.centre), 0.0, **MM)
        a, b, _, d = sheet.corners
        normal = np.cross(b - a, d - a)
        np.testing.assert_allclose(normal @ (contact - a) / np.linalg.norm(normal), 0.0, **MM)


def test_screw_axis_is_that_of_the_dataset(seen):
    shown = 0
    for side in ("left", "right"):
        place, along = seen.vector(side, "isa_p"), seen.vector(side, "isa_d", "")
        if np.linalg.norm(place - seen.vector(side, "wheel_")) > 4000.0:
            assert not [p for p in seen.scene.items if p.name.startswith(f"{side}/screw axis")]
            continue
        shown += 1
        start, end = seen.scene[f"{side}/screw axis"].places
        np.testing.assert_allclose(0.5 * (start + end), place, **MM)
        np.testing.assert_allclose((end - start) / np.linalg.norm(end - start), along, **MM)
        _assert_handed(seen.scene[f"{side}/screw axis/sense"].places[:-3], place, along, seen, side)
    assert shown or seen.car.title == "Siskin"  # its axis is 4 m away


def _assert_handed(curve, place, along, seen, side):
    """The helix goes on along the axis as it turns right-handed where the pitch is positive."""
    out = curve - place - np.outer((curve - place) @ along, along)
    turned = np.sum(np.cross(out[:-1], out[1:]) @ along)
    rise = (curve[-1] - curve[0]) @ along
    assert np.sign(turned * rise) == np.sign(float(seen.data["isa_pitch_mm_per_rad"].sel(side=side)))


def test_steering_axis_goes_through_the_ball_joints(seen):
    for side in ("left", "right"):
        foot, top = seen.scene[f"{side}/steering axis"].places
        along = (top - foot) / np.linalg.norm(top - foot)
        caster, kingpin = np.radians(seen.figures(side, "caster_deg", "kingpin_deg"))
        sign = 1.0 if side == "left" else -1.0
        np.testing.assert_allclose(along[:2] / along[2], (-np.tan(caster), -sign * np.tan(kingpin)), **MM)
        contact = seen.vector(side, "contact_")
        np.testing.assert_allclose(foot[2], contact[2], **MM)
        for (joint,) in seen.linkage.steering_axis or ():
            off = np.cross(seen.point(side, joint) - foot, along)
            np.testing.assert_allclose(off, 0.0, **MM)


def test_instant_centres_and_their_lines(seen):
    for side in ("left", "right"):
        contact = seen.vector(side, "contact_")
        y, z = seen.figures(side, "front_ic_y_mm", "front_ic_z_mm")
        _assert_centre(seen, f"{side}/front centre", contact, np.array([contact[0], y, z]))
        x, z = seen.figures(side, "side_ic_x_mm", "side_ic_z_mm")
        _assert_centre(seen, f"{side}/side centre", contact, np.array([x, contact[1], z]))


def _assert_centre(seen, name, contact, centre):
    start, end = seen.scene[f"{name}/line"].places
    np.testing.assert_allclose(start, contact, **MM)
    away = np.linalg.norm(centre - contact)
    if away <= 4000.0:
        np.testing.assert_allclose(end, centre, **MM)
        np.testing.assert_allclose(seen.scene[name].centre, centre, **MM)
    else:
        np.testing.assert_allclose(np.cross(end - start, centre - start) / away, 0.0, **MM)
        np.testing.assert_allclose(np.linalg.norm(end - start), 4000.0, **MM)
        assert not [p for p in seen.scene.items if p.name == name]


def test_roll_centre_stands_over_the_ground(seen):
    if float(seen.data["rack_mm"]):
        return
    height = float(seen.data["roll_centre_height_mm"].sel(side="left"))
    ground = seen.vector("left", "contact_")[2]
    place = seen.scene["roll centre"].centre
    np.testing.assert_allclose(place[1:], (0.0, ground + height), **MM)
    start, end = seen.scene["left/front centre/line"].places
    share = (0.0 - start[1]) / (end[1] - start[1])
    np.testing.assert_allclose(start[2] + share * (end[2] - start[2]), place[2], rtol=0.0, atol=1e-6)


def test_right_is_the_mirror_of_left(seen):
    if float(seen.data["rack_mm"]):
        return
    for item in seen.scene.items:
        if item.name.startswith("left/") and isinstance(item, Ball):
            other = seen.scene[item.name.replace("left/", "right/", 1)]
            np.testing.assert_allclose(other.centre, item.centre * MIRROR, **MM)


def test_names_are_unique_and_layers_complete(seen):
    names = [p.name for p in seen.scene.items]
    assert len(names) == len(set(names))
    shown = visible(seen.scene, set(LAYERS))
    assert [p.name for p in shown] == names
    assert not visible(seen.scene, set())
    with pytest.raises(KeyError, match="no layer wheel; there are"):
        visible(seen.scene, {"wheel"})


@pytest.mark.parametrize(("name", "axle"), CASES)
def test_roll_stands_both_wheels_on_one_ground(name, axle, tmp_path):
    read = car(name, tmp_path)
    model = LiveModel(read, axle)
    view = model.solve(model.design, Drives(5.0, 2.0, 1.5))
    found = scene(view.now)
    data = sweep(read, axle, heave=5.0, roll=1.5, rack=2.0)
    roll = np.radians(1.5)
    normal = np.array([0.0, np.sin(roll), np.cos(roll)])
    contacts = np.array([[data.values[f"contact_{a}_mm"].ravel()[k] for a in "xyz"] for k in (0, 1)])
    np.testing.assert_allclose(
        [found["left/contact"].centre, found["right/contact"].centre], contacts, rtol=0.0, atol=1e-8
    )
    np.testing.assert_allclose((contacts[0] - contacts[1]) @ normal, 0.0, rtol=0.0, atol=1e-8)
    height = float(data.values["roll_centre_height_mm"].ravel()[0])
    offset = float(data.values["roll_centre_offset_mm"].ravel()[0])
    wanted = contacts.mean(axis=0) + height * normal + offset * np.array([0.0, np.cos(roll), -np.sin(roll)])
    np.testing.assert_allclose(found["roll centre"].centre, wanted, rtol=0.0, atol=1e-6)
    # it is where the two lines from the contact points cross, seen along x
    for side, contact in zip(("left", "right"), contacts, strict=True):
        start, end = found[f"{side}/front centre/line"].places
        along = (end - start)[1:]
        gap = np.array([-along[1], along[0]]) @ (wanted - contact)[1:] / np.linalg.norm(along)
        np.testing.assert_allclose(gap, 0.0, rtol=0.0, atol=1e-6 * max(1.0, abs(offset)))


def test_other_car_stands_beside_with_its_centres_in_its_colour(tmp_path):
    now, other = (LiveModel(car(n, tmp_path)) for n in ("dunlin", "plover"))
    views = [m.solve(m.design, Drives(10.0, 0.0)) for m in (now, other)]
    found = scene(views[0].now, [Other(views[1].now)], "A")
    for side, number in (("left", 0), ("right", 1)):
        ball = found[f"B/{side}/upper_outer"]
        np.testing.assert_allclose(ball.centre, views[1].now.at(number, "upper_outer"), **MM)
        assert ball.role == "B linkage"
        y, z = (views[1].now.value(number, f"front_ic_{a}_mm") for a in "yz")
        np.testing.assert_allclose(found[f"B/{side}/front centre"].centre[1:], (y, z), **MM)
    assert {found[f"{c}roll centre"].role for c in ("", "B/")} == {"A roll centre", "B roll centre"}
    colours = {ROLES[found[f"{c}roll centre"].role].colour for c in ("", "B/")}
    assert colours == set(CARS.values())
    height = f"{float(views[1].now.values['roll_centre_height_mm'][0]):+.1f} mm".replace("-", "−")
    assert found["B/roll centre/label"].text == f"{other.car.title}: roll centre {height}"


@pytest.mark.parametrize("over", ["travel_mm", "roll_deg"])
def test_trails_go_through_the_centres_of_every_position(over, tmp_path):
    """Seen over level ground: heights are the dataset's over the ground, at its own roll."""
    model = LiveModel(car("plover", tmp_path), "front", over)
    model.ranges[over] = (-2.0, -0.5, 1.0, 2.5)
    found = model.solve(model.design, Drives()).now.trails
    for k, value in enumerate(model.ranges[over]):
        now = model.solve(model.design, Drives(**{over: value})).now
        here = scene(now)
        for name, item in (("roll centre", "roll centre"), ("right/front centre", "right/front centre")):
            np.testing.assert_allclose(found[name][k], now.level.seen(here[item].centre), rtol=0.0, atol=1e-7)
        height = found["roll centre"][k][2] - now.level.foot[2]
        np.testing.assert_allclose(height, now.values["roll_centre_height_mm"][0], rtol=0.0, atol=1e-7)


def test_rod_is_as_wide_as_its_force_and_says_its_sign(tmp_path):
    from dataclasses import replace

    model = LiveModel(car("dunlin", tmp_path))
    now = model.solve(model.design, Drives()).now
    widths = []
    for force in (400.0, 1600.0):
        found = scene(replace(now, forces_n={"rod": np.array([-force, force])}))
        widths.append(found["left/rod"].radius_mm)
        assert found["left/rod/label"].text == f"rod {force:.0f} N compression"
    np.testing.assert_allclose(widths[1] / widths[0], 2.0, rtol=1e-12, atol=0.0)


@pytest.mark.parametrize("axle", ["front", "rear"])
def test_rod_carries_the_share_of_its_own_axle(axle, tmp_path):
    """Twice the weight, twice the force; 0.6 of it on the front axle leaves 0.4 for the rear one."""

    def force(mass, share):
        read = car("dunlin", tmp_path).with_figures({"car.mass_kg": mass, "car.front_mass_share": share})
        model = LiveModel(read, axle)
        return rod_force(model, model.solve(model.design, Drives()))["rod"]

    whole = force(300.0, 1.0 if axle == "front" else 0.0)
    part = {"front": 0.6, "rear": 0.4}[axle]
    np.testing.assert_allclose(force(600.0, 0.6), 2.0 * part * whole, rtol=1e-12, atol=0.0)
    assert abs(whole[0]) > 100.0


def test_scene_and_model_know_neither_vtk_nor_qt():
    modules = "scene, kin3d_viewer.model, kin3d_viewer.editing, kin3d_viewer.session, kin3d_viewer.geometry"
    program = (
        f"import sys, kin3d_viewer.{modules}, kin3d_viewer.labels, kin3d_viewer.pointer, kin3d_viewer.keys\n"
        "heavy = ('pyvista', 'vtkmodules', 'PySide6', 'matplotlib', 'trimesh', 'xarray')\n"
        "print([m for m in heavy if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_chassis_is_a_cage_through_its_joints_on_both_sides(tmp_path):
    model = LiveModel(car("dunlin", tmp_path))
    now = model.solve(model.design, Drives(10.0)).now
    bars = {p.name: p for p in scene(now, cage=True).items if p.role == "cage"}
    fixed = [p for p in now.linkage.fixed if abs(now.at(0, p)[1]) > 1.0]
    assert {f"cage/{p}" for p in fixed} <= set(bars)
    for point in fixed:
        bar = bars[f"cage/{point}"]
        np.testing.assert_allclose((bar.start, bar.end), now.points[:, now.linkage.index(point)], **MM)
    left = [b for n, b in bars.items() if n.startswith("left/cage/")]
    assert len(left) == len([n for n in bars if n.startswith("right/cage/")]) >= 3
    ends = np.array([b.start for b in left])
    every = np.array([now.at(0, p) for p in fixed])
    np.testing.assert_allclose(ends[:, [0, 2]].min(axis=0), every[:, [0, 2]].min(axis=0), **MM)  # it holds all joints
    np.testing.assert_allclose(ends[:, [0, 2]].max(axis=0), every[:, [0, 2]].max(axis=0), **MM)
    assert not [p for p in scene(now).items if p.role == "cage"]
