"""A car becomes another one: each stop against a car with those points, order and ends against compare."""

from __future__ import annotations

import numpy as np
import pytest
from PIL import Image

import kin3d
from kin3d.errors import RequestError
from kin3d_viewer import films
from kin3d_viewer.becoming import REST, Becoming
from kin3d_viewer.command import Request, run
from kin3d_viewer.counting import Counting
from kin3d_viewer.model import Drives
from tests.viewer.cars import car

HEIGHT = "roll_centre_height_mm"
SAME_SIDE = {True: np.ones(3), False: np.array([1.0, -1.0, 1.0])}
LOWER = ("lower_front", "lower_rear")


@pytest.fixture(scope="module")
def cars():
    return car("dunlin", None), car("plover", None)


def design_value(read, axle, name):
    data = kin3d.sweep(read, axle, travel=[0.0], measures=[name]).dataset()
    return float(data[name].sel(side="left").values.ravel()[0])


@pytest.mark.parametrize(("axle", "name"), [("front", HEIGHT), ("rear", HEIGHT), ("front", "anti_dive_pct")])
def test_it_begins_as_the_one_car_and_ends_as_the_other(cars, axle, name):
    made = Becoming.of(*cars, axle, name)
    values = [design_value(read, axle, name) for read in cars]
    np.testing.assert_allclose(made.value, values[0], rtol=0.0, atol=1e-9)
    np.testing.assert_allclose(made.ends, values, rtol=0.0, atol=1e-9)
    np.testing.assert_allclose(made.go(len(made.steps) - 1, 1.0), values[1], rtol=0.0, atol=1e-9)
    np.testing.assert_allclose(sum(s.part for s in made.steps), values[1] - values[0], rtol=0.0, atol=1e-6)


def test_a_step_moves_its_own_points_and_stops_where_a_car_with_them_stands(cars):
    dunlin, plover = cars
    made = Becoming.of(dunlin, plover, "front", HEIGHT)
    assert [s.group for s in made.steps][:2] == ["inboard lower", "inboard upper"]
    assert made.steps[-1].group == REST
    assert [abs(s.part) for s in made.steps[:-1]] == sorted((abs(s.part) for s in made.steps[:-1]), reverse=True)
    for share in (0.3, 1.0):
        there = {p: plover.front.points[p] * SAME_SIDE[plover.front.side == dunlin.front.side] for p in LOWER}
        between = {p: (1.0 - share) * dunlin.front.points[p] + share * there[p] for p in LOWER}
        moved = dunlin.with_points(between)
        np.testing.assert_allclose(made.go(0, share), design_value(moved, "front", HEIGHT), rtol=0.0, atol=1e-9)


def test_order_is_that_of_the_parts_in_compare(cars):
    found = kin3d.compare(list(cars), "front", samples=0, measures=[HEIGHT])
    attribution = found.pairs[0].attribution
    k = [m.name for m in attribution.measures].index(HEIGHT)
    parts = {g: float(v[k]) for g, v in attribution.grouped(attribution.of("design")[0]).items()}
    for step in Becoming.of(*cars, "front", HEIGHT).steps[:-1]:
        np.testing.assert_allclose(step.part, parts[step.group], rtol=0.0, atol=1e-9)


def test_figure_on_screen_counts_to_the_other_car(cars):
    made = Becoming.of(*cars, "front", HEIGHT)
    panel = Counting(made, (400, 500))
    panel.image()
    assert panel._figure.get_text() == f"{design_value(cars[0], 'front', HEIGHT):.2f} mm"
    made.go(len(made.steps) - 1, 1.0)
    panel.image()
    assert panel._figure.get_text() == f"{design_value(cars[1], 'front', HEIGHT):.2f} mm"
    said = [t.get_text() for a in panel.figure.axes for t in a.texts]
    assert any(t.startswith("inboard lower  +") for t in said)
    box = panel.figure.get_window_extent()
    for text in panel.figure.findobj(lambda a: hasattr(a, "get_text") and a.get_text()):
        assert text.get_window_extent().x1 <= box.x1, text.get_text()


def test_film_of_it(graphics, cars, tmp_path, monkeypatch):
    monkeypatch.setattr(films, "STEP_FRAMES", 1)
    file = tmp_path / "why.gif"
    steps = len(Becoming.of(*cars, "front", HEIGHT).steps)
    said = run(*cars, Request(animation=file, becoming=HEIGHT, size=(480, 300)))
    assert said == [f"{steps + 1} frames written to {file}"]
    with Image.open(file) as film:
        assert film.size == (480, 300)
        assert film.n_frames == steps + 1
        assert film.info["duration"] == 50 * films.FIRST


def test_what_cannot_be_is_told_at_once(cars, tmp_path):
    request = Request(becoming=HEIGHT, drives=Drives(10.0))
    with pytest.raises(RequestError) as told:
        run(cars[0], None, request)
    for words in ("give another car", "--becoming makes a film: give --animation", "shows the design position"):
        assert words in str(told.value)
    film = tmp_path / "a.gif"
    with pytest.raises(RequestError, match="roll_center: it is no measure of a corner that both cars have figures for"):
        run(*cars, Request(animation=film, becoming="roll_center"))
    with pytest.raises(RequestError, match="the linkages are of different kinds"):
        run(cars[0], car("siskin", None), Request(animation=film, becoming=HEIGHT))
    with pytest.raises(RequestError, match="the two cars do not differ here"):
        run(cars[0], cars[0], Request(animation=film, becoming=HEIGHT))
    assert not film.exists()
