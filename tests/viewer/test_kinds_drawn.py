"""Every built-in layout in space and on paper: all that is drawn has a shape, links across the car among it."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose

import kin3d
from kin3d.linkage.across import spanning
from kin3d.linkage.layout_file import builtin
from kin3d.linkage.resolve import resolve
from kin3d.spatial.hull import outline
from kin3d.studies.construction import construct
from kin3d.studies.why import why_views
from kin3d.writing.drawing import Polyline
from kin3d_viewer.geometry import surface
from kin3d_viewer.model import Drives, LiveModel
from kin3d_viewer.primitives import Rod
from kin3d_viewer.scene import scene
from tests.kinds import KINDS, demo_car


@pytest.mark.parametrize("kind", KINDS)
def test_all_of_a_scene_has_a_shape(tmp_path: Path, kind: str) -> None:
    car = demo_car(tmp_path, kind)
    model = LiveModel(car, "rear")
    now = model.solve(model.design, Drives(20.0, 0.0)).now
    items = scene(now).items
    joined = {name for name in (p.name for p in items) if "/" in name}
    for item in items:
        if hasattr(item, "corners") or isinstance(item, Rod):
            assert len(surface(item).triangles), item.name
    bodies = now.linkage.bodies
    assert all(any(f"/{b}" in name for name in joined) for b in bodies), sorted(bodies)


def test_links_that_no_side_sees_whole(tmp_path: Path) -> None:
    kind = "steered beam axle"
    layout = builtin(kind)
    linkage = resolve(layout, tuple(layout.demo), {})
    expected = {
        "track rod": (("left", "track_arm"), ("right", "track_arm")),
        "drag link": (("left", "drag_box"), ("left", "drag_arm")),
    }
    assert spanning(linkage) == expected
    model = LiveModel(demo_car(tmp_path, kind), "rear")
    now = model.solve(model.design, Drives(0.0, 0.0)).now
    whole = scene(now)
    arm, box, drag = (np.array(layout.demo[p]) for p in ("track_arm", "drag_box", "drag_arm"))
    rod, link = whole["across/track rod"], whole["across/drag link"]
    assert isinstance(rod, Rod)
    assert isinstance(link, Rod)
    assert_allclose([rod.start, rod.end], [arm, arm * [1.0, -1.0, 1.0]], atol=1e-9)
    assert_allclose(sorted([*link.start, *link.end]), sorted([*box, *drag]), atol=1e-9)
    drawn = construct(demo_car(tmp_path, kind), "rear").wheels[0]
    lines = {b.name: b.places for b in drawn.bodies}
    assert_allclose(lines["track rod"], [arm, arm * [1.0, -1.0, 1.0]], atol=1e-9)


@pytest.mark.parametrize("kind", ["semi trailing arm", "twist beam", "de dion axle"])
def test_why_of_layouts_without_arms_beside_the_wheel(tmp_path: Path, kind: str) -> None:
    """The body that carries the wheel is drawn where no arm holds an upright."""
    point = {"semi trailing arm": "arm_inner", "twist beam": "shear_end", "de dion axle": "bracket_ball"}[kind]
    x, y, z = builtin(kind).demo[point]
    cars = [demo_car(tmp_path / "a", kind), demo_car(tmp_path / "b", kind, **{point: (x, y, z + 15.0)})]
    found = kin3d.compare(cars, "rear", [0.0], ["roll_centre_height_mm", "anti_lift_pct"], samples=0)
    for view in why_views(found.pairs[0]):
        lines = [i for i in view.drawing.items if isinstance(i, Polyline) and i.layer == "car a"]
        assert len(lines) > 1


@pytest.mark.slow
@pytest.mark.parametrize("kind", ["trailing arm", "live axle with watt linkage"])
def test_layouts_are_drawn_and_written(tmp_path: Path, kind: str) -> None:
    """A trailing arm's chassis joints stand in one line from the side: no outline, and no failure."""
    car = demo_car(tmp_path, kind)
    for view in ("front", "side"):
        kin3d.draw(car, view, "rear").plot(tmp_path / f"{view}.svg")
        assert "wheel" in (tmp_path / f"{view}.svg").read_text("utf-8")
    kin3d.export(car, "rear").save(tmp_path / "axle.dxf")


def test_outlines_of_places_in_a_line_and_of_a_square() -> None:
    line = np.array([[0.0, 0.0], [10.0, 20.0], [5.0, 10.0]])
    assert sorted(outline(line)) == [0, 1]
    assert sorted(outline(np.array([[0.0, 0.0], [9.0, 0.0], [9.0, 9.0], [0.0, 9.0], [4.0, 5.0]]))) == [0, 1, 2, 3]
