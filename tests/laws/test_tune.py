"""Tuning: what is said to be met is met by other means, least change is least, and what cannot be had is told."""

from __future__ import annotations

import tomllib
from math import erf

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.optimize import lsq_linear

import kin3d
from kin3d.reading.targets import read_targets
from tests.cli.run import run
from tests.laws.cars import MODELS, car
from tests.tuned import curve_text, moved_car, swept, targets_text

WANTED = MODELS / "dunlin" / "targets.toml"
FINE = np.linspace(-25.0, 25.0, 201)


def written(folder, text, name="targets.toml"):
    (folder / name).write_text(text, "utf-8")
    return folder / name


def test_plane_wishbones_have_the_roll_centre_of_the_construction(tmp_path):
    """Front-view construction: the roll centre lies on the line from the contact point to the links' intersection.

    From memory; the construction is in every textbook (W. F. Milliken, D. L. Milliken, 1995, chapter 17). The lower arm
    is level, both hinges are along x, the wheel stands upright: where the upper arm must point follows in closed form.
    """
    contact, low, wanted = 700.0, 150.0, 60.0
    outer, inner = np.array([650.0, 380.0]), 300.0
    places = {
        "lower_front": (150, 250, low), "lower_rear": (-150, 250, low), "lower_outer": (0, 680, low),
        "upper_front": (150, inner, 370), "upper_rear": (-150, inner, 370), "upper_outer": (0, *outer),
        "tie_inner": (80, 255, 200), "tie_outer": (80, 665, 200), "wheel_centre": (0, contact, 280),
    }  # fmt: skip
    rows = "\n".join(f"{n},{x},{y},{z}" for n, (x, y, z) in places.items())
    written(tmp_path, f"point,x,y,z\n{rows}\n", "front.csv")
    written(
        tmp_path,
        '[front]\npoints = "front.csv"\nunits = "mm"\naxes = "x forward, y left, z up"\nside = "left"\n'
        'layout = "double wishbone"\nloaded_radius_mm = 280\n',
        "car.toml",
    )
    text = 'axle = "front"\n[move]\n"inboard upper.z" = 60\n[[want]]\nmeasure = "roll_centre_height_mm"\n'
    found = kin3d.tune(kin3d.load(tmp_path / "car.toml"), written(tmp_path, f"{text}value = {wanted}\nwithin = 1e-6\n"))
    assert found.met
    centre = contact * (1.0 - low / wanted)  # where the line from the contact point meets the lower arm's
    slope = (outer[1] - low) / (outer[0] - centre)
    expected = low + slope * (inner - centre)
    assert_allclose(found.car.front.points["upper_front"][2], expected, rtol=0, atol=1e-4)
    assert_allclose(found.car.front.points["upper_rear"][2], expected, rtol=0, atol=1e-4)


@pytest.fixture(scope="module")
def answer():
    return kin3d.tune(car("dunlin"), WANTED)


def test_a_new_car_that_is_read_again_has_all_that_is_wanted(answer, tmp_path):
    answer.save_car(tmp_path / "new.toml")
    values = swept(kin3d.load(tmp_path / "new.toml"), FINE)
    assert abs(values["roll_centre_height_mm"][100] - 40.0) <= 1.0
    assert np.ptp(values["toe_deg"]) <= 0.02
    step = 0.5
    near = swept(kin3d.load(tmp_path / "new.toml"), [-step, step])["camber_deg"]
    assert_allclose((near[1] - near[0]) / (2 * step), -0.033, rtol=0, atol=0.0005 + 1e-7)
    new, old = kin3d.load(tmp_path / "new.toml").front.points, car("dunlin").front.points
    lower = [new[p][2] - old[p][2] for p in ("lower_front", "lower_rear")]
    assert_allclose(lower[0], lower[1], rtol=0, atol=1e-9)
    upper = [new[p][1] - old[p][1] for p in ("upper_front", "upper_rear")]
    assert_allclose(upper[0], upper[1], rtol=0, atol=1e-9)
    assert_allclose(new["lower_outer"], old["lower_outer"], rtol=0, atol=1e-9)


def figures(moves):
    """The three wants of the demo file from swept curves, given moves in the order of the file."""
    old = car("dunlin").front.points
    x = dict(zip(tomllib.loads(WANTED.read_text("utf-8"))["move"], [*moves], strict=True))
    x["upper_rear.y"] = x["upper_front.y"]
    places = {n: np.array(old[n]) for n in old.names}
    for name, value in x.items():
        head, axis = name.rsplit(".", 1)
        every = {"inboard lower": ("lower_front", "lower_rear"), "inboard upper": ("upper_front", "upper_rear")}
        for p in every.get(head, (head,)):
            places[p]["xyz".index(axis)] += value
    values = swept(car("dunlin").with_points(places), [-25.0, -0.5, 0.0, 0.5, 25.0])
    toe = values["toe_deg"]
    return np.array([values["roll_centre_height_mm"][2], values["camber_deg"][3] - values["camber_deg"][1],
                     toe[4] - toe[0]])  # fmt: skip


def test_least_change_is_stationary_by_differences_of_sweeps(answer):
    """The gradient of the change is a non-negative sum of the gradients of what is active; nothing else holds it."""
    names = list(tomllib.loads(WANTED.read_text("utf-8"))["move"])
    by_name = {}
    for name, move in zip(answer.space.names, answer.moves, strict=True):
        by_name |= dict.fromkeys(name.split(" = "), move)
    x = np.array([by_name[n] for n in names])
    boxes = [np.array(b) if isinstance(b, list) else np.array([-b, b])
             for b in tomllib.loads(WANTED.read_text("utf-8"))["move"].values()]  # fmt: skip
    half = np.array([0.5 * np.ptp(b) for b in boxes])
    step = 1e-3 * np.eye(len(x))
    slope = np.array([(figures(x + s) - figures(x - s)) / 2e-3 for s in step])
    together = [names.index("upper_front.y"), names.index("upper_rear.y")]
    slope[together[0], :], slope[together[1], :] = slope[together[0], :], 0.0
    cost = x / half**2
    cost[together[0]] += cost[together[1]]
    cost[together[1]] = 0.0
    # roll centre at its least, camber gradient at its least, toe rises by as much as is allowed
    columns = np.column_stack([slope[:, 0], slope[:, 1], -slope[:, 2]])
    scale = np.linalg.norm(columns, axis=0)
    found = lsq_linear(columns / scale, cost, (0.0, np.inf))
    assert_allclose(columns / scale @ found.x, cost, rtol=0, atol=2e-5 * np.linalg.norm(cost))
    assert answer.residual < 1e-6
    change = np.sqrt((x**2 / half**2).sum())
    assert_allclose(answer.change, change, rtol=1e-9, atol=0)


def test_fewer_moves_and_rounded_points_have_all_that_is_wanted(answer):
    for moves in (answer.few, None):
        new = answer.rounding.car if moves is None else answer.before.with_points(answer.space.places(moves))
        values = swept(new, FINE)
        assert abs(values["roll_centre_height_mm"][100] - 40.0) <= 1.0
        assert np.ptp(values["toe_deg"]) <= 0.02
    assert 0 < (np.abs(answer.few) > 1e-6).sum() < answer.moved
    table = answer.rounding.car.front.points
    for p in ("lower_front", "tie_inner"):
        assert_allclose(2.0 * table[p], np.round(2.0 * table[p]), rtol=0, atol=1e-9)


@pytest.mark.slow
@pytest.mark.parametrize("seed", [3, 8])
def test_a_car_is_recovered_from_its_own_curves(seed, tmp_path):
    """Camber, toe, caster and roll centre over the travel of a car with eight points elsewhere."""
    names = ("lower_front.z", "lower_rear.z", "upper_front.z", "upper_rear.z", "tie_inner.z", "upper_front.y")
    true = np.random.default_rng(seed).uniform(-12.0, 12.0, len(names))
    other = moved_car(car("dunlin"), dict(zip(names, true, strict=True)))
    wants = []
    for measure in ("camber_deg", "toe_deg", "caster_deg", "roll_centre_height_mm"):
        written(tmp_path, curve_text(other, measure, np.linspace(-25, 25, 7)), f"{measure}.csv")
        wants.append({"measure": measure, "curve": f"{measure}.csv", "within": 1e-6})
    found = kin3d.tune(car("dunlin"), written(tmp_path, targets_text("front", dict.fromkeys(names, 15), wants)))
    assert found.met
    assert_allclose(found.moves, true, rtol=0, atol=1e-2)
    for line in found.lines:
        assert line.after.off <= 1e-6


@pytest.mark.slow
def test_a_range_holds_between_the_positions_of_the_solve(tmp_path):
    """Toe has its extremes inside the travel; 401 positions see no more than is allowed."""
    wants = [{"measure": "toe_deg", "range": [-40, 40], "within": 0.001}]
    moves = {"tie_inner.z": 10, "tie_outer.z": 10}
    found = kin3d.tune(car("dunlin"), written(tmp_path, targets_text("front", moves, wants)))
    assert found.met
    toe = swept(found.car, np.linspace(-40.0, 40.0, 401))["toe_deg"]
    assert np.ptp(toe) <= 0.001 + 1e-12
    assert 0 < np.argmax(toe) < 400 or 0 < np.argmin(toe) < 400


def test_coordinates_are_of_the_vehicle_frame_on_the_side_of_the_table(tmp_path):
    """Dunlin's rear table has x rearward, y right, for the right side: y of the vehicle frame is negative there."""
    wants = [{"measure": "camber_deg", "gradient": -0.02, "within": 1e-6}]
    file = written(tmp_path, targets_text("rear", {"upper_front.y": 40, "upper_rear.z": [-1, 30]}, wants))
    found = kin3d.tune(car("dunlin"), file)
    assert found.met
    assert found.side == "right"
    old, new = car("dunlin").rear.points, found.car.rear.points
    assert old["upper_front"][1] < 0
    moves = dict(zip(found.space.names, found.moves, strict=True))
    assert_allclose(new["upper_front"] - old["upper_front"], [0, moves["upper_front.y"], 0], rtol=0, atol=1e-9)
    assert_allclose(new["upper_rear"] - old["upper_rear"], [0, 0, moves["upper_rear.z"]], rtol=0, atol=1e-9)
    near = swept(found.car, [-0.5, 0.5], "rear", "right")["camber_deg"]
    assert_allclose(near[1] - near[0], -0.02, rtol=0, atol=2e-6)


def test_lengths_are_kept(tmp_path):
    wants = [{"measure": "roll_centre_height_mm", "value": 35, "within": 0.01}]
    text = targets_text("front", {"lower_front.z": 20, "lower_front.y": 20, "lower_rear.z": 20}, wants)
    file = written(tmp_path, f'{text}[keep]\nlengths = [["lower_front", "lower_outer"]]\n')
    found = kin3d.tune(car("dunlin"), file)
    assert found.met
    before, after = (c.front.points for c in (car("dunlin"), found.car))
    long = [np.linalg.norm(t["lower_front"] - t["lower_outer"]) for t in (before, after)]
    assert_allclose(long[1], long[0], rtol=0, atol=1e-7)


@pytest.mark.slow
def test_what_cannot_be_had_is_told_and_nothing_is_written(tmp_path):
    """The nearest is as high as the corner of the boxes: no place in them is nearer, by a grid of other cars."""
    code, out, _ = run("tune", str(MODELS / "dunlin" / "car.toml"), str(MODELS / "dunlin" / "too_much.toml"),
                       "--out", str(tmp_path / "new.toml"))  # fmt: skip
    assert code == 1
    lines = [line for line in out.splitlines() if "cannot be had" in line]
    assert len(lines) == 1
    assert lines[0].startswith("roll_centre_height_mm: 90 mm cannot be had: 36.3 mm short")
    assert not list(tmp_path.iterdir())
    best = -np.inf
    for low in np.linspace(-15, 15, 7):
        for up in np.linspace(-15, 15, 7):
            moved = {f"lower_{e}.z": low for e in ("front", "rear")} | {f"upper_{e}.z": up for e in ("front", "rear")}
            values = swept(moved_car(car("dunlin"), moved), [-0.5, 0.0, 0.5])
            if abs(values["camber_deg"][2] - values["camber_deg"][0] + 0.033) <= 0.0005:
                best = max(best, values["roll_centre_height_mm"][1])
    assert best <= 90.0 - 36.3 + 0.1


@pytest.mark.slow
def test_wants_that_exclude_one_another_are_named(tmp_path):
    """Two values of one figure: either can be had, both cannot; a third want has no part in it."""
    wants = [{"measure": "roll_centre_height_mm", "value": v, "within": 1} for v in (30, 35)]
    wants.append({"measure": "caster_deg", "value": 5.0, "within": 5.0})
    file = written(tmp_path, targets_text("front", {"inboard lower.z": 15}, wants))
    found = kin3d.tune(car("dunlin"), file)
    assert not found.met
    assert found.established
    assert found.forecast.conflict == (1, 2)
    assert found.conflict == (1, 2)
    shorts = [line.after.off for line in found.lines[:2]]
    assert_allclose(sum(shorts), 5.0, rtol=0, atol=1e-3)
    with pytest.raises(kin3d.Kin3dError, match="not written"):
        found.save_car(tmp_path / "new.toml")


def test_wrong_files_say_all_that_is_wrong_at_once():
    folder = MODELS.parent / "tests" / "files" / "bad_targets"
    code, _, err = run("tune", str(MODELS / "dunlin" / "car.toml"), str(folder / "wrong.toml"))
    said = err.replace(f"{folder}/", "").splitlines()
    assert code == 2
    assert said == (folder / "expected.txt").read_text("utf-8").splitlines()
    assert read_targets(folder / "wrong.toml").findings


@pytest.mark.slow
def test_wants_in_roll_along_the_rack_and_of_the_settled_car(tmp_path):
    wants = [
        {"measure": "camber_ground_deg", "at": {"roll_deg": 1.5}, "side": "right", "value": -1.59, "within": 0.02},
        {"measure": "toe_deg", "along": "rack", "change": [-5, 5], "value": -7.0, "within": 0.1},
        {"measure": "roll_centre_height_mm", "at": {"lateral_g": 0.8}, "value": 27.0, "within": 0.5},
    ]
    moves = {"inboard upper.z": 15, "inboard lower.z": 15, "tie_outer.x": 12}
    found = kin3d.tune(car("dunlin"), written(tmp_path, targets_text("front", moves, wants)))
    rolled = kin3d.sweep(found.car, roll=[1.5], measures="camber_ground_deg").dataset().camber_ground_deg
    got = float(rolled.sel(side="right").values.ravel()[0])
    assert_allclose(found.lines[0].after.value, got, rtol=0, atol=1e-9)
    steered = kin3d.sweep(found.car, travel=[0.0], rack=[-5.0, 5.0], measures="toe_deg").dataset().toe_deg
    left = steered.sel(side="left").values.ravel()
    assert_allclose(found.lines[1].after.value, left[1] - left[0], rtol=0, atol=1e-9)
    settled = kin3d.compare([found.car, found.car], lateral=0.8, measures=["roll_centre_height_mm"], samples=0)
    height = settled.cars[0].tolerance.first.value[0, 0]
    assert_allclose(found.lines[2].after.value, height, rtol=0, atol=1e-6)
    assert found.met, found.verdict()


@pytest.mark.slow
def test_free_directions_change_nothing_and_a_trade_off_has_its_ends(tmp_path):
    """Two values of one figure: what one gains the other loses, so that the distances add up to 5 mm all along."""
    wants = [{"measure": "roll_centre_height_mm", "value": v, "within": 1} for v in (30, 35)]
    moves = {"inboard lower.z": 15, "rod_outer.z": 9}
    file = written(tmp_path, targets_text("front", moves, wants))
    found = kin3d.tune(car("dunlin"), file, freedom=True, trade=(1, 2))
    assert_allclose(found.curve.off.sum(axis=1), 5.0, rtol=0, atol=1e-3)
    assert_allclose(found.curve.off[[0, -1], 0], [0.0, 5.0], rtol=0, atol=2e-3)  # a thousandth is given
    free = {t.key: t for t in found.tables()}["freedom"]
    ways = np.array([row[1:] for row in free.rows])
    assert ways.shape[1] >= 1
    rod = [k for k, row in enumerate(free.rows) if row[0] == "rod_outer.z"]
    assert np.abs(ways[rod]).max() == 1.0  # the rod has no part in the roll centre


@pytest.mark.slow
def test_wants_that_cost_each_other_nothing_have_no_curve(tmp_path):
    """The rod moves the motion ratio and not the roll centre, the arm's pivots can undo what they do to the ratio."""
    wants = [
        {"measure": "roll_centre_height_mm", "value": 30, "within": 1},
        {"measure": "motion_ratio", "value": 0.8, "within": 0.01},
    ]
    file = written(tmp_path, targets_text("front", {"inboard lower.z": 15, "rod_outer.z": 9}, wants))
    curve = kin3d.tune(car("dunlin"), file, trade=(1, 2)).curve
    assert curve.free
    assert (curve.off < [[0.01, 0.0001]]).all()
    assert "cost each other nothing: both are had" in curve.note()


@pytest.mark.slow
def test_chance_of_made_cars_and_of_consistent_cars_against_sums_by_hand(tmp_path):
    """One coordinate: a normal error, and a uniform prior cut by a band, have their shares in closed form."""
    band = {"measure": "roll_centre_height_mm", "value": 24.4788, "within": 3}
    file = written(tmp_path, targets_text("front", {"inboard lower.z": 15}, [band]))
    found = kin3d.tune(car("dunlin"), file, consistent=60)
    table = {t.key: t for t in found.tables()}["consistent"].rows[0]
    cars = [moved_car(car("dunlin"), {"lower_front.z": m, "lower_rear.z": m}) for m in (-2.0, 2.0)]
    heights = [swept(c, [0.0])["roll_centre_height_mm"][0] for c in cars]
    reach = 3.0 / ((heights[1] - heights[0]) / 4.0)
    assert_allclose(table[1:3], [-reach, reach], rtol=0.03, atol=0)
    chance = float(table[6].split()[0])
    assert abs(chance - 50.0) < 6.0
    robust = kin3d.tune(car("dunlin"), file, robust=True)
    said = {t.key: t for t in robust.tables()}["robust"].rows[0][1]
    doubt = kin3d.tolerance(car("dunlin"), travel=[0.0], measures=["roll_centre_height_mm"], samples=0)
    sigma = doubt.first.sigma[0, 0]
    # of the least change nothing moves, so that the band is ±3 about the value; figures of the car file err too there
    assert abs(float(said.split()[0]) - 100.0 * erf(3.0 / sigma / np.sqrt(2.0))) < 4.0
