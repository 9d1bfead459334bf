"""Laws of an axle on the ground: contact points on one plane, mirror, heave as corner, exact gradients, roll centre."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import numpy as np
import pytest

import kin3d
from kin3d.linkage.car import Car
from kin3d.linkage.record import changed
from kin3d.studies.result import SweepResult
from kin3d.studies.sweep import sweep
from tests.laws.axles import one_axle
from tests.oracles.planar import exact, meet

ILTIS = Path(__file__).parents[1] / "published" / "iltis" / "car.toml"
MIRRORED = ("camber_deg", "toe_deg", "toe_ground_deg", "camber_ground_deg", "jacking_coefficient", "motion_ratio")


@pytest.fixture(scope="module")
def car(tmp_path_factory: pytest.TempPathFactory) -> Car:
    return one_axle(tmp_path_factory.mktemp("axle"))


def one(result: SweepResult, name: str) -> np.ndarray:
    """Left and right of a sweep over one position."""
    assert result.complete, result.findings
    return result.values[name].reshape(2)


def contact(result: SweepResult) -> np.ndarray:
    """Contact points, shape (*drives, side, 3)."""
    return np.stack([result.values[f"contact_{a}_mm"] for a in "xyz"], axis=-1)


def test_contact_points_stand_on_the_turned_plane(car: Car) -> None:
    """Roll positive: the left side rises, so the left contact point is the lower one in the body (its wheel droops)."""
    result = sweep(car, "front", heave=[-10.0, 0.0, 15.0], roll=[-2.0, 0.5, 2.5], rack=[-8.0, 0.0, 8.0])
    assert result.complete
    p = contact(result)
    roll = np.radians(result.drives["roll_deg"])[None, :, None]
    slope = np.diff(p[..., 2], axis=-1)[..., 0] / np.diff(p[..., 1], axis=-1)[..., 0]
    np.testing.assert_allclose(slope, np.broadcast_to(-np.tan(roll), slope.shape), rtol=0, atol=1e-12)
    travel = result.values["wheel_z_mm"] - 262.0
    heave = np.broadcast_to(result.drives["heave_mm"][:, None, None], slope.shape)
    np.testing.assert_allclose(travel.mean(axis=-1), heave, rtol=0, atol=1e-9)
    assert (travel[:, 2, 1, 0] < travel[:, 2, 1, 1]).all()


def test_contact_point_is_the_lowest_of_the_disc_over_the_turned_ground(car: Car) -> None:
    """Walk round the rim in small steps: no point of it is lower over the plane than the contact point."""
    result = sweep(car, "front", heave=5.0, roll=2.0, rack=6.0)
    roll, camber, toe = np.radians(2.0), np.radians(one(result, "camber_deg")), np.radians(one(result, "toe_deg"))
    normal = np.array([0.0, np.sin(roll), np.cos(roll)])
    for k, s in enumerate((1.0, -1.0)):
        flat = np.cos(camber[k])
        spin = np.array([flat * np.sin(toe[k]), s * flat * np.cos(toe[k]), -np.sin(camber[k])])
        along = np.cross(spin, normal)
        along /= np.linalg.norm(along)
        angle = np.linspace(0.0, 2.0 * np.pi, 200001)[:, None]
        rim = 262.0 * (np.cos(angle) * along + np.sin(angle) * np.cross(spin, along))
        centre = np.array([one(result, f"wheel_{a}_mm")[k] for a in "xyz"])
        lowest = (centre + rim)[np.argmin(rim @ normal)]
        found = np.array([one(result, f"contact_{a}_mm")[k] for a in "xyz"])
        np.testing.assert_allclose(found @ normal, lowest @ normal, rtol=0, atol=1e-7)
        np.testing.assert_allclose(found, lowest, rtol=0, atol=0.01)


def test_roll_and_its_mirror_image(car: Car) -> None:
    """Roll and rack turned about: left and right change places; lateral figures change sign."""
    there = sweep(car, "front", heave=[0.0, 12.0], roll=[1.7], rack=[5.0])
    back = sweep(car, "front", heave=[0.0, 12.0], roll=[-1.7], rack=[-5.0])
    for name in MIRRORED:
        a, b = there.values[name], back.values[name][..., ::-1]
        np.testing.assert_allclose(a, b, rtol=0, atol=1e-9, err_msg=name)
    for name in ("roll_centre_offset_mm", "roll_steer_deg_per_deg", "steer_ground_deg"):
        a, b = there.values[name], back.values[name][..., ::-1]
        if name == "roll_steer_deg_per_deg":  # steer and roll both change sign
            b = -b
        np.testing.assert_allclose(a, -b, rtol=0, atol=1e-8, err_msg=name)
    for name in ("roll_centre_height_mm", "roll_centre_height_force_mm", "track_mm", "camber_recovery_pct"):
        np.testing.assert_allclose(there.values[name], back.values[name], rtol=0, atol=1e-8, err_msg=name)


def test_heave_of_the_axle_is_travel_of_the_corner(car: Car) -> None:
    heave = np.linspace(-25.0, 25.0, 11)
    axle = sweep(car, "front", heave=heave, roll=0.0, rack=[0.0]).dataset().sel(roll_deg=0.0)
    corner = kin3d.sweep(car, "front", heave).dataset()
    for name in corner.data_vars:
        a = axle[name].transpose("heave_mm", "rack_mm", "side").values
        b = corner[name].transpose("travel_mm", "rack_mm", "side").values
        np.testing.assert_allclose(a, b, rtol=1e-9, atol=1e-9, err_msg=str(name))


@pytest.mark.parametrize(("drive", "gradient", "of", "sides"), [
    ("heave", "bump_steer_deg_per_mm", "toe_ground_deg", (1, 1)),
    ("heave", "bump_camber_deg_per_mm", "camber_ground_deg", (1, 1)),
    ("roll", "roll_steer_deg_per_deg", "steer_ground_deg", (1, 1)),
    ("roll", "roll_camber_deg_per_deg", "camber_ground_deg", (1, 1)),
])  # fmt: skip
def test_gradients_are_those_of_small_differences(
    car: Car, drive: str, gradient: str, of: str, sides: tuple[int, int]
) -> None:
    at = {"heave": 7.0, "roll": 1.3}
    key = "heave" if drive == "heave" else "roll"
    step = 1e-3
    near = [sweep(car, "front", **(at | {key: at[key] + h}), rack=3.0) for h in (-step, step)]
    slope = (one(near[1], of) - one(near[0], of)) / (2 * step)
    found = one(sweep(car, "front", **at, rack=3.0), gradient)
    np.testing.assert_allclose(found, slope * sides, rtol=0, atol=1e-8)


def test_camber_recovery_is_that_of_the_outer_wheel(car: Car) -> None:
    """Positive roll leans the body to the right: the right wheel is the outer one."""
    step = 1e-3
    near = [one(sweep(car, "front", heave=0.0, roll=2.0 + h), "camber_ground_deg")[1] for h in (-step, step)]
    expected = 100.0 * (1.0 - (near[1] - near[0]) / (2 * step))
    found = one(sweep(car, "front", heave=0.0, roll=2.0), "camber_recovery_pct")
    np.testing.assert_allclose(found, expected, rtol=0, atol=1e-5)


def test_roll_centre_of_the_symmetric_axle_in_heave(car: Car) -> None:
    """p_y dy/dz of the corner, everywhere in heave; and both heights agree there."""
    heave = np.linspace(-20.0, 20.0, 9)
    axle = sweep(car, "front", heave=heave, roll=0.0)
    corner = kin3d.sweep(car, "front", heave).dataset()["roll_centre_height_mm"].values[:, 0]
    for name in ("roll_centre_height_mm", "roll_centre_height_force_mm"):
        np.testing.assert_allclose(axle.values[name][:, 0, 0], corner, rtol=0, atol=1e-9)
    np.testing.assert_allclose(axle.values["roll_centre_offset_mm"], 0.0, rtol=0, atol=1e-8)


def test_roll_centre_of_a_planar_axle_is_the_exact_construction() -> None:
    """IAVSD benchmark corner "Iltis": exact rational crossing of the arms' lines, the line to the contact point."""
    centre = meet(exact(259, -268), exact(572, -341), exact("158.5", 30), exact(488, -39))
    expected = meet(centre, exact(615, -570), exact(0, 0), exact(0, 1))[1] + 570
    found = one(sweep(kin3d.load(ILTIS), "front", roll=0.0), "roll_centre_height_mm")
    np.testing.assert_allclose(found, float(expected), rtol=1e-10, atol=0)


@pytest.mark.parametrize("roll", [-2.0, 1.5])
def test_roll_centre_of_a_planar_axle_in_roll_is_the_construction_with_moved_arms(roll: float) -> None:
    """In roll each side's arms, where they then are, give its line; both meet in the roll centre."""
    from tests.oracles import iltis

    result = sweep(kin3d.load(ILTIS), "front", heave=0.0, roll=roll)
    lines, feet = [], []
    for k, s in enumerate((1.0, -1.0)):
        state = iltis.at_height(float(one(result, "wheel_z_mm")[k]) - iltis.WHEEL[2])
        ends = (iltis.LOWER_PIVOT, state.lower_outer, iltis.UPPER_PIVOT, state.upper_outer)
        centre = np.array([float(v) for v in meet(*(exact(float(s * p[1]), float(p[2])) for p in ends))])
        foot = np.array([one(result, "contact_y_mm")[k], one(result, "contact_z_mm")[k]])
        lines.append((foot, centre))
        feet.append(foot)
    (a, b), (c, d) = lines
    cross = np.array([float(v) for v in meet(*(exact(float(p[0]), float(p[1])) for p in (a, b, c, d)))])
    turn, mid = np.radians(roll), np.mean(feet, axis=0)
    up, left = np.array([np.sin(turn), np.cos(turn)]), np.array([np.cos(turn), -np.sin(turn)])
    # the tie rod steers the wheels a little, which the planar construction does not know
    np.testing.assert_allclose(one(result, "roll_centre_height_mm")[0], (cross - mid) @ up, rtol=0, atol=0.2)
    np.testing.assert_allclose(one(result, "roll_centre_offset_mm")[0], (cross - mid) @ left, rtol=0, atol=2.0)


DUNLIN = Path(__file__).parents[2] / "models" / "dunlin" / "car.toml"


def lifted(car: Car, axle: str, names: tuple[str, ...], up: float) -> Car:
    """The car with some points of an axle moved up, mm."""
    own = car.front if axle == "front" else car.rear
    assert own is not None
    places = own.points.xyz_mm + np.array([[0.0, 0.0, up * (n in names)] for n in own.points.names])
    table = dataclasses.replace(own.points, xyz_mm=places)
    return changed(car, **{axle: changed(own, points=table)})


@pytest.mark.parametrize("axle", ["front", "rear"])
def test_higher_chassis_joints_raise_the_roll_centre(axle: str) -> None:
    """Common practice, no source."""
    inner = ("lower_front", "lower_rear", "upper_front", "upper_rear")
    demo = kin3d.load(DUNLIN)
    for roll in (0.0, 1.5):
        found = [sweep(lifted(demo, axle, inner, up), axle, heave=0.0, roll=roll) for up in (0.0, 3.0, 6.0)]
        for name in ("roll_centre_height_mm", "roll_centre_height_force_mm"):
            assert (np.diff([one(r, name)[0] for r in found]) > 2.0).all(), name


@pytest.mark.parametrize("axle", ["front", "rear"])
def test_steeper_arms_raise_the_roll_centre_and_recover_more_camber(axle: str) -> None:
    """Common practice, no source: the lower arm's chassis joints up bring the instant centre nearer."""
    demo = kin3d.load(DUNLIN)
    found = [
        sweep(lifted(demo, axle, ("lower_front", "lower_rear"), up), axle, roll=1.0) for up in (0.0, 3.0, 6.0)
    ]
    for name, least in (("roll_centre_height_force_mm", 2.0), ("camber_recovery_pct", 0.5)):
        assert (np.diff([one(r, name)[0] for r in found]) > least).all(), name


def test_parallel_lines_are_said_and_the_height_from_forces_stays_finite(tmp_path: Path) -> None:
    """Arms of equal length, level and parallel: the contact point moves straight up, the lines lie in the ground."""
    level = {
        "lower_front": (100, 300, 160),
        "lower_rear": (-100, 300, 160),
        "lower_outer": (0, 700, 160),
        "upper_front": (100, 300, 360),
        "upper_rear": (-100, 300, 360),
        "upper_outer": (0, 700, 360),
        "tie_inner": (90, 300, 160),
        "tie_outer": (90, 700, 160),
        "wheel_centre": (0, 750, 262),
    }
    car = one_axle(tmp_path, level, rod_on="", camber_deg=0.0)
    result = sweep(car, "front", heave=[0.0, 10.0], roll=[0.0, 0.05])
    assert [f.code for f in result.findings if f.code == "roll-centre-far"]
    assert "stays finite" in str(result.findings)
    np.testing.assert_allclose(result.values["roll_centre_height_mm"][0, 0], 0.0, rtol=0, atol=1e-9)
    # the arms of the sunk body fall outboard: dy/dz = −10/√(400² − 10²), times half the track
    height = -result.values["contact_y_mm"][1, 0, 0, 0] * 10.0 / np.sqrt(400.0**2 - 10.0**2)
    np.testing.assert_allclose(result.values["roll_centre_height_force_mm"][1, 0, 0, 0], height, rtol=0, atol=1e-9)


def test_ackermann_of_a_steered_axle_from_its_steer_angles(car: Car) -> None:
    """Percentage from the two steers, less those with the rack in the middle at the same travels."""
    result = sweep(car, "front", heave=0.0, roll=0.0, rack=12.0)
    travel = one(result, "wheel_z_mm") - 262.0
    middle = np.diag(kin3d.sweep(car, "front", travel).dataset()["steer_deg"].values[:, 0])
    assert np.abs(middle).max() > 0.001
    left, right = np.radians(one(result, "steer_ground_deg") - middle)
    difference = 1.0 / np.tan(right) - 1.0 / np.tan(left)
    track = float(np.diff(one(result, "contact_y_mm")[::-1])[0])
    expected = 100.0 * difference / (track / 2600.0)
    np.testing.assert_allclose(one(result, "ackermann_pct"), expected, rtol=1e-9, atol=0)
    left, right = np.radians(one(result, "steer_ground_deg"))
    radius = 2600.0 * 0.5 * (1.0 / np.tan(left) + 1.0 / np.tan(right))
    np.testing.assert_allclose(one(result, "turning_radius_mm"), radius, rtol=1e-9, atol=0)


def test_out_of_reach_is_empty_and_told(car: Car) -> None:
    result = sweep(car, "front", heave=[0.0, 400.0], roll=[0.0])
    assert not result.complete
    assert np.isnan(result.values["camber_deg"][1]).all()
    assert (result.status[1] != 0).all()
    assert "is the limit" in str(result.findings[0])
    assert str(result.findings[0]).startswith("front left wheel: travel +")


@pytest.mark.parametrize(
    ("request_", "text"),
    [
        ({"roll": 60.0}, "roll: 60 deg is found; angles of the body between −45 and 45 deg are expected"),
        ({"heave": []}, "heave: expected one or more finite numbers in mm, found []"),
        ({"travel": 5.0}, "travel moves one wheel alone; give it without heave, roll and pitch"),
        ({"measures": []}, "no measure is named; kin3d measures lists them"),
        ({"measures": ["roll_center_height"]}, 'no measure "roll_center_height" on the front axle; did you mean'),
    ],
)
def test_wrong_requests(car: Car, request_: dict[str, object], text: str) -> None:
    with pytest.raises(kin3d.Kin3dError) as caught:
        sweep(car, "front", **({"roll": 0.0} | request_))
    assert text in str(caught.value)


def test_one_name_may_stand_alone(car: Car) -> None:
    found = sweep(car, "front", heave=[0.0], roll=[1.0], measures="camber_ground_deg")
    assert list(found.values) == ["camber_ground_deg"]


def test_missing_radius_is_told(tmp_path: Path) -> None:
    own = changed(one_axle(tmp_path).front, loaded_radius_mm=None)
    with pytest.raises(kin3d.Kin3dError) as caught:
        sweep(changed(one_axle(tmp_path), front=own), "front", roll=0.0)
    assert str(caught.value) == (
        "[front] loaded_radius_mm: is missing; "
        "heave, roll and pitch over the ground need the radius of the loaded wheel in mm"
    )
