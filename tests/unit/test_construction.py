"""Construction drawings: the geometry that they show, that they are to scale, and how each thing is rendered."""

from __future__ import annotations

from pathlib import Path

import matplotlib.pyplot as plt
import numpy as np
import pytest

import kin3d
from kin3d.studies.construction import construct, construct_at, construct_car
from kin3d.studies.side_view import ahead_mm
from kin3d.writing.drawing import Drawing, Frame, Layer, Plane
from kin3d.writing.drawing_picture import render, sheet

CAR = Path(__file__).parents[2] / "models" / "dunlin" / "car.toml"


@pytest.mark.parametrize("roll", [-2.0, 0.0, 1.5])
def test_contact_point_instant_centre_and_roll_centre_are_in_line(roll: float) -> None:
    shown = construct(kin3d.load(CAR), "front", 5.0, roll)
    for wheel in shown.wheels:
        foot, centre = (shown.ground.over(p)[1:] for p in (wheel.lines.contact, wheel.lines.front.place))
        to_centre = (centre - foot) / np.linalg.norm(centre - foot)
        to_roll = (shown.ground.roll_centre - foot) / np.linalg.norm(shown.ground.roll_centre - foot)
        assert abs(np.cross(np.append(to_centre, 0), np.append(to_roll, 0))[2]) < 1e-9
        assert abs(to_centre @ (shown.ground.axes @ wheel.lines.velocity)[1:]) < 1e-9
        assert foot[1] == pytest.approx(0.0, abs=1e-9, rel=0)
        assert wheel.lines.front.direction @ wheel.lines.velocity == pytest.approx(0.0, abs=1e-12, rel=0)
    assert shown.ground.axes[2, 1] == pytest.approx(np.sin(np.radians(roll)), abs=1e-12, rel=0)


def test_on_level_ground_and_at_equal_travels_the_constructions_are_the_same() -> None:
    """A symmetric car in heave stands as its wheels do at that travel."""
    car = kin3d.load(CAR)
    stood, at = construct(car, "rear", 20.0), construct_at(car, "rear", [20.0])[1]
    for a, b in zip(stood.wheels, at.wheels, strict=True):
        for name in a.points:
            np.testing.assert_allclose(a.points[name], b.points[name], rtol=0, atol=1e-9)
        np.testing.assert_allclose(a.lines.side.place, b.lines.side.place, rtol=1e-9, atol=0)
    np.testing.assert_allclose(stood.ground.roll_centre_place, at.ground.roll_centre_place, rtol=0, atol=1e-8)


def test_both_axles_stand_on_one_ground() -> None:
    front, rear = construct_car(kin3d.load(CAR), pitch_deg=0.5)
    assert ahead_mm(front) - ahead_mm(rear) == pytest.approx(2380.0, abs=1.0, rel=0)
    level = construct(kin3d.load(CAR), "front")
    assert front.ground.over(front.chassis)[:, 2].mean() < level.ground.over(level.chassis)[:, 2].mean()


def test_a_position_out_of_reach_is_refused_with_its_reason() -> None:
    with pytest.raises(kin3d.Kin3dError, match="is the limit"):
        construct(kin3d.load(CAR), "front", 300.0)


def test_a_construction_tells_its_figures_and_saves_its_points(tmp_path: Path) -> None:
    found = kin3d.draw(kin3d.load(CAR), "front", "rear", roll=1.0)
    assert "rear axle: roll-centre construction; roll +1.00°" in found.summary()
    figures = [row[0] for row in found.tables()[0].rows]
    height = found.axles[0].ground.roll_centre[1]
    assert any(f"height {height:+.1f} mm" in f.replace("−", "-") for f in figures)
    assert found.save(tmp_path / "points.csv") == 8
    first = (tmp_path / "points.csv").read_text("utf-8").splitlines()[1].split(",")
    assert first[:3] == ["rear", "left", "contact point"]
    contact = [float(c) for c in first[3:6]]
    np.testing.assert_allclose(contact, found.axles[0].wheels[0].lines.contact, rtol=1e-11, atol=1e-9)


@pytest.mark.parametrize("corners", [(-900.0, 900.0, -80.0, 640.0), (-300.0, 2900.0, -60.0, 700.0)])
def test_sheet_is_to_scale(corners: tuple[float, float, float, float]) -> None:
    """A hundred millimetres of the car are a hundred over the scale on paper, across and up."""
    figure, axes = sheet(Frame(np.array(corners[::2]), np.array(corners[1::2])), 8.0, "title", "subtitle")
    dots = axes.transData.transform([(0.0, 0.0), (100.0, 0.0), (0.0, 100.0)])
    paper_mm = (dots[1:] - dots[0]) / figure.dpi * 25.4
    plt.close(figure)
    np.testing.assert_allclose(paper_mm, np.eye(2) * 100.0 / 8.0, rtol=0, atol=1e-9)


def test_lines_end_at_their_point_or_at_the_edge() -> None:
    frame = Frame(np.array([-100.0, 0.0]), np.array([100.0, 50.0]))
    near, far = np.array([20.0, 10.0]), np.array([500.0, 50.0])
    np.testing.assert_allclose(frame.cut(np.zeros(2), near), near)
    np.testing.assert_allclose(frame.cut(np.zeros(2), far), [100.0, 10.0], rtol=0, atol=1e-9)
    end = frame.cut(np.array([0.0, 20.0]), np.array([-np.inf, np.nan]))
    np.testing.assert_allclose(end, [-100.0, 20.0], rtol=0, atol=1e-6)
    assert not frame.holds(far)


def test_a_plane_turns_what_it_shows_and_a_moved_drawing_keeps_its_shape() -> None:
    turn = np.radians(30.0)
    axes = np.array([[1.0, 0.0, 0.0], [0.0, np.cos(turn), np.sin(turn)], [0.0, -np.sin(turn), np.cos(turn)]])
    plane = Plane(np.array([5.0, 1.0, 2.0]), axes, 1, -1.0)
    place = plane.origin + 7.0 * axes[1] + 3.0 * axes[2] + 11.0 * axes[0]
    np.testing.assert_allclose(plane.flat(place), [-7.0, 3.0], rtol=0, atol=1e-12)
    drawing = Drawing(1.0, {"a": Layer()})
    drawing.dimension("a", (0.0, 0.0), (3.0, 4.0), (1.0, -2.0))
    drawing.words("a", (1.0, 1.0), "two\nlines", (2.0, 0.0))
    moved = drawing.moved((10.0, 20.0))
    assert moved.items[0].measured == 3.0
    np.testing.assert_allclose(moved.items[0].feet, [[10.0, 18.0], [13.0, 18.0]], rtol=0, atol=1e-12)
    np.testing.assert_allclose(moved.items[1].at, [13.0, 21.0], rtol=0, atol=1e-12)


def test_everything_that_can_be_drawn_is_rendered() -> None:
    drawing = Drawing(1.0, {"a": Layer("car a", "dashed", 1.0)})
    drawing.line("a", (0.0, 0.0), (10.0, 0.0), arrows="both")
    drawing.path("a", np.array([(0.0, 0.0), (10.0, 0.0), (5.0, 5.0)]), closed=True, fill="pale", colour="ink")
    for shape in ("dot", "joint", "square", "diamond", "target", "quartered"):
        drawing.mark("a", (5.0, 5.0), shape)
    drawing.dimension("a", (0.0, 0.0), (10.0, 0.0), (0.0, -5.0), text="length <>")
    drawing.words("a", (0.0, 8.0), "a word")
    figure, axes = plt.subplots()
    render(axes, drawing)
    said = [t.get_text() for t in axes.texts]
    plt.close(figure)
    assert "a word" in said
    assert "length 10.00" in said
    assert (
        len(axes.lines) == 13
    )  # ring, dot, joint, square, diamond, three of target and quartered, two of the dimension


def test_a_ground_that_is_not_level_in_the_file_is_told_with_the_support_lines() -> None:
    """3 mm of radius over the wheelbase: atan(3/2380) = 0.07°, by which the drawing's figures differ from a sweep's."""
    car = kin3d.load(CAR)
    assert car.rear is not None
    radius = float(car.rear.loaded_radius_mm or 0.0)
    assert not any("off the file's level" in s for s in kin3d.draw(car, "side").said())
    lower = kin3d.draw(car.with_figures({"rear.loaded_radius_mm": radius - 3.0}), "side").said()
    assert "ground 0.07° off the file's level (wheel heights, radii); kin3d sweep over travel takes it level" in lower
    assert not any("off the file's level" in s for s in kin3d.draw(car, "side", pitch=1.0).said())
