"""No two words of a picture lie on each other and none is cut off, in every kind of picture and for cars at random."""

from __future__ import annotations

import re

import numpy as np
import pytest

import kin3d
from kin3d.report.page import render
from kin3d.studies.migration import draw_migration
from kin3d.studies.report_data import collect
from tests.labels import boxes, faults
from tests.laws.cars import CORNERS, MODELS, car
from tests.uncertain import moved, with_sigma

TRAVEL = [-30.0, -15.0, 0.0, 15.0, 30.0]
MEASURES = ["roll_centre_height_mm", "camber_deg"]
PICTURE = '<svg viewBox="0 0 100 50"><text style="font-size: 10px" x="{x}" y="{y}">{text}</text>{more}</svg>'


def test_the_check_sees_words_on_each_other_and_words_cut_off():
    def one(x, y, text="word", more=""):
        return faults(PICTURE.format(x=x, y=y, text=text, more=more))

    beside = '<text style="font-size: 10px; text-anchor: middle" x="70" y="30">other</text>'
    assert one(10, 30, more=beside) == []
    assert one(50, 30, more=beside) == ['"word" on "other"']
    assert one(80, 30) == ['"word" is cut off']
    assert one(10, 4) == ['"word" is cut off']
    turned = beside.replace('x="70" y="30"', 'x="30" y="25" transform="rotate(-90 30 25)"')
    assert one(20, 30, more=turned) == ['"word" on "other"']
    assert one(40, 30, more=turned) == []


def written(tmp_path, result, **chosen):
    place = tmp_path / "picture.svg"
    result.plot(place, **chosen)
    text = place.read_text("utf-8")
    assert list(boxes(text))
    return faults(text)


@pytest.mark.parametrize("corner", CORNERS, ids="_".join)
def test_constructions(tmp_path, corner):
    name, axle = corner
    for roll, heave in ((0.0, 0.0), (3.0, 20.0)):
        shown = kin3d.draw(car(name), "front", axle, roll=roll, heave=heave)
        assert written(tmp_path, shown) == [], (roll, heave)
    assert written(tmp_path, kin3d.draw(car(name), "side")) == []


@pytest.mark.slow
@pytest.mark.parametrize("corner", CORNERS, ids="_".join)
def test_curves_of_one_car(tmp_path, corner):
    name, axle = corner
    assert written(tmp_path, kin3d.sweep(car(name), axle, TRAVEL, [-10.0, 0.0, 10.0], measures=MEASURES)) == []
    assert written(tmp_path, kin3d.tolerance(car(name), axle, travel=TRAVEL, measures=MEASURES, samples=0)) == []
    assert written(tmp_path, kin3d.sensitivity(car(name), axle, measures=MEASURES)) == []
    draw_migration(kin3d.sweep(car(name), axle, roll=[-3.0, 0.0, 3.0], heave=[-20.0, 0.0, 20.0]), tmp_path / "m.svg")
    assert faults((tmp_path / "m.svg").read_text("utf-8")) == []


@pytest.mark.slow
@pytest.mark.parametrize("names", [("dunlin", "plover"), ("siskin", "dunlin"), ("dunlin", "dunlin")], ids="_".join)
def test_two_cars(tmp_path, names):
    for axle in ("front",) if "siskin" in names else ("front", "rear"):
        few = [
            "roll_centre_height_mm",
            "camber_deg",
            "caster_deg",
            "anti_dive_pct" if axle == "front" else "anti_squat_pct",
        ]
        result = kin3d.compare([car(n) for n in names], axle, TRAVEL[::2], few, samples=0)
        for figure in ("why", "curves", "causes"):
            if figure != "causes" or (names[0] != names[1] and result.pairs[0].attribution.measures):
                assert written(tmp_path, result, figure=figure) == [], (axle, figure)


def test_other_pictures(tmp_path):
    """Swaps, located points and photographs stand with the tests that make them: each takes seconds."""
    assert written(tmp_path, kin3d.import_drawing(MODELS / "plover" / "front.dxf")) == []
    for name in ("dunlin", "plover"):
        for axle in ("front", "rear"):
            assert written(tmp_path, kin3d.rates(car(name), axle, TRAVEL)) == [], (name, axle)
        found = kin3d.forces(car(name), [-20.0, 0.0, 20.0], axle="front", cases=["kerb"])
        assert written(tmp_path, found) == [], name


@pytest.mark.parametrize("case", ["braking", "cornering", "kerb"])
def test_free_bodies(tmp_path, case):
    for name in ("dunlin", "plover"):
        kin3d.forces(car(name), [0.0], axle="front", cases=[case]).bodies(tmp_path / "b.svg")
        assert faults((tmp_path / "b.svg").read_text("utf-8")) == [], name


def at_random(seed):
    """A demo car and the same with its chassis joints and outer joints moved by up to 25 mm, deviations at random."""
    random = np.random.default_rng(seed)
    name, axle = CORNERS[seed % len(CORNERS)]
    first = car(name)
    table = getattr(first, axle).points
    names = [p for p in table.names if p.split("_")[0] in ("upper", "lower", "tie")]
    other = moved(first, axle, {p: random.uniform(-25.0, 25.0, 3) for p in names}, "Another car")
    if seed % 3 == 1:
        return axle, [with_sigma(c, axle, float(random.uniform(0.2, 4.0))) for c in (first, other)]
    return axle, [with_sigma(c, axle, 0.0) for c in (first, other)] if seed % 3 == 2 else [first, other]


@pytest.mark.slow
@pytest.mark.parametrize("seed", range(20))
def test_cars_at_random(tmp_path, seed):
    axle, cars = at_random(seed)
    few = ["roll_centre_height_mm", "anti_dive_pct" if axle == "front" else "anti_squat_pct"]
    result = kin3d.compare(cars, axle, [0.0], few, samples=0)
    assert written(tmp_path, result, figure="why") == []
    if seed % 2:
        assert written(tmp_path, kin3d.draw(cars[1], "front", axle)) == []


@pytest.mark.slow
def test_pictures_of_a_report():
    text = render(collect([car("dunlin"), car("plover")], ["front"], TRAVEL[::2], samples=0), "", {})
    drawn = [s for s in re.findall(r"<svg.*?</svg>", text, re.S) if list(boxes(s))]
    assert len(drawn) > 10
    assert [f for s in drawn for f in faults(s)] == []
