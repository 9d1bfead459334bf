"""The steering axis of layouts that name no ball joints: of links that meet at the upright, and of the screw axis."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

import kin3d
from kin3d.linkage.car import Car
from tests.car_files import point_table
from tests.laws.cars import car

AXIS = ["caster_deg", "kingpin_deg", "scrub_radius_mm", "caster_trail_mm"]
TRAVEL, RACK = np.linspace(-40.0, 40.0, 9), np.linspace(-20.0, 20.0, 5)
LINKS = """
name = "wishbones as links"
[bodies]
chassis = ["lower_front", "lower_rear", "upper_front", "upper_rear"]
upright = ["lower_outer", "lower_outer_2", "upper_outer", "upper_outer_2", "tie_outer"]
"lower front link" = ["lower_front", "lower_outer"]
"lower rear link" = ["lower_rear", "lower_outer_2"]
"upper front link" = ["upper_front", "upper_outer"]
"upper rear link" = ["upper_rear", "upper_outer_2"]
"tie link" = ["tie_inner", "tie_outer"]
[rack]
points = ["tie_inner"]
[wheel]
body = "upright"
"""


def as_five_links(folder: Path, side: str = "left", apart=(0.0, 0.0, 0.0), layout: str = LINKS) -> Car:
    """Dunlin's front corner with each arm typed as two links, and the second outer ends `apart` from the first."""
    table = car("dunlin").front.points
    mirror = np.array([1.0, 1.0 if side == "left" else -1.0, 1.0])
    points = {p: table[p] * mirror for p in table.names if p in LINKS or p == "wheel_centre"}
    for arm in ("lower", "upper"):
        points[f"{arm}_outer_2"] = points[f"{arm}_outer"] + np.array(apart)
    (folder / "points.csv").write_text(point_table(points), encoding="utf-8")
    (folder / "links.toml").write_text(layout, encoding="utf-8")
    (folder / "car.toml").write_text(
        f'[front]\npoints = "points.csv"\nunits = "mm"\naxes = "x forward, y left, z up"\nside = "{side}"\n'
        'layout = "links.toml"\nloaded_radius_mm = 260\ncamber_deg = -2.5\ntoe_deg = -0.1\n',
        encoding="utf-8",
    )
    return kin3d.load(folder / "car.toml")


@pytest.mark.parametrize("side", ["left", "right"])
def test_a_double_wishbone_typed_as_five_links(tmp_path: Path, side: str) -> None:
    """The same car has the same axis, in every position."""
    found = kin3d.sweep(as_five_links(tmp_path, side), "front", TRAVEL, RACK, measures=AXIS)
    wanted = kin3d.sweep(car("dunlin"), "front", TRAVEL, RACK, measures=AXIS)
    for name in AXIS:
        np.testing.assert_allclose(found.values[name], wanted.values[name], rtol=0, atol=1e-9, err_msg=name)
    (note,) = [f for f in found.findings if f.code == "steering-axis"]
    assert "from lower_outer and lower_outer_2 to upper_outer and upper_outer_2" in note.text


def test_links_that_share_their_outer_point(tmp_path: Path) -> None:
    """Two links with one outer point are a joint without any tolerance."""
    layout = LINKS.replace('"lower_outer_2"]', '"lower_outer"]').replace('"lower_outer_2", ', "")
    layout = layout.replace('"upper_outer_2"]', '"upper_outer"]').replace('"upper_outer_2", ', "")
    table = as_five_links(tmp_path).front.points  # its files have two points too many
    table = table.only([p for p in table.names if not p.endswith("_2")])
    (tmp_path / "points.csv").write_text(point_table({p: table[p] for p in table.names}), encoding="utf-8")
    (tmp_path / "links.toml").write_text(layout, encoding="utf-8")
    found = kin3d.sweep(kin3d.load(tmp_path / "car.toml"), "front", TRAVEL, RACK, measures=AXIS)
    wanted = kin3d.sweep(car("dunlin"), "front", TRAVEL, RACK, measures=AXIS)
    for name in AXIS:
        np.testing.assert_allclose(found.values[name], wanted.values[name], rtol=0, atol=1e-9, err_msg=name)


def test_ends_within_half_a_millimetre_are_one_joint(tmp_path: Path) -> None:
    """The joint stands in their mean; farther apart there is none, and the screw axis is another one."""
    near = as_five_links(tmp_path, apart=(0.3, 0.0, 0.3))
    ends = {arm: [near.front.points[f"{arm}_outer{k}"] for k in ("", "_2")] for arm in ("lower", "upper")}
    k = np.mean(ends["upper"], axis=0) - np.mean(ends["lower"], axis=0)
    found = kin3d.sweep(near, "front", measures=["caster_deg"]).values["caster_deg"][0, 0, 0]
    np.testing.assert_allclose(found, np.degrees(np.arctan2(-k[0], k[2])), rtol=0, atol=1e-9)
    far = as_five_links(tmp_path, apart=(0.4, 0.0, 0.4))
    assert far.front.linkage.steering_axis is None
    assert abs(kin3d.sweep(far, "front", measures=["caster_deg"]).values["caster_deg"][0, 0, 0] - found) > 0.1


def test_what_is_held_stands_beside_the_figures() -> None:
    """Siskin's links meet nowhere."""
    screw = "the instant screw axis of the upright as the rack moves, wheel centre's height held"
    for result in (kin3d.check(car("siskin")), kin3d.sweep(car("siskin"), roll=[0.0, 1.0])):
        (note,) = [f for f in result.findings if f.code == "steering-axis"]
        assert note.text == f'{", ".join(AXIS)}: about {screw}: layout "five-link" has no two ball joints'
    assert not [f for f in kin3d.sweep(car("siskin"), measures=["camber_deg"]).findings if f.code == "steering-axis"]
    assert not [f for f in kin3d.check(car("dunlin")).findings if f.code == "steering-axis"]
