"""A targets file in the window: bands where wants are, points that go there, and back."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose

import kin3d
from kin3d.errors import RequestError
from kin3d_viewer.model import Drives
from kin3d_viewer.session import Session
from tests.laws.cars import MODELS
from tests.viewer.cars import car

WANTED = MODELS / "dunlin" / "targets.toml"


def session() -> Session:
    return Session.of(car("dunlin", None), "front", Drives())


def heights(made: Session, name: str) -> tuple[float, float]:
    """Least and greatest height of the band of a measure."""
    (outline,) = (b.outline for b in made.bands() if b.measure == name)
    return float(outline[:, 1].min()), float(outline[:, 1].max())


def test_bands_are_what_the_file_allows():
    made = session()
    assert made.bands() == ()
    made.want(WANTED)
    assert_allclose(heights(made, "roll_centre_height_mm"), (39.0, 41.0), rtol=0, atol=1e-9)
    low, high = heights(made, "toe_deg")
    toe = kin3d.sweep(made.editor.model.car, "front", [-25.0, 25.0], measures=["toe_deg"]).dataset().toe_deg
    left = toe.sel(side="left").values.ravel()
    assert_allclose((low, high), left.mean() + np.array([-0.01, 0.01]), rtol=0, atol=1e-5)
    made.editor.drive(rack_mm=3.0)  # nothing is wanted there
    assert made.bands() == ()
    made.editor.drive(rack_mm=0.0, travel_mm=5.0)
    assert len(made.bands()) == 3
    made.run_over("rack_mm")
    assert made.bands() == ()


def test_points_go_where_all_is_had_and_back():
    made = session()
    made.want(WANTED)
    point = made.editor.place(0, "rod_outer") + np.array([0.0, 0.0, 1.0])
    made.editor.set_point(0, "rod_outer", point)
    step, said = made.tune()
    assert not step.reason
    assert "all 3 wants met" in said
    editor = made.editor
    there = {p: editor.place(0, p) for p in editor.model.points()}
    new = editor.model.car.with_points(there, "front")
    swept = kin3d.sweep(new, "front", np.linspace(-25.0, 25.0, 51), measures=["roll_centre_height_mm", "toe_deg"])
    fresh = swept.dataset().sel(side="left")
    assert abs(float(fresh.roll_centre_height_mm.values.ravel()[25]) - 40.0) <= 1.0
    assert np.ptp(fresh.toe_deg.values) <= 0.02
    assert_allclose(editor.place(0, "rod_outer")[2], point[2] - 1.0, rtol=0, atol=1e-12)  # from the file's points
    editor.undo()
    assert_allclose(editor.place(0, "rod_outer"), point, rtol=0, atol=1e-12)


def test_what_cannot_be_had_moves_nothing_and_other_axles_are_refused(tmp_path):
    made = session()
    assert "no targets" in made.tune()[0].reason
    made.want(MODELS / "dunlin" / "too_much.toml")
    before = made.editor.design.copy()
    assert "cannot be had" in made.tune()[0].reason
    assert np.array_equal(made.editor.design, before)
    rear = Path(tmp_path / "rear.toml")
    rear.write_text(WANTED.read_text("utf-8").replace('"front"', '"rear"', 1), "utf-8")
    with pytest.raises(RequestError, match="rear axle"):
        made.want(rear)
