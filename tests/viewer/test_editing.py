"""Moving points: the live model against a fresh one, limits with their reasons, undo, and the saved file."""

from __future__ import annotations

import gc
import sys
import time

import numpy as np
import pytest

import kin3d
from kin3d.errors import RequestError
from kin3d_viewer.editing import Editor
from kin3d_viewer.model import Drives, LiveModel
from kin3d_viewer.saving import save_car
from tests.viewer.cars import CASES, MODELS, car

MIRROR = np.array([1.0, -1.0, 1.0])


def editor(name="dunlin", axle="front", folder=None, **drives) -> Editor:
    return Editor(LiveModel(car(name, folder), axle), Drives(**drives))


def moved(made: Editor, side: int, point: str, *shift: float) -> np.ndarray:
    return made.place(side, point) + np.array(shift)


@pytest.mark.parametrize(("name", "axle"), CASES)
def test_saved_car_sweeps_to_what_was_shown(name, axle, tmp_path):
    made = editor(name, axle, tmp_path)
    point = made.model.points()[-1]
    assert not made.set_point(0, point, moved(made, 0, point, 2.0, -3.0, 1.25)).reason
    new = tmp_path / "saved" / "new.toml"
    new.parent.mkdir()
    written = save_car(made.model, new)
    assert {"new.toml", f"new_{axle}.csv"} <= {p.name for p in written}
    data = kin3d.sweep(kin3d.load(new), axle, travel=made.model.ranges["travel_mm"]).dataset()
    for measure, shown in made.view.curves.values.items():
        fresh = data[measure].transpose("rack_mm", "side", "travel_mm").values[0]
        np.testing.assert_allclose(shown, fresh, rtol=1e-9, atol=1e-7, err_msg=measure)


def test_saved_file_keeps_comments_units_and_the_other_axle(tmp_path):
    made = editor("plover")
    made.set_point(0, "upper_outer", moved(made, 0, "upper_outer", 0.0, 1.0, 0.0))
    new = tmp_path / "new.toml"
    save_car(made.model, new)
    before, after = (MODELS / "plover/car.toml").read_text("utf-8"), new.read_text("utf-8")
    said = [sorted(x for x in t.splitlines() if x.startswith("#")) for t in (before, after.partition("\n")[2])]
    assert said[0] == said[1]
    old, saved = kin3d.load(MODELS / "plover/car.toml"), kin3d.load(new)
    np.testing.assert_allclose(saved.rear.points.xyz_mm, old.rear.points.xyz_mm, rtol=0.0, atol=0.0)
    differ = np.abs(saved.front.points.xyz_mm - old.front.points.xyz_mm).max(axis=1) > 1e-9
    assert [n for n, m in zip(saved.front.points.names, differ, strict=True) if m] == ["upper_outer"]
    assert saved.title == f"{old.title}, changed"
    np.testing.assert_allclose(saved.front.points.sigma_mm, old.front.points.sigma_mm, rtol=0.0, atol=1e-12)


def test_the_file_that_was_read_is_not_overwritten():
    made = editor()
    with pytest.raises(RequestError, match="is the file that was read; give another name"):
        save_car(made.model, MODELS / "dunlin" / "car.toml")


def test_folder_that_is_not_there(tmp_path):
    with pytest.raises(RequestError, match="none is not there; make it first"):
        save_car(editor().model, tmp_path / "none" / "new.toml")


def test_both_sides_move_as_mirror_images():
    made = editor()
    made.set_point(1, "tie_inner", moved(made, 1, "tie_inner", 1.0, 2.0, 3.0))
    np.testing.assert_allclose(made.place(0, "tie_inner"), made.place(1, "tie_inner") * MIRROR, rtol=0.0, atol=0.0)


def test_wheel_centre_takes_its_axis_along():
    made = editor()
    camber = made.view.now.values["camber_deg"].copy()
    made.set_point(0, "wheel_centre", moved(made, 0, "wheel_centre", 0.0, 5.0, 8.0))
    np.testing.assert_allclose(made.view.now.values["camber_deg"], camber, rtol=0.0, atol=1e-9)


def test_drag_is_one_move_and_equals_the_typed_point():
    dragged, typed = editor(travel_mm=15.0, rack_mm=4.0), editor(travel_mm=15.0, rack_mm=4.0)
    shift = np.array([3.0, -6.0, 9.0])
    dragged.begin_drag()
    for share in np.linspace(0.1, 1.0, 10):
        assert not dragged.drag(0, "upper_front", share * shift).reason
    dragged.end_drag()
    typed.set_point(0, "upper_front", typed.place(0, "upper_front") + shift)
    np.testing.assert_allclose(dragged.design, typed.design, rtol=0.0, atol=1e-12)
    np.testing.assert_allclose(dragged.view.now.points, typed.view.now.points, rtol=0.0, atol=1e-8)
    dragged.undo()
    assert not dragged.changed
    assert not dragged.can_undo


def test_quick_curves_of_a_drag_are_those_of_the_full_sweep():
    made = editor()
    made.begin_drag()
    made.drag(0, "lower_rear", np.array([0.0, 0.0, 7.0]))
    quick = {n: v.copy() for n, v in made.view.curves.values.items()}
    made.end_drag()
    for name, full in made.view.curves.values.items():
        known = np.isfinite(quick[name])
        assert known.any()
        np.testing.assert_allclose(quick[name][known], full[known], rtol=1e-9, atol=1e-9, err_msg=name)


def test_drag_of_a_moving_point_follows_its_body():
    """In bump the arm has turned; a shift across the arm there is a shift across the arm in the design."""
    made = editor(travel_mm=35.0)
    before = made.view.now.at(0, "rod_outer").copy()
    made.begin_drag()
    made.drag(0, "rod_outer", np.array([0.0, 4.0, 0.0]))
    went = made.view.now.at(0, "rod_outer") - before
    np.testing.assert_allclose(went, [0.0, 4.0, 0.0], rtol=0.0, atol=1e-6)


@pytest.mark.parametrize("way", [(-1.0, 0.0, 0.0), (0.0, 0.0, 1.0)], ids=["rearward", "up"])
def test_drag_stops_at_the_limit_and_says_why(way):
    made = editor(travel_mm=20.0, rack_mm=5.0)
    made.begin_drag()
    reason = ""
    for k in range(0, 400, 8):
        reason = made.drag(0, "tie_outer" if way[0] else "lower_outer", np.array(way) * k).reason
        if reason:
            break
    assert "in line" in reason
    assert '"upright"' in reason
    assert np.isfinite(made.view.now.points).all()
    # a little farther is not possible, and the present state is untouched by the attempt
    stopped = made.design.copy()
    again = made.drag(0, "tie_outer" if way[0] else "lower_outer", np.array(way) * (k + 5.0))
    assert again.reason
    np.testing.assert_allclose(made.design, stopped, rtol=0.0, atol=0.05)
    assert np.isfinite(made.end_drag().view.now.points).all()


def test_typed_point_may_lie_beyond_a_singular_place_but_not_in_one():
    made = editor()
    tie = made.place(0, "tie_outer") * [-1.0, 1.0, 1.0]
    assert not made.set_point(0, "tie_outer", tie).reason
    other = editor()
    step = other.set_point(0, "upper_outer", other.place(0, "lower_outer"))
    assert step.reason == "lower_outer and upper_outer of the upright would be less than 1 mm apart"
    assert not other.changed


def test_slider_out_of_reach_stays_and_says_why():
    made = editor()
    step = made.drive(travel_mm=150.0)
    assert "is the limit" in step.reason
    assert made.drives == Drives()


def test_reset_can_be_taken_back():
    made = editor()
    made.set_point(0, "upper_outer", moved(made, 0, "upper_outer", 0.0, 1.0, 0.0))
    changed = made.design.copy()
    made.reset()
    assert not made.changed
    made.undo()
    np.testing.assert_allclose(made.design, changed, rtol=0.0, atol=0.0)
    made.undo()
    made.redo()
    np.testing.assert_allclose(made.design, changed, rtol=0.0, atol=0.0)
    assert made.redo().reason == ""
    assert made.redo().reason == "nothing to do again"


def test_what_was_taken_back_is_gone_after_another_move():
    made = editor()
    made.set_point(0, "upper_outer", moved(made, 0, "upper_outer", 0.0, 1.0, 0.0))
    made.undo()
    made.set_point(0, "lower_outer", moved(made, 0, "lower_outer", 0.0, 0.0, 2.0))
    changed = made.design.copy()
    assert made.redo().reason == "nothing to do again"
    np.testing.assert_allclose(made.design, changed, rtol=0.0, atol=0.0)


def test_drag_steps_gather_no_memory():
    made = editor()
    made.model.ranges["travel_mm"] = (-20.0, 0.0, 20.0)
    made.begin_drag()

    def steps(count):
        for k in range(count):
            made.drag(0, "upper_outer", 8.0 * np.array([0.0, np.cos(k), np.sin(k)]))

    steps(300)  # what is kept for the next step (expansions, spaces to work in) is there then
    gc.collect()
    before = sys.getallocatedblocks()
    steps(300)
    gc.collect()
    assert sys.getallocatedblocks() - before < 300  # less than one block of memory a step


def test_step_of_a_drag_is_fast_enough():
    """81 positions of both sides with all measures: under 50 ms of the processor's time, whatever else it does."""
    made = editor(travel_mm=10.0)
    assert len(made.model.ranges["travel_mm"]) == 81
    made.begin_drag()
    times = []
    for k in range(15):
        start = time.thread_time()
        made.drag(0, "upper_outer", np.array([0.0, -0.2 * k, 0.2 * k]))
        times.append(time.thread_time() - start)
    assert np.median(times) < 0.050


def test_a_drag_that_starts_from_the_step_before_comes_out_the_same_to_the_last_bit():
    """Twenty steps, the last of them against the same design solved from its own design position."""
    made = editor(travel_mm=10.0)
    made.model.ranges["travel_mm"] = tuple(float(v) for v in range(-20, 21, 4))
    made.end_drag()  # solves the new range
    made.begin_drag()
    for k in range(20):
        assert not made.drag(0, "upper_outer", np.array([0.0, -0.3 * k, 0.4 * k])).reason
    fresh = LiveModel(made.model.car)
    fresh.ranges = made.model.ranges
    wanted = fresh.solve(made.design, made.drives)
    np.testing.assert_array_equal(made.view.curves.points, wanted.curves.points)
    for name, shown in made.view.curves.values.items():
        np.testing.assert_array_equal(shown, wanted.curves.values[name], err_msg=name)
