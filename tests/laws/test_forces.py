"""Forces under load cases against free bodies with every joint force unknown, virtual work, and the whole car."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.testing import assert_allclose

import kin3d
from kin3d.linkage.car import Car
from kin3d.linkage.layout_file import builtin
from kin3d.loads.listed import Force
from kin3d.studies.forces_result import Forces
from tests.car_files import write_car
from tests.laws.cars import car
from tests.oracles import free_body, whole_corner
from tests.oracles.corners import scattered
from tests.oracles.robot_engine import RobotCorner

TRAVEL = np.array([-25.0, 0.0, 30.0])
RADIUS = 240.0
FORCE, MOMENT = np.array([-500.0, 300.0, 6000.0]), np.array([3.0, -2.0, 20.0])
SPIN = np.array([0.02, 1.0, 0.03]) / np.linalg.norm([0.02, 1.0, 0.03])
G = 9.81


def case(**keys: Any) -> dict[str, Any]:
    given = {"name": "kerb", "axle": "front", "side": "left", "contact_n": FORCE.tolist()} | keys
    return {k: v for k, v in given.items() if v is not None}


def with_case(read: Car, **keys: Any) -> Car:
    return read.with_figures({"cases": [case(**keys)]})


def forces_by_name(found: Forces) -> dict[tuple[str, str, str], Force]:
    return {(f.kind, f.name, f.on): f for part in found.parts for f in part.forces()}


@pytest.mark.parametrize("wheel", ["braked", "driven", None])
@pytest.mark.parametrize("rod_on", ["lower arm", "upper arm", "upright"])
def test_every_force_is_that_of_the_free_bodies(tmp_path: Path, rod_on: str, wheel: str | None) -> None:
    points = scattered(rod_on, np.random.default_rng(5))
    table = points | {"wheel_axis": points["wheel_centre"] + 100.0 * SPIN}
    read = kin3d.load(write_car(tmp_path, table, rod_on=rod_on, loaded_radius_mm=RADIUS))
    found = forces_by_name(kin3d.forces(with_case(read, contact_moment_n_m=MOMENT.tolist(), wheel=wheel), TRAVEL))
    solved = whole_corner.solve(points, rod_on, SPIN, TRAVEL)
    for k in range(len(TRAVEL)):
        at = points | {n: p[k] for n, p in solved.at.items()}
        spin = solved.spin[k]
        down = np.array([0.0, 0.0, 1.0]) - spin[2] * spin
        contact = at["wheel_centre"] - RADIUS * down / np.linalg.norm(down)
        couple = 1000.0 * MOMENT
        if wheel != "braked":  # what stands about the spin axis goes to the chassis, or nowhere
            couple = couple - ((np.cross(contact - at["wheel_centre"], FORCE) + couple) @ spin) * spin
        expected = free_body.corner_forces(at, rod_on, [(contact, FORCE)], couple)
        for (point, body), force in expected.joints.items():
            pickup = not point.endswith("outer")
            mine = found["pickup", point, "chassis"].force[:, k] if pickup else found["joint", point, body].force[:, k]
            assert_allclose(-mine if pickup else mine, force, rtol=1e-9, atol=1e-6, err_msg=f"{point} on {body}")
        for link, on in (("tie link", "upright"), ("rod", rod_on), ("spring", "rocker")):
            kind = "spring" if link == "spring" else "link"
            axial = found[kind, link, on].axial
            assert axial is not None
            assert_allclose(axial[k], expected.tension[link], rtol=1e-9, atol=1e-6, err_msg=link)
        assert_allclose(
            found["joint", "lower_outer", "upright"].force, -found["joint", "lower_outer", "lower arm"].force
        )


def test_a_free_wheel_takes_the_force_along_its_heading_at_its_centre() -> None:
    """The couple of that force about the spin axis reaches nothing: the same as the force moved to the wheel centre."""
    read = car("dunlin")
    spin = np.array([np.sin(np.radians(-0.1)), np.cos(np.radians(-0.1)), -np.sin(np.radians(-2.5))])
    spin[:2] *= np.cos(np.radians(-2.5))
    heading = np.cross(spin, [0.0, 0.0, 1.0])
    heading /= np.linalg.norm(heading)
    found = kin3d.forces(with_case(read, contact_n=(1000.0 * heading).tolist()))
    part = found.parts[0]
    upright = np.sum([f for (b, _), f in part.joints.on_body.items() if b == "upright"], axis=0)[:, 0]
    assert_allclose(upright, -1000.0 * heading, atol=1e-9)
    at = {p: v[:, 0] for p, v in part.joints.at.items()}
    moment = sum(
        np.cross(at[p] - at["wheel_centre"], f[:, 0]) for (b, p), f in part.joints.on_body.items() if b == "upright"
    )
    assert_allclose(moment, 0.0, atol=1e-6)


def test_the_spring_does_the_work_of_the_road() -> None:
    """Virtual work over a small travel, by differences of positions alone; the wheel locked on the upright."""
    read = with_case(car("plover"), wheel="braked")
    step = 1e-3
    spring = forces_by_name(kin3d.forces(read, [10.0]))["spring", "spring", "rocker"].axial
    near = kin3d.forces(read, [10.0 - step, 10.0, 10.0 + step]).parts[0]
    at = near.joints.at
    length = np.linalg.norm(at["spring_outer"] - at["spring_inner"], axis=0)
    # the upright's material point at the contact: a rigid motion fitted to four of its points
    names = ("lower_outer", "upper_outer", "tie_outer", "wheel_centre")
    before, now, after = (np.stack([at[n][:, k] for n in names]) for k in range(3))
    row = kin3d.sweep(read, "front", [10.0]).dataset().sel(side="left", rack_mm=0.0)
    contact = np.array([float(row[f"contact_{k}_mm"][0]) for k in "xyz"])
    share = np.linalg.lstsq(np.c_[now, np.ones(4)].T, np.r_[contact, 1.0], rcond=None)[0]
    moved = share @ (after - before)
    assert spring is not None
    assert_allclose(FORCE @ moved, spring[0] * (length[2] - length[0]), rtol=1e-6)


@pytest.mark.parametrize(
    "loads", [{"braking_g": 1.1}, {"driving_g": 0.5}, {"lateral_g": 1.0, "vertical_g": 1.3}, {"vertical_g": 2.0}]
)
def test_all_pickups_of_a_settled_car_hold_its_body(loads: dict[str, float]) -> None:
    """Forces on the chassis at pickups and springs, and weight and inertia of the sprung mass, are in balance."""
    read = car("dunlin").with_figures({"front.unsprung_mass_kg": 15.0, "rear.unsprung_mass_kg": 18.0})
    read = read.with_figures({"cases": [{"name": "all"} | loads]})
    found = kin3d.forces(read)
    held = np.sum([f.force[:, 0] for p in found.parts for f in p.forces() if f.kind == "pickup"], axis=0)
    settled = kin3d.settle(
        read,
        loads.get("braking_g", 0.0),
        loads.get("lateral_g", 0.0),
        driving=loads.get("driving_g", 0.0),
        vertical=loads.get("vertical_g", 1.0),
    )
    roll, pitch = settled.state[9], settled.state[10]
    along = loads.get("braking_g", 0.0) - loads.get("driving_g", 0.0)
    g = np.array([along, -loads.get("lateral_g", 0.0), -loads.get("vertical_g", 1.0)])
    # the ground's directions in the body, pitched and then rolled (ISO 8855)
    cp, sp, cr, sr = np.cos(pitch), np.sin(pitch), np.cos(roll), np.sin(roll)
    ahead, up = np.array([cp, sp * sr, sp * cr]), np.array([-sp, cp * sr, cp * cr])
    frame = np.stack([ahead, np.cross(up, ahead), up])
    weight = (470.0 - 2 * 15.0 - 2 * 18.0) * G * g @ frame
    assert_allclose(held + weight, 0.0, atol=1e-5)
    assert max(p.error for p in found.parts) < 1e-8
    assert len(found.parts) == 4


def test_steering_moves_forces_and_the_other_side_has_no_rows() -> None:
    read = with_case(car("dunlin"), side="right", contact_n=[0.0, -2000.0, 3000.0])
    straight, steered = (kin3d.forces(read, [0.0], rack) for rack in (0.0, 8.0))
    assert {part.side for part in steered.parts} == {"right"}
    one, other = (forces_by_name(f)["link", "tie link", "upright"].axial for f in (straight, steered))
    assert one is not None
    assert other is not None
    assert abs(float(one[0] - other[0])) > 1.0


def test_mirrored_cases_give_mirrored_forces() -> None:
    read = car("dunlin")
    left = kin3d.forces(with_case(read), [12.0])
    right = kin3d.forces(with_case(read, side="right", contact_n=[-500.0, -300.0, 6000.0]), [12.0])
    mirror = np.array([1.0, -1.0, 1.0])[:, None]
    one, other = forces_by_name(left), forces_by_name(right)
    assert one.keys() == other.keys()
    for key, force in one.items():
        assert_allclose(other[key].force, mirror * force.force, rtol=1e-9, atol=1e-7, err_msg=str(key))


@pytest.mark.parametrize("kind", ["five link", "strut with a arm"])
def test_other_layouts_are_held_as_their_free_bodies(tmp_path: Path, kind: str) -> None:
    points = dict(builtin(kind).demo)
    table = points | {"wheel_axis": np.array(points["wheel_centre"]) + 100.0 * SPIN}
    read = kin3d.load(write_car(tmp_path, table, layout=kind, loaded_radius_mm=RADIUS))
    whole = kin3d.forces(with_case(read, contact_moment_n_m=MOMENT.tolist(), wheel="braked"), TRAVEL)
    found = forces_by_name(whole)
    part = whole.parts[0]
    assert part.ok.all()
    for k in range(len(TRAVEL)):
        at = {p: v[:, k] for p, v in part.joints.at.items()}
        spin = (at["wheel_axis"] - at["wheel_centre"]) / 100.0
        down = np.array([0.0, 0.0, 1.0]) - spin[2] * spin
        contact = at["wheel_centre"] - RADIUS * down / np.linalg.norm(down)
        load = contact, FORCE, 1000.0 * MOMENT
        if kind == "five link":
            tension = free_body.five_link_tensions(at, *load)
            assert len(tension) == 6
        else:
            bodies = free_body.strut_forces(at, *load)
            tension = bodies.tension
            for (point, body), force in bodies.joints.items():
                pickup = point != "lower_outer"
                key = ("pickup", point, "chassis") if pickup else ("joint", point, body)
                mine = found[key].force[:, k]
                assert_allclose(-mine if pickup else mine, force, rtol=1e-9, atol=1e-6, err_msg=f"{point} on {body}")
        for name, expected in tension.items():
            axial = found["spring" if name == "spring" else "link", name, "upright"].axial
            assert axial is not None
            assert_allclose(axial[k], expected, rtol=1e-9, atol=1e-6, err_msg=name)


@pytest.mark.parametrize("rod_on", ["lower arm", "upright"])
def test_a_robot_engine_has_the_same_constraint_forces(tmp_path: Path, rod_on: str) -> None:
    """Joint angles and loop closures of a general robotics library (pinocchio), at the ends of three loops."""
    points = scattered(rod_on, np.random.default_rng(6))
    table = points | {"wheel_axis": points["wheel_centre"] + 100.0 * SPIN}
    read = kin3d.load(write_car(tmp_path, table, rod_on=rod_on, loaded_radius_mm=RADIUS))
    travel = 18.0
    whole = kin3d.forces(with_case(read, contact_moment_n_m=MOMENT.tolist(), wheel="braked"), [travel])
    found, road = forces_by_name(whole), whole.parts[0].roads[0]
    engine = RobotCorner(points, rod_on)
    for step in (6.0, 12.0, travel):
        engine.move(step)
    expected = engine.forces(road.foot[:, 0], FORCE, 1000.0 * MOMENT)
    for (point, body), force in expected.items():
        on_body = whole.parts[0].joints.on_body[body, point][:, 0]
        assert_allclose(on_body, force, rtol=1e-6, atol=1e-3, err_msg=f"{point} on {body}")
    assert ("joint", "upper_outer", "upper arm") in found


def test_everything_that_cases_lack_is_said_at_once_with_their_names() -> None:
    read = car("dunlin").with_figures({"car.mass_kg": None})
    with pytest.raises(kin3d.Kin3dError) as caught:
        kin3d.forces(read)
    said = [str(f) for f in caught.value.findings]
    assert len(said) == 2
    for name, text in zip(("braking", "cornering"), said, strict=True):
        assert f'[[cases]] "{name}": [car] mass_kg' in text
        assert text.count("car.toml") == 1


def test_an_axle_that_no_case_loads_is_refused() -> None:
    with pytest.raises(kin3d.Kin3dError, match="no case that was chosen loads the rear axle"):
        kin3d.forces(car("dunlin"), axle="rear", cases=["kerb"])


@pytest.mark.parametrize(
    ("cases", "text"),
    [
        ([{"name": "a"}], "says no load"),
        ([{"name": "a", "braking_g": 1.0}, {"name": "a", "lateral_g": 1.0}], "is the name of another case already"),
        ([{"name": "a", "braking_g": 1.0, "driving_g": 1.0}], "braking_g and driving_g do not go together"),
        ([{"name": "a", "braking_g": 1.0, "axle": "front"}], "make two cases of it"),
        ([{"name": "a", "contact_n": [0.0, 0.0, 1.0]}], "axle and side are missing"),
        ([{"name": "a", "axle": "front", "side": "left"}], "contact_n is missing"),
    ],
)
def test_cases_that_do_not_fit_together_are_refused(cases: list[dict[str, Any]], text: str) -> None:
    with pytest.raises(kin3d.Kin3dError, match=text):
        car("dunlin").with_figures({"cases": cases})


@pytest.mark.parametrize(("name", "rod_on"), [("dunlin", "lower arm"), ("plover", "upper arm")])
def test_demo_cars_are_held_as_their_free_bodies(name: str, rod_on: str) -> None:
    read = with_case(car(name), contact_moment_n_m=MOMENT.tolist(), wheel="braked")
    part = kin3d.forces(read, TRAVEL).parts[0]
    found = {(f.kind, f.name, f.on): f for f in part.forces()}
    radius = read.axle("front").loaded_radius_mm
    assert radius is not None
    for k in range(len(TRAVEL)):
        at = {p: v[:, k] for p, v in part.joints.at.items()}
        spin = (at["wheel_axis"] - at["wheel_centre"]) / np.linalg.norm(at["wheel_axis"] - at["wheel_centre"])
        down = np.array([0.0, 0.0, 1.0]) - spin[2] * spin
        contact = at["wheel_centre"] - radius * down / np.linalg.norm(down)
        expected = free_body.corner_forces(at, rod_on, [(contact, FORCE)], 1000.0 * MOMENT)
        for (point, body), force in expected.joints.items():
            pickup = not point.endswith("outer")
            mine = found["pickup", point, "chassis"].force[:, k] if pickup else found["joint", point, body].force[:, k]
            assert_allclose(-mine if pickup else mine, force, rtol=1e-9, atol=1e-6, err_msg=f"{point} on {body}")
        axial = found["link", "rod", rod_on].axial
        assert axial is not None
        assert_allclose(axial[k], expected.tension["rod"], rtol=1e-9, atol=1e-6)


def test_a_plane_truss_by_hand(tmp_path: Path) -> None:
    """All in the plane x = 0, arms level 200 mm apart, the rod at 45° from half way between them to the rocker.

    1 kN up at the tyre, 60 mm outboard of the joints: the rod alone can bear it, √2 kN of compression, and pushes 1 kN
    outboard. Arms pull that back, and about the rod's end, 100 mm from each, hold 60 N·m: 800 N below, 200 N above.
    Each of an arm's two pickups, 100 mm before and behind, has half.
    """
    points = {
        "lower_front": (100, 200, 150), "lower_rear": (-100, 200, 150), "lower_outer": (0, 700, 150),
        "upper_front": (100, 200, 350), "upper_rear": (-100, 200, 350), "upper_outer": (0, 700, 350),
        "tie_inner": (80, 200, 250), "tie_outer": (80, 700, 250), "wheel_centre": (0, 760, 250),
        "wheel_axis": (0, 860, 250), "rod_outer": (0, 700, 250), "rod_inner": (0, 500, 450),
        "rocker_axis_1": (-30, 450, 450), "rocker_axis_2": (30, 450, 450), "spring_outer": (0, 450, 520),
        "spring_inner": (0, 200, 520),
    }  # fmt: skip
    table = {n: np.array(p, dtype=float) for n, p in points.items()}
    read = kin3d.load(write_car(tmp_path, table, rod_on="upright", loaded_radius_mm=RADIUS))
    found = forces_by_name(kin3d.forces(with_case(read, contact_n=[0.0, 0.0, 1000.0])))
    axial = {name: f.axial[0] for (_, name, _), f in found.items() if f.axial is not None}
    assert_allclose(axial["rod"], -1000.0 * np.sqrt(2.0), rtol=1e-12)
    assert_allclose(axial["tie link"], 0.0, atol=1e-8)
    for arm, pull in (("lower", 800.0), ("upper", 200.0)):
        assert_allclose(found["joint", f"{arm}_outer", "upright"].force[:, 0], [0.0, -pull, 0.0], atol=1e-8)
        for end in ("front", "rear"):
            assert_allclose(found["pickup", f"{arm}_{end}", "chassis"].force[:, 0], [0.0, 0.5 * pull, 0.0], atol=1e-8)


def test_hinges_tell_the_sum_and_each_pickup_has_half_of_it() -> None:
    found = kin3d.forces(with_case(car("dunlin")), [10.0])
    table = {t.key: t for t in found.records()}["hinges"]
    assert {row[5] for row in table.rows} >= {"lower arm", "upper arm", "rocker"}
    joints = found.parts[0].joints
    for row in table.rows:
        body, first, second = (str(row[k]) for k in (5, 7, 8))
        line = joints.at[second][:, 0] - joints.at[first][:, 0]
        line = line / np.linalg.norm(line)
        ends = [float(joints.on_body[body, p][:, 0] @ line) for p in (first, second)]
        assert_allclose(ends, row[10], rtol=1e-9, atol=1e-9)  # type: ignore[arg-type]
        assert_allclose(sum(ends), row[9], rtol=1e-9, atol=1e-9)  # type: ignore[arg-type]
