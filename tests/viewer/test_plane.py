"""What happens in the picture plane: labels that do not cover each other, picking, drags, nudges, cameras."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from kin3d_viewer.labels import arrange
from kin3d_viewer.level import Level
from kin3d_viewer.pointer import Eye, Picked, drag_shift, nudge_direction, pick
from kin3d_viewer.primitives import Ball, Scene
from kin3d_viewer.views import VIEWS, framing

CANVAS = (800.0, 600.0)
X, Y, Z = np.eye(3)
FRONT = Eye(Y, Z, X, True, 2.0)
SIDE = Eye(-X, Z, Y, True, 2.0)
PLAN = Eye(-Y, X, Z, True, 2.0)
OBLIQUE = Eye(*np.linalg.qr(np.array([[1.0, 2.0, 3.0], [0.3, -1.0, 0.5], [1.0, 0.0, 0.2]]))[0], True, 2.0)


@settings(max_examples=60, deadline=None)
@given(hnp.arrays(float, st.tuples(st.integers(1, 24), st.just(2)), elements=st.floats(0.0, 600.0)))
def test_labels_cover_neither_each_other_nor_the_edge(anchors):
    sizes = np.tile([90.0, 18.0], (len(anchors), 1))
    corners = arrange(anchors, sizes, CANVAS)
    placed = np.isfinite(corners).all(axis=1)
    low, high = corners[placed], corners[placed] + sizes[placed]
    assert (low >= 0.0).all()
    assert (high <= CANVAS).all()
    for k in range(len(low)):
        for j in range(k):
            assert (low[k] >= high[j]).any() or (low[j] >= high[k]).any()


def test_labels_find_room_where_there_is_room():
    anchors = np.array([[400.0, 300.0]] * 12)
    corners = arrange(anchors, np.tile([90.0, 18.0], (12, 1)), CANVAS)
    assert np.isfinite(corners).all()


def test_label_keeps_its_place():
    anchors, sizes = np.array([[400.0, 300.0]]), np.array([[90.0, 18.0]])
    first = arrange(anchors, sizes, CANVAS)
    moved = anchors + 3.0
    again = arrange(moved, sizes, CANVAS, {0: first[0] - anchors[0]})
    np.testing.assert_allclose(again, first + 3.0, rtol=0.0, atol=1e-12)


def test_label_of_what_is_out_of_the_picture_is_left_out():
    corners = arrange(np.array([[-20.0, 300.0], [np.nan, np.nan]]), np.full((2, 2), 20.0), CANVAS)
    assert np.isnan(corners).all()


@pytest.mark.parametrize(
    ("eye", "wanted"), [(FRONT, [0.0, 5.0, -2.0]), (SIDE, [-5.0, 0.0, -2.0]), (PLAN, [-2.0, -5.0, 0.0])]
)
def test_drag_in_an_aligned_view_changes_two_coordinates(eye, wanted):
    np.testing.assert_allclose(drag_shift(eye, np.array([10.0, -4.0]), "", None), wanted, rtol=0.0, atol=1e-12)


def test_oblique_drag_is_refused_unless_an_axis_is_locked():
    said = drag_shift(OBLIQUE, np.array([10.0, 0.0]), "", None)
    assert said.startswith("a drag would change all three coordinates here")
    shift = drag_shift(OBLIQUE, np.array([6.0, 8.0]), "z", np.array([0.6, 0.8]))
    np.testing.assert_allclose(shift, [0.0, 0.0, 10.0], rtol=0.0, atol=1e-12)
    assert "points at the eye" in drag_shift(FRONT, np.array([6.0, 8.0]), "x", np.array([0.0, 0.001]))


@pytest.mark.parametrize("eye", [FRONT, SIDE, PLAN, OBLIQUE])
def test_six_nudges_are_the_six_ways_along_the_axes(eye):
    ways = {k: nudge_direction(eye, k) for k in ("left", "right", "up", "down", "nearer", "farther")}
    for a, b in (("left", "right"), ("up", "down"), ("nearer", "farther")):
        np.testing.assert_allclose(ways[a], -ways[b], rtol=0.0, atol=0.0)
    assert abs(np.linalg.det(np.array([ways["right"], ways["up"], ways["nearer"]]))) == 1.0
    assert ways["right"] @ eye.right > 0.0


def test_pick_takes_the_nearest_movable_point():
    balls = tuple(
        Ball(name, "joint", np.array([0.0, y, 0.0]), 10.0, "ball", name.split("/")[-1])
        for name, y in (("left/a", 0.0), ("right/b", 12.0), ("ghost/left/a", 5.0), ("left/fixed", 6.0))
    )
    found = pick(Scene(balls), lambda p: p[:, 1:], np.array([7.0, 0.0]), ("a", "b"))
    assert found == Picked(1, "b")
    assert pick(Scene(balls), lambda p: p[:, 1:], np.array([90.0, 0.0]), ("a", "b")) is None


@pytest.mark.parametrize("view", VIEWS)
@pytest.mark.parametrize("aspect", [0.6, 1.0, 2.4])
def test_every_place_is_in_the_picture(view, aspect):
    places = np.random.default_rng(7).uniform(-1.0, 1.0, (200, 3)) * [400.0, 900.0, 300.0] + [50.0, 0.0, 300.0]
    frame = framing(view, places, aspect)
    back = frame.place - frame.target
    back = back / np.linalg.norm(back)
    right = np.cross(frame.up, back)
    right /= np.linalg.norm(right)
    local = (places - frame.place) @ np.column_stack([right, np.cross(back, right), back])
    half = frame.half_height_mm if frame.parallel else -local[:, 2] * np.tan(np.radians(11.0))
    assert (np.abs(local[:, 1]) < half).all()
    assert (np.abs(local[:, 0]) < half * aspect).all()
    assert (local[:, 2] < 0.0).all()


def test_ground_lies_level_in_roll():
    """A place on the ground, 700 mm along it and 40 mm above, is seen there whatever the roll."""
    for degrees in (-3.0, 0.0, 2.0):
        sin, cos = np.sin(np.radians(degrees)), np.cos(np.radians(degrees))
        level = Level(np.array([0.0, sin, cos]), np.array([5.0, 6.0, 7.0]))
        place = level.foot + 700.0 * np.array([0.0, cos, -sin]) + 40.0 * level.normal
        np.testing.assert_allclose(level.seen(place), [5.0, 706.0, 47.0], rtol=0.0, atol=1e-9)
        np.testing.assert_allclose(level.back(level.seen(place)), place, rtol=0.0, atol=1e-9)


def test_drag_in_a_leaning_view_keeps_the_point_under_the_mouse():
    """Side view of a body in 4° of roll: x and z change, y does not, and the mouse keeps its point."""
    sin, cos = np.sin(np.radians(4.0)), np.cos(np.radians(4.0))
    eye = Eye(-X, np.array([0.0, sin, cos]), np.array([0.0, cos, -sin]), True, 2.0)
    shift = drag_shift(eye, np.array([10.0, -4.0]), "", None)
    np.testing.assert_allclose(shift, [-5.0, 0.0, -2.0 / cos], rtol=0.0, atol=1e-12)
