"""The why-figure: what it draws stands where the measures say, and its words claim no more than the verdicts."""

from __future__ import annotations

import re

import numpy as np
import pytest
from numpy.testing import assert_allclose

from kin3d.errors import RequestError
from kin3d.linkage.record import changed
from kin3d.studies.compare import compare
from kin3d.studies.told import finding, moves_of, places_of, with_doubt
from kin3d.studies.why import why_views
from kin3d.writing.drawing import Polyline, Symbol, Words
from tests.cli.run import run
from tests.laws.cars import MODELS, car
from tests.uncertain import moved, with_axle, with_sigma

ROLL = "roll_centre_height_mm"
MEASURES = [ROLL, "anti_dive_pct", "front_ic_y_mm", "front_ic_z_mm", "contact_z_mm"]


@pytest.fixture(scope="module")
def demo():
    return compare([car("dunlin"), car("plover")], "front", [0.0], MEASURES, samples=0)


def marks(view, layer, shape):
    return [i.at for i in view.drawing.items if isinstance(i, Symbol) and (i.layer, i.shape) == (layer, shape)]


def said(view):
    return [" ".join(i.lines) for i in view.drawing.items if isinstance(i, Words)]


def taller(view):
    return float(re.search(r"drawn ([\d.]+) times", view.subtitle)[1])


def one(pair, measure, kind="design"):
    return pair.difference(measure, kind)


def test_roll_and_instant_centres_stand_where_the_measures_say(demo):
    """Heights in the picture over the factor that the axis tells are those of the measures over the ground."""
    pair = demo.pairs[0]
    view = why_views(pair)[0]
    up = taller(view)
    assert up > 1.0
    assert any(f"drawn {up:g} times as tall" in s for s in said(view))
    for layer, end in (("car a", "a"), ("car b", "b")):
        value = {m: getattr(one(pair, m), end) for m in MEASURES}
        [roll] = marks(view, layer, "target")
        assert_allclose(roll, (0.0, up * value[ROLL]), rtol=0.0, atol=1e-9)
        [centre] = marks(view, layer, "square")
        place = (value["front_ic_y_mm"], up * (value["front_ic_z_mm"] - value["contact_z_mm"]))
        assert_allclose(centre, place, rtol=0.0, atol=1e-9)
        own = [i.places for i in view.drawing.items if isinstance(i, Polyline) and i.layer == layer]
        ends = [p for p in own if len(p) == 2]
        assert any(np.allclose(e[1], centre, rtol=0.0, atol=1e-9) and abs(e[0][1]) < 1e-9 for e in ends)


def test_the_side_view_reads_the_anti_value_on_the_height_of_the_mass_centre(demo):
    pair = demo.pairs[0]
    view = why_views(pair)[1]
    for layer, end, data in (("car a", "a", car("dunlin").data), ("car b", "b", car("plover").data)):
        [read] = marks(view, layer, "target")
        height = getattr(one(pair, "anti_dive_pct"), end) / 100.0 * data.cg_height_mm
        assert_allclose(read, (data.front_brake_share * data.wheelbase_mm, taller(view) * height), rtol=0.0, atol=1e-9)
    assert any("100 %, height of the mass centre" in s for s in said(view))


def test_the_title_says_what_changed_by_how_much_how_sure_and_why(demo):
    title = why_views(demo.pairs[0])[0].title
    assert re.fullmatch(r"The roll centre rose 13 ± (9|10) mm \(95 %\): the lower arm's inboard pivots went up", title)


def test_arrows_have_the_share_of_the_points_that_moved(demo):
    """Moving the lower pivots alone makes about the share that is told."""
    pair = demo.pairs[0]
    told = next(s for s in said(why_views(pair)[0]) if s.startswith("lower arm's inboard pivots"))
    share = float(re.search(r"up: \+(\d+) mm", told)[1])
    change = {m.point: m.change for m in pair.moves if m.group == "inboard lower"}
    assert f"{np.mean([c[2] for c in change.values()]):.0f} mm up" in told
    cars = [car("dunlin"), moved(car("dunlin"), "front", change)]
    first = one(compare(cars, "front", [0.0], [ROLL], samples=0).pairs[0], ROLL)
    assert share == pytest.approx(first.difference, rel=0.15)


def test_what_cannot_be_said_is_not_claimed():
    result = compare([car("dunlin"), car("plover")], "rear", [0.0], [ROLL], samples=0)
    view = why_views(result.pairs[0])[0]
    assert re.match(r"Whether the roll centre rose or sank cannot be said: \+5 ± \d mm \(95 %\)$", view.title)
    assert not view.moves
    assert not [s for s in said(view) if re.search(r"(up|down): [+−]", s)]
    colours = {i.colour for i in view.drawing.items if isinstance(i, Polyline)}
    assert not colours & {"raises", "lowers"}


def test_equal_cars_and_cars_without_deviations():
    same = compare([car("dunlin"), car("dunlin")], "front", [0.0], [ROLL], samples=0)
    assert finding(one(same.pairs[0], ROLL), same.pairs[0]) == "The roll centre is the same in both cars: 24 mm"
    a, b = (with_sigma(car(n), "front", 0.0) for n in ("dunlin", "plover"))
    unknown = compare([a, b], "front", [0.0], [ROLL], samples=0)
    title = why_views(unknown.pairs[0])[0].title
    assert "from the points as given" in title
    assert "no deviations are given" in title
    assert "±" not in title


def test_a_single_joint_is_named_and_a_tilt_is_not_called_a_rise():
    up = moved(car("siskin"), "front", {"lower_front_inner": [0.0, 0.0, 12.0]})
    pair = compare([car("siskin"), up], "front", [0.0], [ROLL], samples=0).pairs[0]
    assert moves_of(pair, ROLL)[0].clause == "the lower front link's inboard joint went up"
    tilted = moved(car("dunlin"), "front", {"lower_front": [0.0, 0.0, -10.0], "lower_rear": [0.0, 0.0, 10.0]})
    pair = compare([car("dunlin"), tilted], "front", [0.0], ["anti_dive_pct"], samples=0).pairs[0]
    assert moves_of(pair, "anti_dive_pct")[0].clause.endswith("went apart (front down and rear up)")


def test_figures_have_the_places_that_their_doubt_leaves(demo):
    assert [places_of(w) for w in (9.46, 12.8, 0.019, 0.0031, 140.0, 2.9)] == [0, 0, 3, 3, 0, 1]
    x = one(demo.pairs[0], ROLL)
    assert re.fullmatch(r"\+13 ± (9|10)", with_doubt(x.difference, x, with_sign=True))


def test_without_figures_of_the_car_the_side_view_tells_the_support_angle():
    bare = [changed(car(n), data=changed(car(n).data, cg_height_mm=None)) for n in ("dunlin", "plover")]
    result = compare(bare, "front", [0.0], [ROLL], samples=0)
    title = why_views(result.pairs[0])[1].title
    # the slope by hand: anti-dive as a height, over how far along the wheelbase it is read
    data = car("dunlin").data
    full = compare([car("dunlin"), car("plover")], "front", [0.0], ["anti_dive_pct"], samples=0).pairs[0]
    share = one(full, "anti_dive_pct").a / 100.0 * data.cg_height_mm / (data.front_brake_share * data.wheelbase_mm)
    assert f"Support angle {np.degrees(np.arctan(share)):.1f}° in A" in title


def test_without_a_loaded_radius_the_figure_is_refused(tmp_path):
    cars = [with_axle(car("dunlin"), "front", loaded_radius_mm=None), car("plover")]
    result = compare(cars, "front", [0.0], ["caster_deg"], samples=0)
    assert why_views(result.pairs[0]) == ()
    with pytest.raises(RequestError, match="loaded_radius_mm of both cars"):
        result.plot(tmp_path / "why.svg", figure="why")


def test_a_third_car_keeps_its_own_colour():
    result = compare([car("dunlin"), car("plover"), car("dunlin")], "front", [0.0], [ROLL], samples=0)
    view = why_views(result.pairs[1])[0]
    layers = {i.layer for i in view.drawing.items if isinstance(i, Polyline)}
    assert {"car a", "car c"} <= layers
    assert "car b" not in layers


def test_only_the_design_position_is_drawn(tmp_path):
    cars = [car("dunlin"), car("plover")]
    over = compare(cars, "front", measures=[ROLL], roll=[-1.0, 0.0, 1.0], samples=0)
    over.plot(tmp_path / "over.svg", figure="why")
    assert "The roll centre rose 13" in (tmp_path / "over.svg").read_text("utf-8").replace("\u00a0", " ")
    held = compare(cars, "front", measures=[ROLL], roll=1.5, samples=0)
    with pytest.raises(RequestError, match="draws the design position, and the cars are compared at roll"):
        held.plot(tmp_path / "held.svg", figure="why")


@pytest.mark.parametrize("ending", ["svg", "png", "pdf"])
def test_the_command_writes_it(tmp_path, ending):
    place = tmp_path / f"why.{ending}"
    cars = [str(MODELS / n / "car.toml") for n in ("dunlin", "plover")]
    code, out, _ = run("compare", *cars, "--measures", ROLL, "--travel", "0", "--samples", "0", "--figure", str(place))
    assert code == 0
    assert f"Finding drawn to {place}" in out.replace("\n", "")
    assert place.stat().st_size > 10_000
    if ending == "svg":
        assert ">The roll centre rose" in place.read_text("utf-8")
