"""The marking window, driven as a person would; and what it keeps of marks without a window."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from kin3d.reading.photographs import read_photographs
from kin3d.solve.upright import upright_of
from kin3d_viewer import probe
from kin3d_viewer.marking import solve
from kin3d_viewer.marks import ListedMark, Marks, nearest
from tests import photo_scenes as scenes
from tests.everything import not_here

ROOT = Path(__file__).parents[2]
STEPS = ("solved:", "expected within its ellipse", "clicked:", "moved by 0.1, 1 and 10 px", "doubtful, hidden", "live:")


@pytest.fixture
def files(tmp_path):
    return scenes.write_files(scenes.scene(("dunlin",), (scenes.FRONT, scenes.QUARTER), 5), tmp_path)


def marks_of(path):
    file = read_photographs(path, unmarked=True)
    upright = upright_of(file.linkage())
    return Marks(file, upright.points, tuple(upright.points[i] for i, _ in upright.tubes))


def test_a_person_drives_the_window(tmp_path):
    if probe.missing_modules():
        not_here(f"no Qt: {', '.join(probe.missing_modules())} missing")
    done = subprocess.run(
        [sys.executable, "tests/viewer/drive_marks.py", str(tmp_path)],
        env=os.environ | {"QT_QPA_PLATFORM": "offscreen", "PYTHONPATH": f"{ROOT}{os.pathsep}{ROOT / 'viewer'}"},
        cwd=ROOT, capture_output=True, text=True, timeout=500, check=False,
    )  # fmt: skip
    assert "all done" in done.stdout, done.stdout + done.stderr[-2000:]
    for step in STEPS:
        assert step in done.stdout
    assert (tmp_path / "window.png").stat().st_size > 20_000


def test_a_table_that_is_not_there_yet_is_made(files):
    table = files.parent / "dunlin.marks.csv"
    table.unlink()
    marks = marks_of(files)
    photo = marks.file.photos[0].name
    item = ListedMark("rim", "front", "left")
    assert isinstance(solve(marks.photographs), str)  # says what is missing
    marks.add(photo, item, 100.0, 200.5)
    said = table.read_text("utf-8").splitlines()
    assert said == ["photo,kind,name,side,u,v,sigma_px,note", f"{photo},rim,front,left,100.00,200.50,,"]
    assert read_photographs(files).marks[0].sigma_px == 1.5  # of a rim, photographs.md section 3
    assert marks.following(photo, item) == item  # a rim wants several marks
    assert marks.state(photo, item) == "to do"


def test_what_is_hidden_and_undone_comes_back(files):
    marks = marks_of(files)
    photo, item = marks.file.photos[0].name, ListedMark("point", "lower_front", "left")
    there = len(marks.of(photo, item))
    marks.hide(photo, item)
    assert marks.state(photo, item) == "hidden"
    assert marks_of(files).state(photo, item) == "hidden"
    assert marks.undo()
    assert len(marks.of(photo, item)) == there
    assert marks.redo()
    assert marks.state(photo, item) == "hidden"
    assert not marks.redo()


def test_the_nearest_mark_is_found_within_reach(files):
    marks = marks_of(files)
    first = marks.marks[0]
    assert nearest(marks, first.photo, first.u + 1.0, first.v, 5.0) == 0
    assert nearest(marks, first.photo, first.u - 3000.0, first.v, 5.0) is None


def test_ellipses_hold_the_true_places(files):
    """Some 95 % of the places where marked joints truly are lie inside the ellipses that the solution draws there."""
    made = scenes.scene(("dunlin",), (scenes.FRONT, scenes.QUARTER), 5)
    found = solve(read_photographs(files))
    assert not isinstance(found, str)
    places = scenes.visible_pixels(made.model, made.truth)
    inside = []
    for (car, mark), place in zip(made.model.marks, places, strict=True):
        if mark.kind == "point" and place is not None:
            there = found.overlays[car, mark.photo].points
            p = next(x for x in there if (x.name, x.side) == (mark.name, mark.side))
            inside.append(np.hypot(*np.linalg.solve(p.ellipse, np.array(place) - p.place)) < 1.0)
    assert len(inside) >= 12
    assert np.mean(inside) > 0.8
