"""A car with other points and figures: what changes, what does not, and the text of every refusal."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.testing import assert_allclose

import kin3d
from kin3d.errors import Kin3dError, LayoutError, RequestError
from kin3d.linkage.keys import Bar
from kin3d.linkage.record import changed
from tests.car_files import point_table, write_car
from tests.laws.axles import CORNER
from tests.laws.cars import car

PLACE = [150.0, 260.0, 120.0]


def said(caught: pytest.ExceptionInfo[Kin3dError]) -> list[tuple[str, str]]:
    return [(f.code, str(f)) for f in caught.value.findings]


def test_a_moved_point_is_as_if_the_file_had_it_there(tmp_path: Path) -> None:
    own = write_car(tmp_path, CORNER, rod_on="lower arm")
    moved = kin3d.load(own).with_points({"Lower Front": PLACE}, axle="front")
    (tmp_path / "points.csv").write_text(point_table(CORNER | {"lower_front": PLACE}), "utf-8")
    written = kin3d.load(own)
    assert moved.front is not None
    assert written.front is not None
    assert_allclose(moved.front.points.xyz_mm, written.front.points.xyz_mm, rtol=0, atol=0)
    curves = [kin3d.sweep(c, "front", [-20.0, 20.0]).dataset()["camber_deg"].values for c in (moved, written)]
    assert_allclose(*curves, rtol=0, atol=1e-12)


def test_the_car_itself_and_the_other_axle_stay() -> None:
    dunlin = car("dunlin")
    before = dunlin.axle("front").points.xyz_mm.copy()
    moved = dunlin.with_points({"lower_front": PLACE})
    assert_allclose(dunlin.axle("front").points.xyz_mm, before, rtol=0, atol=0)
    assert moved.rear is dunlin.rear
    assert_allclose(moved.axle("front").points["lower_front"], PLACE, rtol=0, atol=0)


def test_points_that_cannot_be_moved_are_all_named() -> None:
    with pytest.raises(RequestError) as caught:
        car("dunlin").with_points({"lower_fron": PLACE, "tie_inner": [1, 2], "tie_outer": [1, 2, np.nan]})
    assert said(caught) == [
        ("point-unknown", '[front]: point "lower_fron" is not in the table of the axle; did you mean "lower_front"?'),
        ("place-wrong", '[front]: the place of "tie_inner" is [1, 2]; three finite numbers in mm are expected'),
        ("place-wrong", '[front]: the place of "tie_outer" is [1, 2, nan]; three finite numbers in mm are expected'),
    ]
    with pytest.raises(RequestError, match="is the mirror image of the left side; say where"):
        car("dunlin").with_points({"tie_inner": PLACE}, side="right")
    with pytest.raises(RequestError, match=r"the car file has no \[rear\] axle; it has: front"):
        car("siskin").with_points({"tie_inner": PLACE}, axle="rear")


def test_figures_change_and_nothing_else_does() -> None:
    dunlin = car("dunlin")
    front = dunlin.axle("front")
    other = dunlin.with_figures(
        {"car.mass_kg": 600, "front.spring.rate_n_per_mm": 130, "front.camber_deg": -3, "title": "What if"}
    )
    assert (other.data.mass_kg, other.title) == (600.0, "What if")
    assert (other.axle("front").camber_deg, other.axle("front").toe_deg) == (-3.0, front.toe_deg)
    assert other.axle("front").spring == changed(front.spring, rate_n_per_mm=130.0)
    assert other.axle("front").points is front.points
    assert other.rear == dunlin.rear
    assert dunlin.data.mass_kg == 470.0


def test_tables_and_lists_come_and_go() -> None:
    dunlin = car("dunlin")
    bare = dunlin.with_figures({"front.bar": None, "front.camber_deg": None})
    assert (bare.axle("front").bar, bare.axle("front").camber_deg) == (None, 0.0)
    stiff = bare.with_figures({"front.bar": {"rate_n_m_per_deg": 60}})
    assert stiff.axle("front").bar == Bar(rate_n_m_per_deg=60.0)
    packed = dunlin.with_figures({"front.stops": [{"name": "packer", "gap_mm": 5, "rate_n_per_mm": 300}]})
    for element in ("packer", "1"):
        tight = packed.with_figures({f"front.stops.{element}.gap_mm": 2.5})
        assert [s.gap_mm for s in tight.axle("front").stops] == [2.5]


def test_a_direction_is_brought_to_length_one() -> None:
    other = car("dunlin").with_figures({"front.rack_axis": [0.0, 3.0, 4.0]})
    assert_allclose(other.axle("front").rack_axis, (0.0, 0.6, 0.8), rtol=0, atol=1e-15)


def test_a_key_of_the_layout_joins_the_points_anew() -> None:
    other = car("dunlin").with_figures({"front.rod_on": "upper arm"})
    assert "rod_outer" in other.axle("front").linkage.bodies["upper arm"]
    assert "rod_outer" not in other.axle("front").linkage.bodies["lower arm"]
    with pytest.raises(LayoutError, match='point "rod_outer" belongs to'):
        car("dunlin").with_figures({"front.rod_on": None})


@pytest.mark.parametrize(
    ("figures", "text"),
    [
        ({"front.cambr_deg": 1}, '[front] cambr_deg: is not a known key; did you mean "camber_deg"?'),
        ({"frnt.camber_deg": 1}, 'frnt: is not a known key; did you mean "front"?'),
        ({"car.mas_kg": 1}, '[car] mas_kg: is not a known key; did you mean "mass_kg"?'),
        ({"front.camber_deg": 60}, "[front] camber_deg: is 60; an angle between -45 and 45 degrees is expected"),
        ({"front.camber_deg": "1"}, '[front] camber_deg: is "1"; an angle between -45 and 45 degrees is expected'),
        ({"front.camber_deg.x": 1}, "front.camber_deg.x: front.camber_deg is no table; it is -2.5"),
        ({"front.torsion": {}}, "[front.torsion] rate_n_m_per_deg: is missing; a rate over 0 in N·m/deg is expected"),
        ({"front.points": "x.csv"}, "front.points: belongs to the file of the points and is no figure"),
        ({"front.rod_on": "lower arms"}, 'front.rod_on: is "lower arms"; "lower arm", "upper arm" or "upright"'),
        ({"front.damper.on": "strut"}, '[front.damper] on: is "strut", which is no spring of this axle'),
        ({"front.rack_axis": [0, 0, 0]}, "[front] rack_axis: has no direction: all three are 0"),
        ({"front.stops.packer.gap_mm": 1}, 'front.stops.packer.gap_mm: front.stops has no element "packer"'),
    ],
)
def test_wrong_figures_are_refused_with_the_nearest_right_one(figures: dict[str, Any], text: str) -> None:
    wanted = car("dunlin").with_figures({"front.stops": [{"gap_mm": 9, "rate_n_per_mm": 100}]})
    with pytest.raises(RequestError) as caught:
        wanted.with_figures(figures)
    assert text in str(caught.value)


def test_all_that_is_wrong_is_said_at_once() -> None:
    with pytest.raises(RequestError) as caught:
        car("siskin").with_figures({"rear.camber_deg": 1, "car.mass_kg": -5, "front.toe": 1})
    assert [f.code for f in caught.value.findings] == ["figure-unknown", "value-range", "key-unknown"]
