"""Pictures drawn off screen: small reference images, and that a moved rod is seen in them."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from PIL import Image, ImageFilter

from kin3d_viewer.charts import Charts
from kin3d_viewer.films import animation
from kin3d_viewer.images import save_film
from kin3d_viewer.model import Drives
from kin3d_viewer.pictures import Camera, PictureOptions, screenshot
from kin3d_viewer.session import Session
from tests.viewer.cars import car

FOLDER = Path(__file__).parents[1] / "images"
SIZE = (400, 250)
CAPTION_PX = 34  # letters differ from one release of the drawing library to the next
BARE = ("linkage", "wheels", "joints", "ground", "steering axis")
CENTRES = ("linkage", "joints", "ground", "front centres")
CASES = {
    "dunlin_design": ("dunlin", "front", Drives(), PictureOptions("perspective", "left", BARE, (), SIZE)),
    "plover_bump_steer": ("plover", "front", Drives(30.0, 12.0), PictureOptions("perspective", "left", BARE, (), SIZE)),
    "plover_roll_centres": (
        "plover",
        "front",
        Drives(0.0, 0.0, 2.0),
        PictureOptions("front", "axle", CENTRES, (), SIZE),
    ),
    "siskin_side": ("siskin", "front", Drives(20.0), PictureOptions("side", "axle", BARE, (), SIZE)),
}
LARGEST_SHARE = 0.0015  # of the picture may differ by more than the next line
LEVELS = 28.0  # of 255, after a blur that forgives edges drawn a little differently


def taken(name, moved=None):
    which, axle, drives, options = CASES[name]
    session = Session.of(car(which, None), axle, drives)
    if moved:
        point, shift = moved
        session.editor.set_point(0, point, session.editor.place(0, point) + np.array(shift))
    with Camera(session, options) as camera:
        return camera.shoot()


def differing(image, name):
    """Share of the picture that differs from the reference."""
    with Image.open(FOLDER / f"{name}.png") as reference:
        pair = [Image.fromarray(image), reference.convert("RGB")]
    soft = [np.asarray(p.filter(ImageFilter.GaussianBlur(1.5)), dtype=float)[CAPTION_PX:-CAPTION_PX] for p in pair]
    return float((np.abs(soft[0] - soft[1]).max(axis=2) > LEVELS).mean())


@pytest.mark.parametrize("name", CASES)
def test_picture_is_as_it_was(graphics, name):
    assert differing(taken(name), name) < LARGEST_SHARE


@pytest.mark.parametrize(("name", "point"), [("dunlin_design", "rod_inner"), ("plover_bump_steer", "rod_inner")])
def test_moved_rod_breaks_the_comparison(graphics, name, point):
    assert differing(taken(name, (point, (0.0, -30.0, 15.0))), name) > LARGEST_SHARE


def test_picture_after_a_move_is_not_the_old_one(graphics):
    session = Session.of(car("dunlin", None), "front", Drives())
    with Camera(session, CASES["dunlin_design"][3]) as camera:
        first = camera.shoot()
        session.editor.drive(travel_mm=30.0)
        second = camera.shoot(aim=False)
        session.editor.drive(travel_mm=0.0)
        third = camera.shoot(aim=False)
    assert (np.abs(first.astype(int) - second) > 20).mean() > 0.01
    assert (np.abs(first.astype(int) - third) > 20).mean() < 0.001


def test_still_with_curves_and_ghost(graphics, tmp_path):
    session = Session.of(car("dunlin", None), "front", Drives(10.0, 5.0), car("plover", None))
    file = tmp_path / "both.png"
    screenshot(session, file, PictureOptions("front", curves=("camber_deg", "toe_deg"), size=(640, 400)))
    with Image.open(file) as image:
        assert image.size == (640, 400)
        right = np.asarray(image.convert("RGB"))[:, 420:]
    assert len(np.unique(right.reshape(-1, 3), axis=0)) > 50


def test_film_shows_the_sweep_there_and_back(graphics, tmp_path):
    session = Session.of(car("siskin", None), "front", Drives())
    file = tmp_path / "film.gif"
    options = PictureOptions(curves=("camber_deg",), size=(320, 200))
    assert animation(session, file, options, (-20.0, 0.0, 20.0)) == 4
    with Image.open(file) as film:
        assert film.n_frames == 4
        frames = []
        for k in range(4):
            film.seek(k)
            frames.append(np.asarray(film.convert("RGB"), dtype=int))
    assert (np.abs(frames[0] - frames[1]) > 20).mean() > 0.003
    assert (np.abs(frames[1] - frames[3]) > 20).mean() < 0.001  # on the way back the same again


def test_body_rolls_and_the_ground_stays_level(graphics):
    """Of a film in roll: the contact points stay at one height in the picture, the joints do not."""
    session = Session.of(car("plover", None), "front", Drives(0.0, 0.0, -2.5), over="roll_deg")
    options = PictureOptions("front", layers=BARE, size=SIZE)
    heights, joints = [], []
    with Camera(session, options) as camera:
        for k, roll in enumerate((-2.5, 0.0, 2.5)):
            session.editor.drive(roll_deg=roll)
            camera.shoot(aim=k == 0)
            for name, kept in (("contact", heights), ("upper_front", joints)):
                both = np.array([camera.stage.scene[f"{side}/{name}"].centre for side in ("left", "right")])
                kept.append(camera.stage.overlay.project(both)[:, 1])
    np.testing.assert_allclose(heights, np.full((3, 2), heights[0][0]), rtol=0.0, atol=0.2)
    tilt = np.diff(joints, axis=1)[:, 0]  # px; 0.2 px a mm, the joints 0.5 m apart
    assert tilt[0] > 3.0
    assert tilt[2] < -3.0


@pytest.mark.parametrize("view", ["front", "perspective"])
def test_camera_goes_along_with_the_ground_where_nobody_takes_a_view(graphics, view):
    """As in the window while the slider of the roll moves: the contact points stay where they were in the picture."""
    session = Session.of(car("plover", None), "front", Drives(0.0, 0.0, -2.0), over="roll_deg")
    seen, joints = [], []
    with Camera(session, PictureOptions(view, layers=BARE, size=SIZE)) as camera:
        camera.shoot()
        for roll in (-2.0, 1.0, 2.0):
            session.editor.drive(roll_deg=roll)
            camera.stage.show(session.scene())
            for name, kept in (("contact", seen), ("upper_front", joints)):
                both = np.array([camera.stage.scene[f"{side}/{name}"].centre for side in ("left", "right")])
                kept.append(camera.stage.overlay.project(both))
    # the tyres creep over the ground by a few mm as the body rolls, and the picture shows some 0.2 px a mm
    np.testing.assert_allclose(seen[1:], [seen[0]] * 2, rtol=0.0, atol=1.5)
    assert np.abs(joints[2] - joints[0])[:, 1].max() > 2.0


def test_caption_calls_roll_by_its_name():
    session = Session.of(car("plover", None), "front", Drives(), over="roll_deg")
    assert session.caption().endswith("front axle  ·  roll +0.00 deg")
    session.editor.drive(travel_mm=-4.0)
    assert session.caption().endswith("roll +0.00 deg  ·  heave −4.0 mm")
    assert Session.of(car("plover", None), "front", Drives()).caption().endswith("front axle  ·  travel +0.0 mm")


def test_film_keeps_the_colours_of_thin_bars(tmp_path):
    """Paper, and bars of 2 px in eight colours in one picture of thirty: each comes back within 8 of 255."""
    bars = np.array([(0, 114, 178), (213, 94, 0), (0, 158, 115), (86, 180, 233), (42, 143, 163), (204, 121, 167),
                     (230, 159, 0), (43, 43, 43)])  # fmt: skip
    images = list(np.random.default_rng(3).integers(90, 256, (30, 120, 200, 1)).repeat(3, axis=3).astype(np.uint8))
    for k, colour in enumerate(bars):
        images[6][10 * k + 5 : 10 * k + 7, 40:160] = colour
    save_film(tmp_path / "bars.gif", images, 20)
    with Image.open(tmp_path / "bars.gif") as film:
        film.seek(6)
        seen = np.asarray(film.convert("RGB"), dtype=int)
    for k, colour in enumerate(bars):
        assert np.abs(seen[10 * k + 5, 100] - colour).max() <= 8


@pytest.mark.parametrize("inches", [2.4, 3.3, 4.6])
def test_legend_is_whole_after_an_edit_beside_another_car(inches):
    from matplotlib.figure import Figure

    session = Session.of(car("dunlin", None), "front", Drives(0.0, 3.0), car("plover", None))
    session.editor.set_point(0, "upper_outer", session.editor.place(0, "upper_outer") + np.array([0.0, 2.0, 1.0]))
    charts = Charts(Figure(figsize=(inches, 6.0), dpi=100), session.editor.model.every_measure, ["camber_deg"])
    charts.show(session.view.curves, session.file_curves(), session.ghost().curves)
    charts.legend(file=True, ghost="Plover, this season's hill-climb car with a rather long name")
    charts.image()
    (legend,) = charts.figure.legends
    box = legend.get_window_extent()
    assert [t.get_text() for t in legend.get_texts()][:3] == ["left", "right", "as in the file"]
    assert box.x0 >= 0.0
    assert box.x1 <= 100.0 * inches
    assert box.y1 <= 600.0


def make_references() -> None:
    """Write the reference images anew: ``python -m tests.viewer.test_pictures``, then look at each one."""
    FOLDER.mkdir(exist_ok=True)
    for name in CASES:
        Image.fromarray(taken(name)).save(FOLDER / f"{name}.png", optimize=True)


if __name__ == "__main__":
    make_references()
