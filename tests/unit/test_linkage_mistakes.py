"""Linkages that cannot be: each with the text that it must give."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

import kin3d
from kin3d.errors import AssemblyError, LayoutError
from kin3d.solve.equations import Row
from kin3d.solve.kernel import Kernel
from kin3d.solve.system import bodies_in_line
from tests.unit.corners import PLAIN, POINTS, WISHBONES, double_wishbone, layout, linkage

ROOT = Path(__file__).parents[2]


def said(kind, make) -> str:
    with pytest.raises(kind) as caught:
        make()
    return str(caught.value)


def test_coincident_points_of_a_body():
    text = said(LayoutError, lambda: Kernel(*double_wishbone(upper_outer=POINTS["lower_outer"])))
    assert 'points "lower_outer" and "upper_outer" of body "upright" are at the same place' in text


def test_collinear_points_of_a_hinged_body():
    outer = np.add(POINTS["lower_front"], 1.4 * np.subtract(POINTS["lower_rear"], POINTS["lower_front"]))
    text = said(LayoutError, lambda: Kernel(*double_wishbone(lower_outer=outer)))
    assert 'the points lower_front, lower_rear, lower_outer of body "lower arm" lie in one line' in text
    assert "move one of them off it" in text


def test_collinear_points_of_the_upright():
    bottom, top = np.array(POINTS["lower_outer"]), np.array(POINTS["upper_outer"])
    line = {"tie_outer": 0.5 * (bottom + top), "wheel_centre": 0.6 * bottom + 0.4 * top}
    line["wheel_axis"] = 0.7 * bottom + 0.3 * top
    text = said(LayoutError, lambda: Kernel(*double_wishbone(**line)))
    assert 'of body "upright" lie in one line' in text


def test_a_missing_link_is_said_by_name():
    without = {b: p for b, p in WISHBONES.items() if b != "tie link"}
    points = {n: p for n, p in PLAIN.items() if n != "tie_inner"}
    text = said(LayoutError, lambda: Kernel(*linkage(layout(without, rack=()), points)))
    assert "9 unknown coordinates, 8 equations, rank 8" in text
    assert "nothing holds" in text
    assert '"upright"' in text


def test_a_link_too_many_is_said_by_name():
    more = WISHBONES | {"second tie": ["tie_two", "tie_outer"]}
    places = PLAIN | {"tie_two": np.add(PLAIN["tie_inner"], (0.0, -30.0, 4.0))}
    text = said(LayoutError, lambda: Kernel(*linkage(layout(more, rack=("tie_inner", "tie_two")), places)))
    assert "9 unknown coordinates, 10 equations, rank 9" in text
    assert "one of them is too many" in text
    assert '"second tie"' in text
    assert '"tie link"' in text
    assert '"lower arm"' not in text


def test_rod_in_line_with_its_rocker_arm_is_a_dead_centre():
    """The rod's outer end in the plane of pivot line and rod_inner: the rocker cannot be driven."""
    pivot, inner = np.array(POINTS["rocker_axis_1"]), np.array(POINTS["rod_inner"])
    text = said(AssemblyError, lambda: Kernel(*double_wishbone("lower arm", rod_outer=pivot + 4.0 * (inner - pivot))))
    assert "the design position is a dead centre" in text
    assert '"rod"' in text
    assert '"rocker"' in text


def test_body_of_one_point():
    made = layout(WISHBONES | {"ballast": ["weight"]})
    text = said(LayoutError, lambda: Kernel(*linkage(made, PLAIN | {"weight": (0, 0, 0)})))
    assert 'body "ballast" has 1 point(s); a body needs two or more' in text


def test_slider_off_its_line():
    bodies = {
        "chassis": ["lower_front", "lower_rear", "strut_top"],
        "lower arm": WISHBONES["lower arm"],
        "upright": ["lower_outer", "tie_outer", "strut_low", "strut_high"],
        "tie link": WISHBONES["tie link"],
    }
    points = {n: PLAIN[n] for n in PLAIN if not n.startswith("upper")}
    points |= {"strut_top": (0, 560, 700), "strut_low": (0, 640, 300), "strut_high": (0, 640, 400)}
    text = said(
        LayoutError,
        lambda: Kernel(*linkage(layout(bodies, sliders=[("strut_top", ("strut_low", "strut_high"))]), points)),
    )
    assert 'point "strut_top" slides on the line strut_low-strut_high but stands 80 mm off it' in text
    assert "nearest to it at x 0.0, y 640.0, z 700.0 mm" in text


def test_a_wrong_sign_is_told_of_the_point_and_not_of_a_layout():
    """The row is that of the table, comment lines counted; the rod's inner end is on two bodies and is told once."""
    car = kin3d.load(ROOT / "models/dunlin/car.toml")
    for point, row, bodies in (("upper_outer", 9, '"upright"'), ("rod_inner", 14, '"rod" and "rocker"')):
        assert car.front is not None
        x, y, z = car.front.points[point]
        text = said(LayoutError, lambda p=point, at=(x, -y, z): kin3d.sweep(car.with_points({p: at}), travel=[0.0]))
        assert text.count("has its y the wrong sign?") == 1
        assert f'row {row}: point "{point}" of {bodies} stands {y:g} mm from the middle of the car' in text


def test_one_body_alone_is_never_in_line():
    """The rod is in balance with the rocker although its share of the null vector is small."""
    rows = [Row("travel", (), ()), *(Row("length", (b,), ()) for b in ("rocker", "rocker", "rod", "upper arm"))]
    assert bodies_in_line(np.array([0.9, 1.0, -0.8, 0.1, 1e-9]), rows) == '"rocker" and "rod"'
    assert bodies_in_line(np.array([0.9, 1.0, -0.8, 0.3, 0.1]), rows) == '"rocker" and "rod"'
