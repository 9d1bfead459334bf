"""Cars whose points come from photographs: read, adjusted, compared from one adjustment, refused."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal

import kin3d
from kin3d.errors import Kin3dError, ReadingError
from kin3d.linkage.layout import WHEEL_AXIS, WHEEL_CENTRE
from kin3d.reading.car import read_car
from kin3d.reading.car_writing import write_car
from kin3d.solve.model import AxleModel
from kin3d.studies.locate import locate
from kin3d.studies.photo_points import adjusted_together
from tests.labels import faults
from tests.photo_cars import photographed
from tests.photo_scenes import design

MEASURES = ["roll_centre_height_mm", "anti_dive_pct", "caster_deg"]
SEED = 7
MODELS = Path(__file__).parents[2] / "models"
FIVE_LINK = MODELS / "siskin" / "five_link.toml"
DEMO = ("dunlin", "plover")
TRUE = {  # of the demo cars' tables, Dunlin and Plover; tests/laws/test_demo_cars.py holds them
    "roll_centre_height_mm": (24.42, 37.02),
    "anti_dive_pct": (10.14, 23.55),
    "caster_deg": (5.48, 5.96),
}


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return tmp_path_factory.mktemp("cars")


@pytest.fixture(scope="module")
def paths(folder):
    return photographed(folder, SEED)[1]


@pytest.fixture(scope="module")
def cars(paths):
    return [kin3d.load(p) for p in paths]


@pytest.fixture(scope="module")
def demo():
    """The demo cars as their rendered photographs give them."""
    return [kin3d.load(MODELS / name / "photos" / "car.toml") for name in DEMO]


@pytest.fixture(scope="module")
def demo_pair(demo):
    return kin3d.compare(demo, "front", [0.0], MEASURES, samples=0).pairs[0]


def test_a_car_has_the_points_of_its_photographs(cars, paths):
    for car, path in zip(cars, paths, strict=True):
        found = locate(path.with_suffix(".photos.toml")).car
        table = car.front.points
        assert table.names == found.names
        assert_array_equal(table.xyz_mm, found.xyz_mm)
        assert_allclose(table.sigma_mm, found.sigma_mm, rtol=1e-12)
        assert car.front.side == "left"
        assert car.front.loaded_radius_mm == found.figures["loaded_radius_mm"][0]
        assert car.data.wheelbase_mm == found.figures["wheelbase_mm"][0]


def test_the_truth_is_within_the_band_of_every_coordinate(cars):
    """2.58 sigma hold 99 % of a normal distribution."""
    for car in cars:
        truth, table = design(car.title), car.front.points
        for name in table.names:
            if name == WHEEL_AXIS:
                continue
            off, sigma = table[name] - truth[name], table.sigma_mm[table.names.index(name)]
            assert (np.abs(off) <= 2.576 * sigma + 1e-9).all(), f"{car.title} {name}: {off} with {sigma}"


def test_the_truth_of_the_demo_photographs_is_within_their_bands(demo):
    for name, car in zip(DEMO, adjusted_together(demo, "front")[0], strict=True):
        truth, table = design(name), car.front.points
        for point, place in truth.items():
            off, sigma = table[point] - place, table.sigma_mm[table.names.index(point)]
            assert (np.abs(off) <= 2.576 * sigma + 1e-9).all(), f"{name} {point}: {off} with {sigma}"


def test_the_demo_photographs_are_as_good_as_the_trial_said(demo_pair):
    """Three pictures, ride height to 1 mm: 2.2 mm and 2.1 % of one car, 3.3 mm and 3.1 % of the difference, by a trial
    with numpy and scipy alone; within a factor of 1.3.
    """
    for measure, one, both in (("roll_centre_height_mm", 2.2, 3.3), ("anti_dive_pct", 2.1, 3.1)):
        d = demo_pair.difference(measure, "design")
        assert max(d.sigma_a, d.sigma_b) < 1.3 * one
        assert d.sigma < 1.3 * both


@pytest.mark.parametrize("measure", MEASURES)
def test_true_measures_of_the_demo_photographs_are_within_their_bands(demo_pair, measure):
    d, (first, second) = demo_pair.difference(measure, "design"), TRUE[measure]
    assert abs(d.a - first) < 2.576 * d.sigma_a
    assert abs(d.b - second) < 2.576 * d.sigma_b
    assert abs(d.difference - (second - first)) < 2.576 * d.sigma


def test_the_demo_photographs_say_that_roll_centre_and_anti_dive_rose_and_no_more(demo, demo_pair):
    said = {m: demo_pair.difference(m, "design").verdict for m in MEASURES}
    assert said["roll_centre_height_mm"] == "can be said"
    assert said["anti_dive_pct"] == "can be said"
    assert said["caster_deg"] != "can be said"
    drawn = kin3d.draw(demo[1], photo="front", ghost=demo[0], plain=True)
    assert "against Dunlin, last season: that it rose can be said (10 ± 6 mm)" in drawn.summary()
    # a two-sided test of no difference by first order: 10 mm of σ = 3.25 mm is |z| = 3.1
    found = drawn.difference()
    z = abs(found.difference) / found.sigma
    assert found.half_width == pytest.approx(1.959964 * found.sigma, rel=1e-6)
    assert found.chance == pytest.approx(math.erfc(z / math.sqrt(2.0)), rel=1e-9)
    assert found.verdict == "can be said"


def test_pictures_of_the_demo_cars_stay_small():
    pictures = [p for name in DEMO for p in (MODELS / name / "photos").glob("*.jpg")]
    assert len(pictures) == 6
    assert max(p.stat().st_size for p in pictures) <= 300_000


def test_nothing_is_computed_from_points_that_are_not_adjusted(paths):
    with pytest.raises(ValueError, match="not adjusted yet"):
        AxleModel.of(read_car(paths[0]), "front")


def test_cars_that_share_something_are_compared_from_one_adjustment(cars, paths):
    together, told = adjusted_together(cars, "front")
    found = locate(paths[1].with_suffix(".photos.toml"))
    for car, own in zip(together, found.cars, strict=True):
        assert_allclose(car.front.points.xyz_mm, own.xyz_mm, rtol=0.0, atol=1e-9)
    assert [f.code for f in told] == ["adjusted-together"]
    alone = adjusted_together(cars[:1], "front")
    assert alone[0][0] is cars[0]
    assert not alone[1]


def test_what_was_changed_since_stays_changed(cars):
    up = cars[0].front.points["upper_rear"] + [0.0, 0.0, 10.0]
    moved = cars[0].with_points({"upper_rear": up}).with_figures({"front.loaded_radius_mm": 250.0})
    (first, _), _ = adjusted_together([moved, cars[1]], "front")
    (plain, _), _ = adjusted_together(cars, "front")
    change = first.front.points.xyz_mm - plain.front.points.xyz_mm
    expected = np.zeros_like(change)
    expected[first.front.points.names.index("upper_rear"), 2] = 10.0
    assert_allclose(change, expected, rtol=0.0, atol=1e-9)
    assert first.front.loaded_radius_mm == 250.0
    assert plain.front.loaded_radius_mm != 250.0


def test_from_files_to_verdicts(cars):
    """A difference is known better from one adjustment than from sigmas taken as independent."""
    found = kin3d.compare(cars, "front", [-20.0, 0.0, 20.0], MEASURES, samples=2000)
    (pair,) = found.pairs
    assert {f.code for f in found.findings} >= {"adjusted-together"}
    truth = {"roll_centre_height_mm": 12.6, "anti_dive_pct": 13.4, "caster_deg": 0.48}
    for name, true in truth.items():
        d = pair.difference(name, "design")
        assert abs(d.difference - true) < 2.576 * d.sigma + 0.05, name
    anti = pair.difference("anti_dive_pct", "design")
    assert anti.verdict == "can be said"
    assert anti.sigma < 0.95 * np.hypot(anti.sigma_a, anti.sigma_b)
    points = {m.point: m for m in pair.moves}
    table = [c.front.points for c in adjusted_together(cars, "front")[0]]
    apart = np.hypot(*(t.sigma_mm[t.names.index("upper_outer")] for t in table))
    assert (points["upper_outer"].sigma_mm < 0.998 * apart).all()


def test_causes_name_marks_and_figures(cars):
    found = kin3d.tolerance(cars[0], "front", [0.0], MEASURES, samples=200)
    causes = next(t for t in found.tables() if t.key == "causes")
    said = "; ".join(str(row[1]) for row in causes.rows)
    assert "dunlin front: legs" in said
    assert "(most: dunlin front: leg " in said
    assert "position of the car" in said
    assert found.spread is not None
    assert_allclose(found.spread.sigma[:, 0], found.first.sigma[:, 0], rtol=0.12)


def test_the_table_that_locate_writes_is_as_good_as_the_photographs(cars, paths, tmp_path):
    located = locate(paths[0].with_suffix(".photos.toml"))
    located.save(tmp_path / "points.csv")
    text = paths[0].read_text("utf-8").replace(
        'points = "dunlin.photos.toml"',
        'points = "points.csv"\nunits = "mm"\naxes = "x forward, y left, z up"\nside = "left"\n'
        f"loaded_radius_mm = {cars[0].front.loaded_radius_mm!r}",
    )
    text = text.replace("[car]", f"[car]\nwheelbase_mm = {cars[0].data.wheelbase_mm!r}")
    (tmp_path / "car.toml").write_text(text, "utf-8")
    again = kin3d.load(tmp_path / "car.toml")
    flat = [c.front.points.errors.effect_mm.reshape(-1, 3 * len(c.front.points.names)) for c in (again, cars[0])]
    assert_allclose(flat[0].T @ flat[0], flat[1].T @ flat[1], rtol=1e-6, atol=1e-6)
    assert WHEEL_CENTRE in again.front.points


def test_a_car_that_is_written_keeps_points_and_covariance(cars, tmp_path):
    write_car(cars[0], tmp_path / "again.toml")
    again = kin3d.load(tmp_path / "again.toml")
    assert_allclose(again.front.points.xyz_mm, cars[0].front.points.xyz_mm, rtol=0.0, atol=1e-9)
    assert_allclose(again.front.points.sigma_mm, cars[0].front.points.sigma_mm, rtol=1e-9)
    flat = [c.front.points.errors.effect_mm.reshape(-1, 3 * len(c.front.points.names)) for c in (again, cars[0])]
    assert_allclose(flat[0].T @ flat[0], flat[1].T @ flat[1], rtol=1e-6, atol=1e-6)


def test_the_report_takes_them(cars, tmp_path):
    kin3d.report(cars, "front", [-20.0, 0.0, 20.0], samples=200, scene=False).save(tmp_path / "r.html")
    page = (tmp_path / "r.html").read_text("utf-8")
    assert "their points are from one adjustment" in page
    assert "plover front: legs" in page


def car_text(folder, paths, old, new, name="bad.toml"):
    (folder / name).write_text(paths[0].read_text("utf-8").replace(old, new), "utf-8")
    return folder / name


def test_a_loaded_radius_of_the_car_file_is_said_to_be_unused(folder, paths, cars):
    car = kin3d.load(car_text(folder, paths, "[front]", "[front]\nloaded_radius_mm = 300"))
    assert car.front.loaded_radius_mm == cars[0].front.loaded_radius_mm
    assert "radius-unused" in {f.code for f in car.findings}
    assert "radius-unused" not in {f.code for f in cars[0].findings}


@pytest.mark.parametrize(
    ("old", "new", "code"),
    [
        ("[front]", "[rear]", "axle-differs"),
        ("[front]", '[front]\nside = "right"', "side-differs"),
        ('"double wishbone"', f'"{FIVE_LINK}"', "layout-differs"),
        ("[front]", '[front]\nother_points = "dunlin.photos.toml"', "photographs-other"),
        ("dunlin.photos.toml", "nowhere.photos.toml", "file-missing"),
        ("[front]", "[front]\norigin = [1, 2, 3]", "origin-photographs"),
    ],
)
def test_what_does_not_go_with_photographs_is_refused(folder, paths, old, new, code):
    with pytest.raises(Kin3dError) as caught:
        kin3d.load(car_text(folder, paths, old, new))
    assert code in {f.code for f in caught.value.findings}, [str(f) for f in caught.value.findings]


def test_a_template_that_leads_back_is_refused(folder, paths):
    photos = (folder / "dunlin.photos.toml").read_text("utf-8")
    (folder / "loop.photos.toml").write_text(photos.replace("dunlin.template.csv", "loop.toml"), "utf-8")
    (folder / "loop.toml").write_text(paths[0].read_text("utf-8").replace("dunlin.photos", "loop.photos"), "utf-8")
    with pytest.raises(ReadingError) as caught:
        kin3d.load(folder / "loop.toml")
    assert "template-axle" in {f.code for f in caught.value.findings}


def test_locate_says_what_would_help_and_what_was_found(paths, tmp_path):
    found = kin3d.locate(paths[1], ["roll_centre_height_mm", "anti_dive_pct"])
    by_name = {w.name: w for w in found.wanted}
    whole = kin3d.tolerance(kin3d.load(paths[1]), "front", [0.0], list(by_name), samples=0)
    for name, wanted in by_name.items():
        row = whole.row(name)
        assert_allclose(wanted.sigma, whole.first.sigma[row, 0], rtol=1e-6)
        assert_allclose(wanted.value, whole.first.value[row, 0], rtol=1e-9)
        assert wanted.helps[0].sigma < wanted.sigma
    keys = [t.key for t in found.tables()]
    assert keys[:3] == ["points", "measures", "helps"]
    assert {"known", "assumed"} <= set(keys)
    helps = next(t for t in found.tables() if t.key == "helps")
    assert {str(row[3]).split(":")[0] for row in helps.rows} == {"mark", "figure", "photograph"}
    found.plot(tmp_path / "check.svg")
    picture = (tmp_path / "check.svg").read_text("utf-8")
    assert "plover: plover front" in picture
    assert "leg: misses" in picture
    assert faults(picture) == []


def test_measures_that_lack_data_are_said(paths):
    found = kin3d.locate(paths[0].with_suffix(".photos.toml"), ["caster_deg", "anti_dive_pct"])
    assert [w.name for w in found.wanted] == ["caster_deg"]
    assert "anti_dive_pct" in " ".join(found.notes())


def test_a_car_without_photographs_has_nothing_to_locate():
    with pytest.raises(Kin3dError) as caught:
        kin3d.locate(MODELS / "dunlin" / "car.toml")
    assert caught.value.findings[0].code == "photographs-none"


def test_the_loaded_radius_errs_with_the_points(cars):
    """The ground is where the tyres stand: raising everything by a longer radius leaves the contact where it is."""
    found = kin3d.tolerance(cars[0], "front", [0.0], ["contact_z_mm"], samples=0)
    assert found.first.sigma[0, 0] < 0.02
    assert cars[0].front.points.sigma_mm[cars[0].front.points.names.index(WHEEL_CENTRE), 2] > 1.0


def test_the_report_shows_the_construction_on_the_photograph_first(demo, tmp_path):
    """First of all for one car; of two cars what can be said comes first, then it stands before curves and tables."""
    page = tmp_path / "page.html"
    kin3d.report(demo[1:], "front", [0.0], samples=0, scene=False).save(page)
    text = page.read_text("utf-8")
    assert text.index('id="photo-front"') < text.index('id="summary"')
    kin3d.report(demo, "front", [0.0], samples=0, scene=False).save(page)
    text = page.read_text("utf-8")
    at, end = text.index('id="photo-front"'), text.index("<summary>Points")
    assert text.index('id="summary"') < at < end
    part = text[at:end]
    assert "data:image/jpeg;base64," in part
    assert "Plover, this season: roll centre" in part
    assert "xlink" not in part  # nothing is fetched, every name is the page's own
