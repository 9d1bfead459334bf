"""Left and right are those of the car, whichever side its points were given for and whichever it is."""

from __future__ import annotations

import re
from collections.abc import Mapping
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

import kin3d
from kin3d.linkage.car import Car
from tests.car_files import point_table
from tests.laws.cars import car

MIRROR = np.array([1.0, -1.0, 1.0])
TRAVEL = np.linspace(-20.0, 20.0, 5)
Tables = dict[str, tuple[Mapping[str, np.ndarray], Mapping[str, np.ndarray]]]


def tables() -> Tables:
    """Left and right points of a car whose sides differ: Dunlin's, those of the right up to 3 mm elsewhere."""
    rng, out = np.random.default_rng(3), {}
    for axle in car("dunlin").axles():
        own = axle.points
        left = {p: own[p] * (1.0 if axle.side == "left" else MIRROR) for p in own.names}
        out[axle.name] = (left, {p: (v + rng.uniform(-3.0, 3.0, 3)) * MIRROR for p, v in left.items()})
    return out


def mirrored(of: Tables) -> Tables:
    """The tables of the car's mirror image: what was on the right is on the left."""
    return {
        name: ({p: v * MIRROR for p, v in right.items()}, {p: v * MIRROR for p, v in left.items()})
        for name, (left, right) in of.items()
    }


def written(folder: Path, of: Tables, side: str, both: bool = True) -> Car:
    """Dunlin with these points, the table of `side` as ``points`` and, with `both`, the other as ``other_points``."""
    folder.mkdir(exist_ok=True)
    text = (car("dunlin").source).read_text("utf-8")
    text = re.sub('axes = ".*"', 'axes = "x forward, y left, z up"', re.sub('side = ".*"', f'side = "{side}"', text))
    for name, (left, right) in of.items():
        own, other = (left, right) if side == "left" else (right, left)
        (folder / f"{name}_own.csv").write_text(point_table(own), encoding="utf-8")
        (folder / f"{name}_other.csv").write_text(point_table(other), encoding="utf-8")
        keys = f'points = "{name}_own.csv"' + (f'\nother_points = "{name}_other.csv"' if both else "")
        text = text.replace(f'points = "{name}.csv"', keys)
    (folder / "car.toml").write_text(text, encoding="utf-8")
    return kin3d.load(folder / "car.toml")


@pytest.fixture(scope="module")
def cars(tmp_path_factory) -> SimpleNamespace:
    """The car, the same one given from the right, and its mirror image, given from either side."""
    folder = tmp_path_factory.mktemp("sides")
    of = tables()
    even = mirrored({name: (left, left) for name, (left, _) in of.items()})
    return SimpleNamespace(
        car=written(folder / "car", of, "left"),
        again=written(folder / "again", of, "right"),
        images=[written(folder / side, mirrored(of), side) for side in ("left", "right")],
        one_sided=[
            written(folder / "one", of, "left", both=False),
            written(folder / "one_mirrored", even, "right", both=False),
        ],
        tables=of,
    )


def swept(car: Car, axle: str, sign: float):
    """Sweeps of every kind; roll and rack turned over with the car."""
    rack = [0.0, 8.0 * sign] if axle == "front" else 0.0
    yield kin3d.sweep(car, axle, TRAVEL, rack)
    yield kin3d.sweep(car, axle, heave=[0.0, 5.0], roll=[sign, 2.0 * sign], rack=4.0 * sign)
    yield kin3d.sweep(car, axle, heave=5.0, roll=2.0 * sign, pitch=0.3, rack=4.0 * sign)


@pytest.mark.parametrize("axle", ["front", "rear"])
def test_sweeps_change_sides_with_the_car(cars, axle: str) -> None:
    """Each measure with its sign in the mirror; the car's left is the image's right."""
    for image in cars.images:
        for one, other in zip(swept(cars.car, axle, 1.0), swept(image, axle, -1.0), strict=True):
            for m in one.measures:
                a, b = one.values[m.name], m.mirror * other.values[m.name][..., ::-1]
                np.testing.assert_allclose(a, b, rtol=1e-7, atol=1e-7, err_msg=m.name)
    left, right = kin3d.sweep(cars.car, axle, TRAVEL).values["wheel_y_mm"].reshape(-1, 2).T
    assert (left > 0.0).all()
    assert (right < 0.0).all()
    assert np.abs(left + right).max() > 0.1  # the sides do differ


@pytest.mark.parametrize("axle", ["front", "rear"])
def test_left_is_the_side_of_the_left_points(cars, axle: str) -> None:
    """The wheel centres of the design position stand where the left and the right table put them."""
    for given in (cars.car, cars.again):
        found = kin3d.sweep(given, axle)
        for side, table in enumerate(cars.tables[axle]):
            place = [found.values[f"wheel_{k}_mm"].ravel()[side] for k in "xyz"]
            np.testing.assert_allclose(place, table["wheel_centre"], rtol=0, atol=1e-9)
        checked = next(a for a in kin3d.check(given).axles if a.axle == axle)
        seen = {side: v for side, m, v in checked.figures() if m.name == "wheel_x_mm"}
        np.testing.assert_allclose(
            [seen["left"], seen["right"]], [t["wheel_centre"][0] for t in cars.tables[axle]], rtol=0, atol=1e-9
        )


def test_settled_wheels_and_springs_change_sides(cars) -> None:
    other = {"left": "right", "right": "left"}
    one = kin3d.settle(cars.car, lateral=0.5, braking=0.3)
    for image in cars.images:
        found = kin3d.settle(image, lateral=-0.5, braking=0.3)
        wheels = {w.name: w for w in found.wheels}
        for w in one.wheels:
            axle, side = w.name.split()
            there = wheels[f"{axle} {other[side]}"]
            for name, sign in (("travel_mm", 1.0), ("load_n", 1.0), ("side_n", -1.0), ("camber_ground_deg", 1.0)):
                a, b = getattr(w, name), sign * getattr(there, name)
                np.testing.assert_allclose(a, b, rtol=1e-8, atol=1e-8, err_msg=f"{w.name} {name}")


@pytest.mark.parametrize("side", ["left", "right"])
def test_studies_of_one_side(cars, side: str) -> None:
    """Sensitivity, tolerance and comparison of a side that is named are those of that side, however it was given."""
    number, names = ("left", "right").index(side), ["wheel_y_mm", "toe_deg", "camber_deg", "caster_deg"]
    wanted = kin3d.sweep(cars.car, "front", [10.0], measures=names)
    expected = [wanted.values[m.name].ravel()[number] for m in wanted.measures]
    for given in (cars.car, cars.again):
        derived = kin3d.sensitivity(given, "front", names, travel=10.0, side=side)
        np.testing.assert_allclose(derived.value, expected, rtol=0, atol=1e-9)
        spread = kin3d.tolerance(given, "front", [10.0], names, sigma=0.5, samples=0, side=side)
        np.testing.assert_allclose(spread.first.value.ravel(), expected, rtol=0, atol=1e-9)
        assert derived.side == spread.side == side


def test_a_table_of_the_right_side_shows_the_right_side(cars) -> None:
    """Where one side is given, it is the one shown; and it is the mirror image of the same car given on the left."""
    left, right = (kin3d.check(c) for c in cars.one_sided)
    assert [a.sides for a in left.axles] == [("left",)] * 2
    assert [a.sides for a in right.axles] == [("right",)] * 2
    for one, other in zip(left.axles, right.axles, strict=True):
        for (_, m, a), (_, _, b) in zip(one.figures(), other.figures(), strict=True):
            np.testing.assert_allclose(a, m.mirror * b, rtol=1e-9, atol=1e-7, err_msg=m.name)
        assert one.reach == other.reach


def test_rates_of_sides_that_differ(cars) -> None:
    """The figures of one wheel are the left one's, and the result says so; warnings come for both sides."""
    ratio = kin3d.sweep(cars.car, "front", measures=["motion_ratio"]).values["motion_ratio"].ravel()
    assert abs(ratio[0] - ratio[1]) > 1e-4
    for given in (cars.car, cars.again):
        found = kin3d.rates(given, "front", [0.0])
        (spring,) = (c for c in found.found.curves if c.name == "spring")
        np.testing.assert_allclose(spring.single_ratio, ratio[0], rtol=1e-9, atol=0)
        assert [f for f in found.findings if f.code == "left-side"]
        told = [f.place for f in found.findings if f.code == "damper-stroke"]
        assert told == [f"[front.damper], {side} side" for side in ("left", "left", "right", "right")]
    (image,) = (c for c in kin3d.rates(cars.images[0], "front", [0.0]).found.curves if c.name == "spring")
    np.testing.assert_allclose(image.single_ratio, ratio[1], rtol=1e-9, atol=0)
    assert not [f for f in kin3d.rates(car("dunlin"), "front").findings if f.code == "left-side" or "side" in f.place]
