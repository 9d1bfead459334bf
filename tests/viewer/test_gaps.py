"""The layer of gaps: the figure of `clearance`, what glows, parts that stay the same, what is said without solids."""

from __future__ import annotations

import numpy as np
from numpy.testing import assert_allclose

import kin3d
from kin3d_viewer.editing import Editor
from kin3d_viewer.model import LiveModel
from kin3d_viewer.primitives import Label, Rod
from kin3d_viewer.scene_gaps import NEAR_MM
from kin3d_viewer.session import Session
from tests.laws.cars import car


def session(name, drives):
    model = LiveModel(car(name), "front")
    out = Session(Editor(model))
    out.editor.drive(**drives)
    return out


def test_the_least_gap_is_that_of_the_study_and_its_line_is_as_long():
    shown = session("dunlin", {"travel_mm": 25.0, "rack_mm": 30.0}).scene(("gaps",))
    study = kin3d.clearance(car("dunlin"), [-25.0, 0.0, 25.0], [-30.0, 0.0, 30.0], axle="front")
    for part in study.parts:
        lane = int(np.flatnonzero((part.drives["travel"] == 25.0) & (part.drives["rack"] == 30.0))[0])
        row = min((r for r in part.rows() if not part.still(r)), key=lambda r: part.gap[r, lane])
        first, second = part.pairs[row]
        gap = part.gap[row, lane]
        label = shown[f"{part.side}/gap/label"]
        assert isinstance(label, Label)
        assert label.text == f"{gap:.1f} mm  {first.name} – {second.name}"
        line = shown[f"{part.side}/gap/line"]
        assert isinstance(line, Rod)
        assert_allclose(np.linalg.norm(line.end - line.start), gap, rtol=0, atol=1e-6)


def test_what_is_near_glows_and_nothing_else_does():
    near = session("dunlin", {"travel_mm": 25.0, "rack_mm": 30.0}).scene(("gaps",))
    far = session("dunlin", {}).scene(("gaps",))
    glowing = {p.name for p in near.of(Rod) if p.role == "near" and p.radius_mm > 1.0}
    assert "left/solid/lower arm, rear leg/near" in glowing
    assert not any(n.startswith("right") for n in glowing)  # 20 mm and more there
    assert NEAR_MM == 20.0
    assert not [p for p in far.of(Rod) if p.role == "near" and p.radius_mm > 1.0]
    names = [[p.name for p in x.items if "/solid/" in p.name or "/gap/" in p.name] for x in (near, far)]
    assert names[0] == names[1]


def test_a_car_without_solids_says_so():
    shown = session("siskin", {})
    assert not [p for p in shown.scene(("gaps",)).items if p.role == "gap"]
    assert "[front.solids.NAME]" in shown.lacking
