"""What is written as DXF is read back, passes the library's audit, and shows the constructions as the measures say."""

from __future__ import annotations

import re
from dataclasses import replace
from functools import cache
from itertools import combinations

import ezdxf
import numpy as np
import pytest
from ezdxf import bbox
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

import kin3d
from kin3d.errors import RequestError
from kin3d.linkage.record import changed
from kin3d.reading.dxf import read_drawing
from kin3d.studies.export import export
from kin3d.writing.drawing import Drawing, Layer, Words
from kin3d.writing.drawing_dxf import VERSIONS, layer_name, write_dxf
from tests.cli.run import run
from tests.laws.cars import CORNERS, MODELS, car

TRAVELS = (-30.0, 0.0, 30.0)
STATES = {-30.0: "DROOP_30", 0.0: "DESIGN", 30.0: "BUMP_30"}


@pytest.fixture(scope="module")
def drawn(tmp_path_factory):
    """Files of all demo axles at three travels, with what is drawn, by (car, axle)."""
    folder = tmp_path_factory.mktemp("drawn")
    out = {}
    for name, axle in CORNERS:
        shown, path = export(car(name), axle, TRAVELS), folder / f"{name}_{axle}.dxf"
        shown.save(path)
        out[name, axle] = (shown, path, ezdxf.readfile(path))
    return out


def axle_of(name, axle):
    return getattr(car(name), axle)


def lines(doc, on):
    """Starts and ends of the lines on a layer, in the order of drawing, shape (lines, 2, 2)."""
    found = doc.modelspace().query(f'LINE[layer=="{on}"]')
    return np.array([[tuple(e.dxf.start)[:2], tuple(e.dxf.end)[:2]] for e in found])


def dimensions(doc, on):
    return [e.get_measurement() for e in doc.modelspace().query(f'DIMENSION[layer=="{on}"]')]


@cache
def measured(name, axle):
    return kin3d.sweep(car(name), axle, travel=TRAVELS).dataset()


def at(data, measure, travel, side="left"):
    return float(data[measure].sel(travel_mm=travel, rack_mm=0.0, side=side))


# --- reading back ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("corner", CORNERS, ids="_".join)
def test_design_points_come_back(drawn, corner):
    _, path, _ = drawn[corner]
    axle = axle_of(*corner)
    read = read_drawing(path, layout_points=axle.layout.known_points())
    assert not read.failed
    assert {f.code for f in read.findings} == {"hidden-ignored", "axes-assumed"}
    assert set(read.points) == {*axle.points.names, "wheel_axis"}
    back = np.array([read.points[n].xyz_mm for n in axle.points.names])
    assert_allclose(back, axle.points.xyz_mm, rtol=0.0, atol=1e-9)


@pytest.mark.parametrize("version", VERSIONS)
def test_every_version_is_read_back(tmp_path, version):
    path = tmp_path / "out.dxf"
    export(car("plover"), "front", TRAVELS).save(path, version=version)
    table = axle_of("plover", "front").points
    read = read_drawing(path, units="mm" if version == "R12" else None)
    assert_allclose([read.points[n].xyz_mm for n in table.names], table.xyz_mm, rtol=0.0, atol=1e-9)


@settings(max_examples=5, deadline=None, derandomize=True)
@given(st.integers(0, 2**32 - 1), st.sampled_from(CORNERS))
def test_random_corners_come_back(tmp_path_factory, seed, corner):
    name, which = corner
    axle = axle_of(name, which)
    moved = axle.points.xyz_mm + np.random.default_rng(seed).uniform(-6.0, 6.0, axle.points.xyz_mm.shape)
    other = changed(car(name), **{which: changed(axle, points=replace(axle.points, xyz_mm=moved))})
    path = tmp_path_factory.mktemp("random") / "out.dxf"
    export(other, which, (-7.5, 12.25)).save(path)
    read = read_drawing(path, layout_points=axle.layout.known_points())
    assert not read.failed
    assert_allclose([read.points[n].xyz_mm for n in axle.points.names], moved, rtol=0.0, atol=1e-9)


@pytest.mark.parametrize("side", ["left", "right"])
def test_another_travel_is_read_from_its_layer_once_thawed(drawn, tmp_path, side):
    """Lengths of the links are those of the design position, and the wheel centre is where the measures have it."""
    shown, path, _ = drawn["dunlin", "front"]
    doc = ezdxf.readfile(path)
    on = f"BUMP_30_{side[0].upper()}_POINTS"
    assert doc.layers.get(on).is_frozen()
    doc.layers.get(on).thaw()
    doc.saveas(tmp_path / "thawed.dxf")
    points = read_drawing(tmp_path / "thawed.dxf", views={"layers": [on]}).points
    table, sign = axle_of("dunlin", "front").points, 1.0 if side == "left" else -1.0
    assert set(points) == set(shown.design.wheel().points)
    for a, b in (("tie_inner", "tie_outer"), ("rod_outer", "rod_inner"), ("lower_rear", "lower_outer")):
        length = np.linalg.norm(points[a].xyz_mm - points[b].xyz_mm)
        assert_allclose(length, np.linalg.norm(table[a] - table[b]), rtol=0.0, atol=1e-9)
    centre = points["wheel_centre"].xyz_mm
    assert_allclose(centre[2], table["wheel_centre"][2] + 30.0, rtol=0.0, atol=1e-9)
    assert sign * centre[1] > 0.0


def test_the_same_name_twice_is_refused_when_all_is_thawed(drawn, tmp_path):
    _, path, _ = drawn["dunlin", "front"]
    doc = ezdxf.readfile(path)
    for each in doc.layers:
        each.thaw()
    doc.saveas(tmp_path / "thawed.dxf")
    read = read_drawing(tmp_path / "thawed.dxf")
    assert not read.points
    assert {f.code for f in read.findings if f.severity == "error"} == {"label-twice"}


def test_a_car_file_takes_the_drawing_as_its_points(tmp_path):
    export(car("dunlin"), "front", TRAVELS).save(tmp_path / "front.dxf")
    (tmp_path / "car.toml").write_text(
        'title = "Dunlin"\n[front]\npoints = "front.dxf"\nside = "left"\nlayout = "double wishbone"\n'
        'rod_on = "lower arm"\nloaded_radius_mm = 260\n',
        "utf-8",
    )
    again = kin3d.sweep(kin3d.load(tmp_path / "car.toml"), "front", travel=TRAVELS).dataset()
    once = measured("dunlin", "front")
    for measure in ("camber_deg", "toe_deg", "motion_ratio", "front_ic_y_mm"):
        assert_allclose(again[measure], once[measure], rtol=1e-9, atol=1e-9)


def test_with_the_rack_moved_the_design_position_still_carries_the_names(tmp_path):
    shown = export(car("dunlin"), "front", (-20.0, 0.0, 20.0), 12.0)
    assert [(p.heave_mm, p.rack_mm) for p in shown.positions] == [(-20.0, 12.0), (0.0, 0.0), (0.0, 12.0), (20.0, 12.0)]
    shown.save(tmp_path / "rack.dxf")
    table = axle_of("dunlin", "front").points
    read = read_drawing(tmp_path / "rack.dxf")
    assert_allclose([read.points[n].xyz_mm for n in table.names], table.xyz_mm, rtol=0.0, atol=1e-9)
    assert "TRAVEL_0_L_POINTS" in ezdxf.readfile(tmp_path / "rack.dxf").layers


# --- the file -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("version", VERSIONS)
def test_audit_finds_nothing_and_the_unit_is_there(tmp_path, version):
    export(car("siskin"), "front", TRAVELS).save(tmp_path / "out.dxf", version=version)
    doc = ezdxf.readfile(tmp_path / "out.dxf")
    audit = doc.audit()
    assert not audit.errors
    assert not audit.fixes
    assert doc.acad_release == version
    if version != "R12":  # it has no variables for it
        assert doc.header["$INSUNITS"] == 4
        assert doc.header["$MEASUREMENT"] == 1


@pytest.mark.parametrize("corner", CORNERS, ids="_".join)
def test_audit_of_every_axle(drawn, corner):
    audit = drawn[corner][2].audit()
    assert not audit.errors
    assert not audit.fixes


def test_layers_are_named_for_position_and_part(drawn):
    doc = drawn["dunlin", "rear"][2]
    names = {each.dxf.name for each in doc.layers}
    parts = ("LOWER_ARM", "UPPER_ARM", "UPRIGHT", "TIE_LINK", "ROD", "ROCKER", "SPRING", "WHEEL", "POINTS")
    for state in STATES.values():
        assert {f"{state}_{side}_{part}" for side in "LR" for part in parts} <= names
        assert {f"{state}_{view}_{kind}" for view in ("FRONT", "SIDE") for kind in ("LINKS", "LINES", "DIMS")} <= names
    assert all(len(n) <= 31 and n.replace("_", "").isalnum() for n in names)
    assert {e.dxf.layer for e in doc.modelspace()} <= names


def test_a_part_with_a_long_name_and_odd_letters_gets_a_layer_that_every_version_allows():
    name = layer_name("DROOP_12_5_r", "unterer Längslenker, hinten (verstellbar)")
    assert name == "DROOP_12_5_R_UNTERER_L_NGSLENKE"
    ezdxf.new("R12").layers.add(name)


def test_views_stand_clear_of_each_other_and_of_the_linkage(drawn):
    view = re.compile(r"(\w+_(?:FRONT|SIDE))_(?:LINKS|LINES|ARMS|BASE|DIMS|TEXT)$")
    for _, _, doc in drawn.values():
        groups: dict[str, list] = {}
        for entity in doc.modelspace():
            found = view.match(entity.dxf.layer)
            if not entity.dxf.layer.startswith("SHEET"):
                groups.setdefault(found[1] if found else "space", []).append(entity)
        assert len(groups) == 7
        boxes = {key: bbox.extents(group, fast=True) for key, group in groups.items()}
        for (a, one), (b, two) in combinations(boxes.items(), 2):
            apart_x = one.extmax.x < two.extmin.x or two.extmax.x < one.extmin.x
            apart_y = one.extmax.y < two.extmin.y or two.extmax.y < one.extmin.y
            assert apart_x or apart_y, (a, b)


def test_titles_say_view_travel_and_scale(drawn):
    texts = [e.dxf.text for e in drawn["dunlin", "front"][2].modelspace().query("TEXT")]
    assert "Dunlin, last season, front axle" in texts
    assert "Front view, seen from ahead of the car: travel +30 mm, rack 0 mm" in texts
    assert "Side view, left wheel, nose to the left: travel 0 mm, rack 0 mm (design)" in texts
    assert texts.count("scale 1:1, 1 unit = 1 mm") == 6


# --- constructions, against the measures -----------------------------------------------------------------------------


@pytest.mark.parametrize("travel", TRAVELS)
@pytest.mark.parametrize("corner", CORNERS, ids="_".join)
def test_front_view_shows_instant_centre_and_roll_centre(drawn, corner, travel):
    doc, data = drawn[corner][2], measured(*corner)
    drawn_lines = lines(doc, f"{STATES[travel]}_FRONT_LINES")
    contact = np.array([at(data, f"contact_{c}_mm", travel) for c in "yz"])
    centre = np.array([at(data, f"front_ic_{c}_mm", travel) for c in "yz"])
    shift = drawn_lines[0, 0] - contact
    along = drawn_lines[0, 1] - drawn_lines[0, 0]
    away = centre - contact
    assert_allclose(along[0] * away[1] - along[1] * away[0], 0.0, rtol=0.0, atol=1e-9 * along @ along)
    assert along @ away > 0.0
    assert along @ along <= away @ away * (1.0 + 1e-12)
    sizes = dimensions(doc, f"{STATES[travel]}_FRONT_DIMS")
    near = len(sizes) == 4  # the place of the instant centre, where it is on the view
    assert near or abs(centre[0]) > 1.5 * contact[0]
    if near:
        assert_allclose(drawn_lines[0, 1] - shift, centre, rtol=0.0, atol=1e-9)
    right = np.array([at(data, f"contact_{c}_mm", travel, "right") for c in "yz"])
    height = at(data, "roll_centre_height_mm", travel)
    place = np.array([0.0, contact[1] + height])
    for foot in (contact, right):  # a line from each contact point goes through the roll centre
        ends = [x - shift for x in drawn_lines if np.allclose(x[0] - shift, foot, rtol=0.0, atol=1e-9)]
        shares = [(place - foot) @ (x[1] - x[0]) / ((x[1] - x[0]) @ (x[1] - x[0])) for x in ends]
        off = [np.linalg.norm(x[0] + t * (x[1] - x[0]) - place) for x, t in zip(ends, shares, strict=True)]
        assert any(o < 1e-8 and 0.0 <= t <= 1.0 + 1e-9 for o, t in zip(off, shares, strict=True))
    wanted = [abs(contact[0] - centre[0]), abs(centre[1] - contact[1])] if near else []
    assert_allclose(sorted(sizes), sorted([*wanted, abs(height), contact[0] - right[0]]), rtol=0.0, atol=1e-9)


@pytest.mark.parametrize("travel", TRAVELS)
@pytest.mark.parametrize("corner", CORNERS, ids="_".join)
def test_side_view_reads_the_anti_values(drawn, corner, travel):
    doc, data = drawn[corner][2], measured(*corner)
    figures = car(corner[0]).data
    drawn_lines = lines(doc, f"{STATES[travel]}_SIDE_LINES")
    nose_left = np.array([-1.0, 1.0])
    contact = nose_left * [at(data, f"contact_{c}_mm", travel) for c in "xz"]
    centre = nose_left * [at(data, f"side_ic_{c}_mm", travel) for c in "xz"]
    shift, along, away = drawn_lines[0, 0] - contact, drawn_lines[0, 1] - drawn_lines[0, 0], centre - contact
    assert_allclose(
        along[0] * away[1] - along[1] * away[0], 0.0, rtol=0.0, atol=1e-9 * np.hypot(*along) * np.hypot(*away)
    )
    front = corner[1] == "front"
    brake = figures.front_brake_share if front else 1.0 - figures.front_brake_share
    shares = {"anti_dive_pct": brake} if front else {"anti_lift_pct": brake, "anti_squat_pct": 1.0}
    if corner[0] == "siskin":  # driven in front
        shares["anti_lift_pct"] = 1.0
    sizes = dimensions(doc, f"{STATES[travel]}_SIDE_DIMS")
    for measure, share in shares.items():
        height = at(data, measure, travel) / 100.0 * figures.cg_height_mm
        step = (1.0 if front else -1.0) * share * figures.wheelbase_mm
        reading = contact + shift + (step, height)
        assert min(np.abs(x[1] - reading).max() for x in drawn_lines) < 1e-9
        for size in (abs(height), figures.cg_height_mm, abs(step)):
            assert min(abs(size - s) for s in sizes) < 1e-9


def test_lines_of_the_arms_lie_in_the_planes_of_the_arms(drawn):
    """Both ends of each drawn line, put back into the plane of the view, are coplanar with the arm's three joints."""
    shown, _, doc = drawn["plover", "rear"]
    data = measured("plover", "rear")
    x, y, z = (at(data, f"contact_{c}_mm", 0.0) for c in "xyz")
    places = shown.design.wheels[0].points
    for view, fixed, axes in (("FRONT", 0, (1, 2)), ("SIDE", 1, (0, 2))):
        flip = np.array([1.0 if view == "FRONT" else -1.0, 1.0])  # the nose to the left
        shift = lines(doc, f"DESIGN_{view}_LINES")[0, 0] - flip * np.array([x, y, z])[list(axes)]
        found = lines(doc, f"DESIGN_{view}_ARMS")
        assert len(found) == (4 if view == "FRONT" else 2)  # left wheel first
        for ends, arm in zip(found, ("lower", "upper"), strict=False):
            joints = [places[f"{arm}_{end}"] for end in ("front", "rear", "outer")]
            normal = np.cross(joints[1] - joints[0], joints[2] - joints[0])
            for end in ends - shift:
                back = np.empty(3)
                back[fixed], back[list(axes)] = (x, y)[fixed], flip * end
                assert_allclose((back - joints[0]) @ normal / np.linalg.norm(normal), 0.0, rtol=0.0, atol=1e-8)


def test_arms_of_an_upright_that_does_not_steer_cross_in_the_instant_centre():
    """The tie link in the plane of the lower arm, parallel to the arm's line there: no steering with travel."""
    axle = axle_of("dunlin", "front")
    names = list(axle.points.names)
    xyz = axle.points.xyz_mm.copy()
    for end in ("tie_inner", "tie_outer"):
        front, rear, outer = (axle.points[f"lower_{p}"] for p in ("front", "rear", "outer"))
        hinge = front + (rear - front) * 0.5
        xyz[names.index(end)] = outer + 0.3 * (front - rear) if end == "tie_outer" else hinge + 0.3 * (front - rear)
    moved = changed(car("dunlin"), front=changed(axle, points=replace(axle.points, xyz_mm=xyz)))
    front = export(moved, "front", [0.0]).design.wheels[0].lines.front
    assert_allclose(front.crossing, front.place, rtol=0.0, atol=1e-6)
    assert front.arms_miss_mm < 1e-6


def test_without_a_radius_there_are_no_constructions_but_all_points(tmp_path):
    bare = changed(car("dunlin"), front=changed(axle_of("dunlin", "front"), loaded_radius_mm=None))
    export(bare, "front", TRAVELS).save(tmp_path / "bare.dxf")
    doc = ezdxf.readfile(tmp_path / "bare.dxf")
    assert not doc.audit().errors
    texts = [e.dxf.text for e in doc.modelspace().query("TEXT")]
    assert texts.count("no construction: loaded_radius_mm is not given") == 6
    assert not doc.modelspace().query("DIMENSION")
    assert len(read_drawing(tmp_path / "bare.dxf").points) == len(bare.front.points.names) + 1


# --- commands and mistakes ------------------------------------------------------------------------------------------

CAR = str(MODELS / "dunlin" / "car.toml")


def test_export_says_what_it_drew(tmp_path):
    path = tmp_path / "out.dxf"
    code, out, err = run("export", CAR, "--axle", "rear", "--travel=-25,25", "--rack", "3", "--out", str(path))
    assert (code, err) == (0, "")
    assert "rear axle at travels -25, design, +25 mm with rack +3 mm" in " ".join(out.split())
    assert ezdxf.readfile(path).acad_release == "R2010"


def test_sweep_draws_the_ends_that_were_reached(tmp_path):
    path = tmp_path / "out.dxf"
    code, out, err = run("sweep", CAR, "--travel=-100:40:20", "--dxf", str(path))
    assert code == 1
    assert "is the limit" in err
    assert "at travels -80, design, +40 mm" in " ".join(out.split())
    assert "DROOP_80_L_ROD" in ezdxf.readfile(path).layers


MISTAKES = [
    (["--out", "out.dwg"], '--out ending ".dwg" is not known; expected one of .dxf'),
    (["--out", "no/such/folder/out.dxf"], "is not there; make it first"),
    (
        ["--out", "out.dxf", "--dxf-version", "R9"],
        'version "R9" is not known; expected one of R12, R2000, R2010, R2018',
    ),
    (["--out", "out.dxf", "--travel=-100,0,200"], "travel -100 mm is out of reach: travel -84.24 mm is the limit"),
    (["--out", "out.dxf", "--travel=-100,0,200"], "travel +200 mm is out of reach: travel +110.73 mm is the limit"),
    (["--out", "out.dxf", "--travel=-40:40:1"], "81 travels; at most 25 are drawn"),
    (["--out", "out.dxf", "--rack", "nan"], "--rack is nan; a finite number up to 1e+07 is expected"),
]


@pytest.mark.parametrize(("arguments", "text"), MISTAKES)
def test_mistakes_are_answered_in_words(tmp_path, monkeypatch, arguments, text):
    monkeypatch.chdir(tmp_path)
    code, _, err = run("export", CAR, *arguments)
    assert code == 2
    assert text in " ".join(err.split())
    assert not list(tmp_path.iterdir())


def test_a_place_that_cannot_be_written_is_said(tmp_path):
    (tmp_path / "taken.dxf").mkdir()
    with pytest.raises(RequestError, match="is a folder; give the name of a file in it"):
        export(car("siskin"), "front", [0.0]).save(tmp_path / "taken.dxf")


def test_lines_of_words_stand_below_each_other_beside_their_place(tmp_path):
    drawing = Drawing(1.0, {"notes": Layer("ink")})
    drawing.items.append(Words("notes", np.array([10.0, 20.0]), ("first", "second", "third"), level="top"))
    drawing.items.append(Words("notes", np.array([10.0, 90.0]), ("above", "on the place"), turn_deg=90.0))
    write_dxf([drawing], tmp_path / "w.dxf")
    found = {e.dxf.text: e for e in ezdxf.readfile(tmp_path / "w.dxf").modelspace().query("TEXT")}
    first, second, third = (found[w].get_placement()[1] for w in ("first", "second", "third"))
    assert first.x == second.x == third.x == 10.0
    assert first.y == 20.0
    assert second.y - first.y == pytest.approx(third.y - second.y)
    assert second.y < first.y - drawing.height
    # turned to read upward: the line above is on the left of the one below it, which stands at the place
    assert found["on the place"].get_placement()[1].x == pytest.approx(10.0)
    assert found["above"].get_placement()[1].x < 10.0 - drawing.height
