"""Pictures that once said too little or too much: what they hold now."""

from __future__ import annotations

import re
import shutil
from itertools import combinations
from pathlib import Path

import ezdxf
import matplotlib.pyplot as plt
import numpy as np
import pytest

import kin3d
from kin3d.studies.construction import construct
from kin3d.studies.result import SweepResult, sweep_panel
from kin3d.studies.sensitivity_view import _figure
from kin3d.studies.view_parts import ground_plane
from kin3d.writing.drawing import Words
from kin3d.writing.drawing_picture import render
from kin3d.writing.numbers import fixed
from kin3d.writing.panels import draw_grid
from kin3d.writing.style import figure_style, narrow_pictures
from tests.kinds import demo_car
from tests.labels import faults
from tests.laws.cars import car

MODELS = Path(__file__).parents[2] / "models"


def texts(place: Path) -> list[str]:
    """Texts of an SVG picture, one an element."""
    found = re.findall(r"<text[^>]*>(.*?)</text>", place.read_text("utf-8"), re.S)
    return [" ".join(re.sub(r"<[^>]+>", " ", t).split()) for t in found]


def test_the_path_of_the_roll_centre_goes_through_the_ground(tmp_path, monkeypatch):
    """Straight up and down its crossing is sharp, however flat the lines: every heave is drawn, with none left out."""
    found = kin3d.sweep(car("plover"), "front", heave=np.arange(-40.0, 41.0, 5.0))
    height = found.values["roll_centre_height_mm"][:, 0, 0, 0]
    assert height.min() < 0.0 < height.max()
    assert (found.values["roll_centre_lines_deg"] < 1.0).any()
    drawn = []
    real = plt.Axes.plot

    def watched(self, x, y, *rest, **look):
        drawn.append((np.asarray(x, dtype=float), np.asarray(y, dtype=float)))
        return real(self, x, y, *rest, **look)

    monkeypatch.setattr(plt.Axes, "plot", watched)
    found.plot(tmp_path / "path.svg", figure="migration")
    np.testing.assert_allclose(drawn[0][1], height, rtol=0, atol=1e-9)
    assert not any("not drawn" in t for t in texts(tmp_path / "path.svg"))


def test_positions_that_are_left_out_of_a_path_are_counted(tmp_path):
    found = kin3d.sweep(car("dunlin"), "front", heave=[20.0], roll=[-2.0, -1.0, 0.0, 1.0, 2.0])
    flat = (found.values["roll_centre_lines_deg"][..., 0] < 1.0) & (
        np.abs(found.values["roll_centre_offset_mm"][..., 0]) > 500.0
    )
    found.plot(tmp_path / "path.svg", figure="migration")
    assert any(f"not drawn: {int(flat.sum())} positions" in t for t in texts(tmp_path / "path.svg"))
    assert flat.any()


def test_every_value_of_a_second_drive_is_drawn_and_named_once(tmp_path):
    racks = np.arange(-20.0, 21.0, 5.0)
    found = kin3d.sweep(car("dunlin"), "front", [-20.0, 0.0, 20.0], racks, measures=["camber_deg", "toe_deg"])
    panel = sweep_panel(found, found.measures[0])
    assert [t.label for t in panel.traces][2:5] == ["rack −10 mm", "rack −5 mm", "rack 0 mm"]
    for k, trace in enumerate(panel.traces):
        np.testing.assert_array_equal(trace.y, found.values["camber_deg"][:, k, 0])
    found.plot(tmp_path / "racks.svg")
    said = texts(tmp_path / "racks.svg")
    assert all(said.count(t.label) == 1 for t in panel.traces)


def test_of_very_many_values_some_are_drawn_and_the_title_says_so(tmp_path):
    found: SweepResult = kin3d.sweep(car("dunlin"), "front", [0.0, 20.0], np.arange(-20.0, 21.0), measures="camber_deg")
    found.plot(tmp_path / "racks.svg")
    assert "12 of 41 values of rack" in " ".join(texts(tmp_path / "racks.svg"))  # in one line or in two


@pytest.mark.parametrize("name", ["dunlin", "plover"])
@pytest.mark.parametrize("axle", ["front", "rear"])
def test_dimensions_in_a_drawing_show_what_they_measure(tmp_path, name, axle):
    """Two decimals of the true value in every view; no style and no header rounds to more than the last of them."""
    kin3d.export(car(name), axle, [-30.0, 0.0]).save(tmp_path / "axle.dxf")
    doc = ezdxf.readfile(tmp_path / "axle.dxf")
    found = list(doc.modelspace().query("DIMENSION"))
    assert len(found) > 10
    for one in found:
        block = one.get_geometry_block()
        shown = [e.dxf.text if e.dxftype() == "TEXT" else e.text for e in block if "TEXT" in e.dxftype()]
        if shown and one.dxf.text != " ":
            assert f"{one.get_measurement():.2f}" in shown[0]
    assert doc.header["$DIMRND"] == doc.dimstyles.get("KIN3D").dxf.dimrnd == 0.01


@pytest.mark.parametrize(("name", "roll", "heave"), [("dunlin", 3.0, 20.0), ("dunlin", 0.0, 0.0), ("plover", 1.0, 0.0)])
def test_words_of_a_construction_stand_clear_of_each_other_and_of_its_joints(name, roll, heave):
    found = kin3d.draw(car(name), heave=heave, roll=roll)
    drawing, frame = found.drawing()
    with plt.rc_context(figure_style()):
        figure, ax = plt.subplots(figsize=np.asarray(frame.size) / drawing.scale / 25.4)
        ax.set_position((0.0, 0.0, 1.0, 1.0))
        ax.set(xlim=(frame.low[0], frame.high[0]), ylim=(frame.low[1], frame.high[1]))
        render(ax, drawing)
        upright = [w for w in drawing.items if isinstance(w, Words) and not w.turn_deg]
        figure.canvas.draw()
        level = [t for t in (*ax.texts, *figure.texts) if not t.get_rotation() and t.get_text()]
        boxes = {t.get_text(): t.get_window_extent() for t in level}
        plt.close(figure)
    assert len(boxes) >= len({w.lines for w in upright}) > 3
    for (a, one), (b, other) in combinations(boxes.items(), 2):
        assert not one.overlaps(other), f"{a!r} lies over {b!r}"
    plane = construct(car(name), "front", heave, roll)
    where = ground_plane(plane, "front")
    joints = np.concatenate([where.flat(b.places) for w in plane.wheels for b in w.bodies])
    box = next(v for t, v in boxes.items() if "mass centre" in t)
    pixels = ax.transData.transform(joints)
    inside = (pixels > [box.x0, box.y0]).all(axis=1) & (pixels < [box.x1, box.y1]).all(axis=1)
    assert not inside.any()


@pytest.mark.parametrize(("value", "shown"), [(-1501814689657575936.0, "∞"), (9.9e8, "990000000.0"), (-12.25, "−12.2")])
def test_rounding_of_what_lies_at_infinity_is_no_figure(value, shown):
    assert fixed(value, 1) == shown


def test_a_heat_map_of_few_measures_has_room_for_its_words(tmp_path):
    found = kin3d.sensitivity(car("dunlin"), "front", ["camber_deg", "roll_centre_height_mm"])
    with plt.rc_context(figure_style()):
        figure = _figure(found, [0, 1])
        figure.canvas.draw()
        wide = figure.bbox.width
        titles = [a._left_title for a in figure.axes]
        words = [*figure.texts, *figure.legends[0].get_texts(), *titles]
        for t in words:
            box = t.get_window_extent()
            assert box.x0 >= 0.0, t.get_text()
            assert box.x1 <= wide + 0.5, t.get_text()
        plt.close(figure)


def test_causes_are_told_with_the_doubt_of_the_whole(tmp_path):
    """A difference that cannot be said says so over its causes; parts have no more places than the doubt has."""
    measures = ["roll_centre_height_mm", "caster_deg"]
    found = kin3d.compare([car("dunlin"), car("plover")], "front", [0.0], measures, samples=0)
    found.plot(tmp_path / "causes.svg", figure="causes")
    said = texts(tmp_path / "causes.svg")
    roll, caster = (found.pairs[0].difference(m, "design") for m in measures)
    assert roll.verdict != caster.verdict
    assert f"+{roll.difference:.0f} ± {roll.half_width:.0f} mm" in said
    assert f"+{caster.difference:.1f} ± {caster.half_width:.1f}°: whether it differs cannot be said" in said
    assert {f"A {roll.a:.0f}", f"B {roll.b:.0f}", "raises the figure", "lowers it"} <= set(said)
    parts = found.pairs[0].attribution.grouped(found.pairs[0].attribution.start_parts)
    assert {f"{float(v[0]):+.0f}".replace("-", "−") for v in parts.values() if abs(v[0]) > 0.5} <= set(said)


def test_the_path_of_a_roll_centre_that_hardly_wanders_fills_its_picture(tmp_path):
    """That of a beam axle with a rod across: the ground would make a dot of it, and is said to lie below."""
    axle = demo_car(tmp_path / "live", "live axle with panhard rod")
    kin3d.sweep(axle, "rear", roll=[-2.0, -1.0, 0.0, 1.0, 2.0], heave=[-10.0, 0.0, 10.0]).plot(
        tmp_path / "path.svg", figure="migration"
    )
    assert faults((tmp_path / "path.svg").read_text("utf-8")) == []
    said = texts(tmp_path / "path.svg")
    assert any("which lies below the picture" in s for s in said)
    assert {"−2°", "+2°"} <= set(said)


def test_a_long_title_of_a_panel_is_set_smaller(tmp_path):
    def draw(ax):
        ax.set_title("Spring share of the load transfer, braking, over all that can be said of it", loc="left")

    draw_grid("Two panels", [draw, draw], tmp_path / "grid.svg")
    assert faults((tmp_path / "grid.svg").read_text("utf-8")) == []


def test_narrow_pictures_have_their_panels_below_one_another(tmp_path):
    """For a phone: 4.1 inches are 295 points, of which three panels beside one another would take 886."""
    names = ["camber_deg", "toe_deg", "caster_deg"]
    swept = kin3d.sweep(car("dunlin"), "front", travel=[-10.0, 0.0, 10.0], measures=names)
    sizes = []
    for narrow in (False, True):
        place = tmp_path / f"{narrow}.svg"
        with narrow_pictures(narrow):
            swept.plot(place)
        head = place.read_text("utf-8").partition("<svg")[2].partition(">")[0]
        sizes.append([float(re.findall(rf'{n}="([0-9.]+)pt"', head)[0]) for n in ("width", "height")])
    (wide, low), (slim, high) = sizes
    assert (round(wide), round(slim)) == (886, 295)
    assert high > 2.0 * low


@pytest.mark.parametrize("travel", [0.0, 20.0])
def test_one_position_has_an_axis_in_mm_and_no_power_of_ten(travel, tmp_path):
    kin3d.sweep(car("dunlin"), travel=[travel], measures=["camber_deg"]).plot(tmp_path / "one.svg")
    said = texts(tmp_path / "one.svg")
    assert not [t for t in said if "e−" in t]
    assert {0.0: "0.25", 20.0: "20"}[travel] in said


def test_a_long_name_of_a_car_leaves_the_other_ones_in_the_legend(tmp_path):
    other = car("plover")
    for name in ("front.csv", "rear.csv"):
        shutil.copy(MODELS / "dunlin" / name, tmp_path)
    words = (MODELS / "dunlin/car.toml").read_text("utf-8")
    title = "A car with a name that nobody shortened " * 6
    (tmp_path / "car.toml").write_text(re.sub('title = "[^"]*"', f'title = "{title.strip()}"', words, count=1), "utf-8")
    long = kin3d.load(tmp_path / "car.toml")
    found = kin3d.compare([long, other], travel=[-20.0, 20.0], measures=["camber_deg", "toe_deg"], samples=0)
    found.plot(tmp_path / "curves.svg")
    found.plot(tmp_path / "causes.svg", figure="causes")
    for name in ("curves.svg", "causes.svg"):
        assert faults((tmp_path / name).read_text("utf-8")) == []
        assert any(other.title in t for t in texts(tmp_path / name))
