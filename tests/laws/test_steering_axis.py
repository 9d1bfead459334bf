"""The steering axis of layouts that name no ball joints: of links that meet at the upright, and of the screw axis."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

import kin3d
from kin3d.linkage.car import Car
from kin3d.solve.model import AxleModel
from tests.car_files import point_table, write_car
from tests.laws.cars import car
from tests.oracles.by_numbers import places
from tests.unit.corners import PLAIN

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


SPRING = """
[[parts]]
name = "spring"
key = "spring_on"
choices = ["upright"]
attach = ["spring_outer"]
[parts.bodies]
chassis = ["spring_inner"]
[parts.spring]
points = ["spring_outer", "spring_inner"]
"""


def sprung(folder: Path, holds: str, spring_on: str = 'spring_on = "upright"\n', outer=(-20.0, 640.0, 190.0)) -> Car:
    """Siskin with a spring on the upright and what is to be held in steering."""
    table = car("siskin").front.points
    points = {p: table[p] for p in table.names} | {"spring_outer": outer, "spring_inner": (-60.0, 470.0, 640.0)}
    folder.mkdir(exist_ok=True)
    if not spring_on:
        points = {p: v for p, v in points.items() if not p.startswith("spring")}
    (folder / "points.csv").write_text(point_table(points), encoding="utf-8")
    layout = Path(car("siskin").front.layout.source).read_text("utf-8")
    (folder / "links.toml").write_text(layout + SPRING, encoding="utf-8")
    text = car("siskin").source.read_text("utf-8").replace("five_link.toml", "links.toml")
    text = text.replace('"front.csv"', '"points.csv"') + f'{spring_on}steering_axis_holds = "{holds}"\n'
    (folder / "car.toml").write_text(text, encoding="utf-8")
    return kin3d.load(folder / "car.toml")


@pytest.mark.parametrize("side", [0, 1])
@pytest.mark.parametrize(("travel", "rack"), [(0.0, 0.0), (25.0, -12.0)])
def test_the_spring_held_in_steering(tmp_path: Path, side: int, travel: float, rack: float) -> None:
    """The axis of small turns between solved positions, the travel such that the spring keeps its length."""
    given = sprung(tmp_path, "spring")
    model = AxleModel.of(given, "front")

    def spring(at) -> float:
        return float(np.linalg.norm(at["spring_outer"] - at["spring_inner"]))

    def steered(r: float) -> np.ndarray:
        wanted, z = spring(places(model, side, travel, rack)), travel
        for _ in range(8):
            ahead, behind = (spring(places(model, side, z + d, r)) for d in (0.01, -0.01))
            z -= (spring(places(model, side, z, r)) - wanted) / ((ahead - behind) / 0.02)
        at = places(model, side, z, r)
        return np.stack([at[p] for p in ("wheel_centre", "wheel_axis", "tie_outer", "upper_front_outer")])

    h, here = 0.2, steered(rack)
    v = (8.0 * (steered(rack + h) - steered(rack - h)) - (steered(rack + 2 * h) - steered(rack - 2 * h))) / (12.0 * h)
    rows = [np.hstack([np.eye(3), np.array([[0, z, -y], [-z, 0, x], [y, -x, 0]])]) for x, y, z in here - here[0]]
    twist = np.linalg.lstsq(np.vstack(rows), v.ravel(), rcond=None)[0]
    turn = twist[3:] / twist[5]
    sign = 1.0 - 2.0 * side
    found = kin3d.sweep(given, "front", [travel], [rack], measures=["caster_deg", "kingpin_deg"])
    caster, kingpin = (found.values[n].ravel()[side] for n in ("caster_deg", "kingpin_deg"))
    np.testing.assert_allclose(caster, np.degrees(np.arctan2(-turn[0], 1.0)), rtol=0, atol=1e-5)
    np.testing.assert_allclose(kingpin, np.degrees(np.arctan2(-sign * turn[1], 1.0)), rtol=0, atol=1e-5)
    held = kin3d.sweep(sprung(tmp_path / "wheel", "wheel"), "front", [travel], [rack], measures=["caster_deg"])
    assert abs(held.values["caster_deg"].ravel()[side] - caster) > 0.02
    (note,) = [f for f in found.findings if f.code == "steering-axis"]
    assert "as the rack moves, the spring's length held" in note.text


def test_slopes_with_the_spring_held(tmp_path: Path) -> None:
    """Derivatives along travel are those of the figures themselves."""
    given, h = sprung(tmp_path, "spring"), 0.5
    derived = kin3d.sensitivity(given, "front", AXIS, travel=10.0)
    near = kin3d.sweep(given, "front", [10.0 - 2 * h, 10.0 - h, 10.0 + h, 10.0 + 2 * h], measures=AXIS)
    for k, m in enumerate(derived.measures):
        a, b, c, d = near.values[m.name][:, 0, 0]
        np.testing.assert_allclose(derived.rate[k], (8.0 * (c - b) - (d - a)) / (12.0 * h), rtol=1e-6, atol=1e-8)


def test_nothing_to_hold(tmp_path: Path) -> None:
    """A spring that is not there is refused; a layout that names its ball joints does not use the key."""
    with pytest.raises(kin3d.Kin3dError, match=r'steering_axis_holds: is "spring", and this layout has no spring'):
        sprung(tmp_path, "spring", spring_on="")
    with pytest.raises(kin3d.Kin3dError, match='has no spring with the points'):
        car("siskin").with_figures({"front.steering_axis_holds": "spring"})
    path = write_car(tmp_path, PLAIN, steering_axis_holds="wheel")
    (told,) = [f for f in kin3d.load(path).findings if f.code == "axis-unused"]
    assert "[front] steering_axis_holds" in told.place
