"""Two cars in one session: swapping, what is unsaved, several points at once, marks, and the curves as a table."""

from __future__ import annotations

import numpy as np
import pytest

import kin3d
from kin3d.errors import RequestError
from kin3d_viewer.curve_files import curves_table, save_curves
from kin3d_viewer.editing import Editor
from kin3d_viewer.labels import MOST_LETTERS, short_title
from kin3d_viewer.model import Drives, LiveModel
from kin3d_viewer.primitives import Label, Line
from kin3d_viewer.scene_axes import SEEN
from kin3d_viewer.scene_marks import distance_words
from kin3d_viewer.session import Session
from tests.viewer.cars import car


def session() -> Session:
    return Session.of(car("dunlin", None), "front", Drives(8.0), car("plover", None))


def raised(made: Session, point: str, by: float) -> None:
    made.editor.set_point(0, point, made.editor.place(0, point) + np.array([0.0, 0.0, by]))


def test_cars_change_places_with_their_changes_and_their_colours():
    made = session()
    raised(made, "upper_outer", 2.0)
    dunlin, plover = made.view.now.values["camber_deg"].copy(), made.ghost().now.values["camber_deg"].copy()
    colours = {title: colour for colour, title in made.cars()}
    assert not made.swap().reason
    np.testing.assert_allclose(made.view.now.values["camber_deg"], plover, rtol=0.0, atol=1e-12)
    np.testing.assert_allclose(made.ghost().now.values["camber_deg"], dunlin, rtol=0.0, atol=1e-12)
    assert {title: colour for colour, title in made.cars()} == colours
    raised(made, "lower_outer", 1.0)
    assert len(made.unsaved) == 2
    assert made.unsaved_beside == (made.other.car.title,)
    made.swap()
    np.testing.assert_allclose(made.view.now.values["camber_deg"], dunlin, rtol=0.0, atol=1e-12)
    made.editor.undo()
    assert made.unsaved == (made.other.car.title,)
    made.swap()
    made.editor.note_saved()
    assert made.unsaved == ()


def test_one_car_cannot_be_swapped():
    made = Session.of(car("dunlin", None), "front", Drives())
    assert made.swap().reason == "there is no other car to swap with: open one beside"


def test_several_points_move_as_one_and_are_taken_back_as_one():
    made = Editor(LiveModel(car("dunlin", None)), Drives(12.0))
    shift, points = np.array([0.0, -3.0, 4.0]), ("upper_front", "upper_rear")
    before = {p: made.place(0, p).copy() for p in made.model.points()}
    made.begin_drag()
    for share in (0.5, 1.0):
        assert not made.drag(0, points, share * shift).reason
    made.end_drag()
    for point, place in before.items():
        wanted = place + shift if point in points else place
        np.testing.assert_allclose(made.place(0, point), wanted, rtol=0.0, atol=1e-9)
    made.undo()
    assert not made.changed


def test_marks_stand_where_the_points_are():
    made = session()
    made.marked, made.ruler = ("left/upper_outer",), ("left/upper_outer", "B/left/upper_outer")
    scene = made.scene()
    ends = np.array([made.view.now.at(0, "upper_outer"), made.ghost().now.at(0, "upper_outer")])
    line, label = scene["measure/line"], scene["measure/label"]
    assert isinstance(line, Line)
    assert isinstance(label, Label)
    np.testing.assert_allclose(line.places, ends, rtol=0.0, atol=1e-9)
    assert label.text == distance_words(ends)
    assert scene["picked/left/upper_outer"].text.startswith("upper_outer  (")
    made.ruler = ("left/upper_outer", "B/left/no_such")
    assert "measure/line" not in {p.name for p in made.scene().items}


def test_distance_in_words():
    assert distance_words(np.array([[1.0, 2.0, 3.0], [4.0, -2.0, 15.0]])) == "13.00 mm  (x +3.00, y −4.00, z +12.00)"


def test_curves_of_all_cars_as_one_table(tmp_path):
    made = session()
    raised(made, "upper_outer", 2.0)
    names = ["camber_deg", "motion_ratio"]
    table = curves_table(made, names)
    assert [c.name for c in table.columns] == ["car", "travel_mm", "rack_mm", "roll_deg", "side", *names]
    at = made.editor.model.ranges["travel_mm"]
    data = kin3d.sweep(car("plover", None), "front", travel=at, measures=names).dataset()
    rows = [r for r in table.rows if r[0] == car("plover", None).title and r[4] == "right"]
    np.testing.assert_allclose([r[1] for r in rows], at, rtol=0.0, atol=0.0)
    for k, name in enumerate(names, 5):
        wanted = data[name].sel(side="right").values.ravel()
        np.testing.assert_allclose([r[k] for r in rows], wanted, rtol=1e-9, atol=1e-9)
    assert len({r[0] for r in table.rows}) == 3
    file = tmp_path / "curves.svg"
    assert save_curves(made, names, file) == f"curves saved: {file}"
    text = file.read_text("utf-8")
    assert "Camber, deg" in text
    assert "as in the file" in text


def test_a_drag_works_out_what_is_seen_and_the_rest_when_it_ends():
    made = session()
    whole = set(made.view.now.values)
    made.editor.model.followed = {*SEEN, "camber_deg"}
    made.editor.begin_drag()
    made.editor.drag(0, "upper_outer", np.array([0.0, -2.0, 1.0]))
    assert set(made.view.now.values) == {*SEEN, "camber_deg"} & whole
    dragged = made.view.now.values["camber_deg"].copy()
    names = {p.name for p in made.scene().items}
    assert {"left/steering axis", "right/front centre", "left/side centre/line", "roll centre"} <= names
    made.editor.end_drag()
    assert set(made.view.now.values) == whole
    np.testing.assert_allclose(made.view.now.values["camber_deg"], dragged, rtol=0.0, atol=1e-12)


def test_a_car_without_tyres_stands_beside_in_travel_and_not_in_roll():
    bare = car("plover", None).with_figures({"front.loaded_radius_mm": None})
    made = Session.of(car("dunlin", None), "front", Drives(), bare)
    assert made.ghost() is not None
    made.editor.drive(roll_deg=1.0)
    assert made.ghost() is None
    assert not [p for p in made.scene().items if p.name.startswith("B/")]
    made.run_over("roll_deg")
    assert not made.swap().reason
    assert made.over == "travel_mm"
    assert made.editor.drives == Drives()
    assert made.ghost() is not None


def test_forces_of_a_case_are_drawn_as_width_sign_and_figure():
    """Section as the force, tension and compression by colour and sign, on the side that the case loads."""
    read = car("dunlin", None)
    made = Session.of(read, "front", Drives(10.0))
    made.load.name = "kerb"
    found = {p.name: p for p in made.scene({"forces"}).items}
    part = kin3d.forces(read, [10.0], cases=["kerb"]).parts[0]
    expected = {f.name: float(f.axial[0]) for f in part.forces() if f.axial is not None}
    assert expected["rod"] < -1000.0 < 100.0 < expected["tie link"]
    for name, force in expected.items():
        if abs(force) > 1.0:
            role, other = ("tension", "compression") if force > 0.0 else ("compression", "tension")
            np.testing.assert_allclose(found[f"left/{name}/{role}"].radius_mm, 5.0 * np.sqrt(abs(force) / 1000.0))
            assert found[f"left/{name}/{other}"].radius_mm < 0.1
            assert found[f"left/{name}/force"].text == f"{name} {force:+,.0f} N".replace("-", "−")
    assert "right/rod/compression" not in found
    assert made.caption().endswith("forces: kerb, left tyre")
    assert next(title for _, title in made.legend()) == "tension (+)"
    made.scene(set())
    assert made.legend() == ()
    assert "forces" not in made.caption()


def test_forces_follow_a_point_that_is_moved_and_a_settled_car_has_both_sides():
    made = Session.of(car("dunlin", None), "front", Drives())
    made.load.name = "kerb"

    def radius(name: str) -> float:
        return {p.name: p for p in made.scene({"forces"}).items}[name].radius_mm

    before = radius("left/rod/compression")
    raised(made, "rod_outer", -40.0)
    assert abs(radius("left/rod/compression") / before - 1.0) > 0.01
    made.load.name = "cornering"
    part = {p.side: p for p in kin3d.forces(car("dunlin", None), axle="front", cases=["cornering"]).parts}
    for side, p in part.items():
        force = p.joints.axial["rod"][0]
        np.testing.assert_allclose(radius(f"{side}/rod/compression"), 5.0 * np.sqrt(-force / 1000.0))
    assert "settled car at left" in made.caption()


def test_cases_come_one_after_the_other_and_what_is_missing_is_told():
    made = Session.of(car("dunlin", None), "front", Drives())
    assert [made.load.next(made.editor.model) for _ in range(4)] == ["cornering", "kerb", "braking", "cornering"]
    rear = Session.of(car("dunlin", None).with_figures({"cases": []}), "rear", Drives())
    rear.scene({"forces"})
    assert rear.lacking == "forces: the car file has no load case ([[cases]]) for the rear axle"


def test_a_report_with_an_unknown_case_is_refused():
    with pytest.raises(RequestError, match='there is no such load case; did you mean "kerb"'):
        kin3d.report(car("dunlin", None), case="krb")


def test_a_very_long_title_leaves_room_for_where_the_sliders_stand():
    assert short_title("Dunlin, last season") == "Dunlin, last season"
    short = short_title("a title " * 40)
    assert len(short) <= MOST_LETTERS
    assert short.endswith("...")
