"""Inboard tables of the car file: what they give, the text of every mistake; boxes; a car written and read back."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.testing import assert_allclose

import kin3d
from kin3d.errors import Kin3dError
from kin3d.linkage.car import Car
from kin3d.linkage.keys import CrossSpring, Damper, NamedSpring, Stop
from kin3d.linkage.part_keys import Masses, RodPart
from kin3d.linkage.record import changed
from kin3d.reading.boxes import read_boxes
from kin3d.reading.car_writing import write_car as write_whole
from kin3d.studies.rates import axle_rates
from tests.car_files import write_car
from tests.laws.axles import CORNER

EXTRA = {"damper_outer": (-30, 240, 470), "damper_inner": (-250, 150, 460), "heave_end": (10, 240, 455)}
TABLES = """
[[front.springs]]
name = "damper spring"
points = ["Damper Outer", "damper_inner"]
bodies = ["rocker", "chassis"]
rate_n_per_mm = 12.5
design_force_n = 80
[front.third]
points = ["heave_end"]
rate_n_per_mm = 40
[[front.stops]]
name = "bump rubber"
on = "damper spring"
gap_mm = 9
rate_n_per_mm = 150
[[front.stops]]
name = "droop strap"
on = "spring"
sense = "droop"
gap_mm = 25
rate_n_per_mm = 300
[front.damper]
bump_mm = 30
droop_mm = 8
[front.rod_part]
diameter_mm = 16
wall_mm = 1.5
modulus_n_per_mm2 = 205000
rod_end_limit_deg = 1
bolt_inner = [3, 4, 0]
[front.masses]
rod_kg = 0.4
rocker_kg = 0.6
spring_kg = 1.5
"""


def read(folder: Path, tables: str, points: Any = None, **keys: Any) -> Car:
    usual = {"rod_on": "lower arm", "spring": {"rate_n_per_mm": 60.0, "design_force_n": 900.0}}
    path = write_car(folder, CORNER | EXTRA if points is None else points, **(usual | keys))
    path.write_text(path.read_text("utf-8") + tables, "utf-8")
    return kin3d.load(path)


def test_tables_become_data(tmp_path: Path) -> None:
    axle = read(tmp_path, TABLES, unsprung_mass_kg=14.0, tyre_rate_n_per_mm=180.0).front
    assert axle is not None
    ends = {"points": ("damper_outer", "damper_inner"), "bodies": ("rocker", "chassis")}
    assert axle.springs == (NamedSpring(name="damper spring", rate_n_per_mm=12.5, design_force_n=80, **ends),)
    assert axle.third == CrossSpring(rate_n_per_mm=40, points=("heave_end", "heave_end"))
    assert axle.stops == (
        Stop(rate_n_per_mm=150, gap_mm=9, name="bump rubber", on="damper spring"),
        Stop(rate_n_per_mm=300, gap_mm=25, name="droop strap", on="spring", sense="droop"),
    )
    assert axle.damper == Damper(bump_mm=30, droop_mm=8)
    tube = {"diameter_mm": 16, "wall_mm": 1.5, "modulus_n_per_mm2": 205000}
    assert axle.rod_part == RodPart(**tube, rod_end_limit_deg=1, bolt_inner=(0.6, 0.8, 0.0))
    assert axle.masses == Masses(rod_kg=0.4, rocker_kg=0.6, spring_kg=1.5)
    assert axle.attached() == {"damper_outer": "rocker", "damper_inner": "chassis", "heave_end": "rocker"}
    assert (axle.unsprung_mass_kg, axle.tyre_rate_n_per_mm) == (14.0, 180.0)


def test_warning_signs_over_the_travel(tmp_path: Path) -> None:
    found = axle_rates(read(tmp_path, TABLES), "front", np.linspace(-30, 30, 13))
    said = {f.code: f.text for f in found.findings}
    assert {"stop-met", "damper-stroke", "rod-end"} <= set(said)
    # 900 N in the design position less 8 mm of 60 N/mm
    assert said["preload"] == "fully out, the spring still presses on it with 420 N: the preload"
    droop = next(f.text for f in found.findings if f.text.startswith("droop uses"))
    assert "of 8 mm of stroke" in droop
    assert "the damper is at its end before the travel is" in droop
    assert "rod_end_limit_deg is 1" in said["rod-end"]


@pytest.mark.parametrize(
    ("tables", "said"),
    [
        ('[[front.stops]]\non = "sprng"\ngap_mm = 5\nrate_n_per_mm = 9', 'is "sprng", which is no spring of this axle'),
        ('[[front.stops]]\non = "sprng"\ngap_mm = 5\nrate_n_per_mm = 9', 'did you mean "spring"?'),
        ("[[front.stops]]\ngap_mm = -5\nrate_n_per_mm = 9", "gap_mm, element 1: is -5; a length of 0 or more in mm"),
        ("[[front.stops]]\ngap = 5\nrate_n_per_mm = 9", 'gap, element 1: is not a known key; did you mean "gap_mm"?'),
        ("[front.third]\nrate_n_per_mm = 9", "[front.third] points: is missing"),
        ('[front.third]\npoints = ["heave_end"]\nbody = "rockr"\nrate_n_per_mm = 9', 'did you mean "rocker"?'),
        ('[front.third]\npoints = ["heave_end"]\nbody = "chassi"\nrate_n_per_mm = 9', 'did you mean "chassis"?'),
        ('[front.third]\npoints = ["lower_outer"]\nrate_n_per_mm = 9', 'is on "lower arm" already; take another name'),
        ('[front.third]\npoints = ["heave"]\nrate_n_per_mm = 9', 'point "heave" is missing'),
        (
            '[[front.springs]]\nname = "d"\npoints = ["damper_outer", "damper_inner"]\nrate_n_per_mm = 9',
            '"damper_outer" of "d" is on no body; say in bodies which two bodies its points are on',
        ),
        (
            '[[front.springs]]\nname = "bar"\npoints = ["spring_outer", "spring_inner"]\nrate_n_per_mm = 9',
            'is "bar", which is the name of another element already',
        ),
        ("[front.rod_part]\ndiameter_mm = 10\nwall_mm = 6", "at most half the diameter of 10 mm is expected"),
        ("[front.rod_part]\nbolt_outer = [0, 0, 0]", "has no direction: all three are 0"),
        ('[front.damper]\nbump_mm = 10\ndroop_mm = 10\non = "strut"', 'is "strut", which is no spring of this axle'),
    ],
)
def test_mistakes_are_said(tmp_path: Path, tables: str, said: str) -> None:
    points = CORNER | ({k: v for k, v in EXTRA.items() if k in tables})
    with pytest.raises(Kin3dError) as caught:
        read(tmp_path, tables, points)
    assert said in str(caught.value)


def test_rod_and_direct_spring_exclude_each_other(tmp_path: Path) -> None:
    with pytest.raises(Kin3dError) as caught:
        read(tmp_path, "", CORNER, spring_on="lower arm")
    assert "spring_on and rod_on are both given; one of the two is expected" in str(caught.value)


def test_direct_spring_on_an_arm(tmp_path: Path) -> None:
    """A spring on the lower arm: ratio by the arm's own turn about its hinge line."""
    gone = ("rod_outer", "rod_inner", "rocker_axis_1", "rocker_axis_2")
    points = {k: v for k, v in CORNER.items() if k not in gone}
    points |= {"spring_outer": (10, 560, 190), "spring_inner": (20, 330, 520)}
    usual = {"spring": {"rate_n_per_mm": 60.0, "design_force_n": 900.0}, "spring_on": "lower arm"}
    found = axle_rates(kin3d.load(write_car(tmp_path, points, **usual)), "front", [0.0])
    hinge = np.subtract(points["lower_rear"], points["lower_front"])
    outer, inner = (np.array(points[p], float) for p in ("spring_outer", "spring_inner"))
    along = (outer - inner) / np.linalg.norm(outer - inner)
    per_turn = np.cross(hinge, outer - points["lower_front"])
    # per mm of wheel travel the arm turns by what lifts lower_outer; the wheel centre's own lift is found by a sweep
    data = kin3d.sweep(kin3d.load(tmp_path / "car.toml"), "front", [-0.01, 0.01]).dataset()["spring_length_mm"]
    expected = -float(np.diff(data.values[:, 0, 0])[0]) / 0.02
    assert_allclose(found.curves[0].heave_ratio, expected, rtol=1e-6)
    lift = np.cross(hinge, np.subtract(points["lower_outer"], points["lower_front"]))[2]
    assert_allclose(expected, -(per_turn @ along) / lift, rtol=0.1)  # the wheel centre lifts nearly as the ball joint


def test_a_written_car_reads_back_the_same(tmp_path: Path) -> None:
    old = read(tmp_path, TABLES, unsprung_mass_kg=14.0, car={"mass_kg": 600.0, "roll_inertia_kg_m2": 55.0})
    files = write_whole(old, tmp_path / "new.toml", "a comment\nin two lines")
    assert [f.name for f in files] == ["new.toml", "new_front.csv"]
    new = kin3d.load(tmp_path / "new.toml")
    assert (new.title, new.data) == (old.title, old.data)
    assert old.front is not None
    assert new.front is not None
    assert new.front.points.names == old.front.points.names
    assert_allclose(new.front.points.xyz_mm, old.front.points.xyz_mm, rtol=0, atol=1e-9)
    assert changed(new.front, points=old.front.points) == old.front


def test_originals_are_not_written_over(tmp_path: Path) -> None:
    old = read(tmp_path, "", CORNER)
    with pytest.raises(Kin3dError) as caught:
        write_whole(old, tmp_path / "car.toml")
    assert "is one of the files that the car was read from; give another name" in str(caught.value)


def test_boxes_are_read(tmp_path: Path) -> None:
    file = tmp_path / "box.csv"
    file.write_text("# mm\npoint;x_min;x_max;y_min;y_max;z_min;z_max\nRod-Inner;-1,5;2;3;4;5;6\n", "utf-8")
    low, high = read_boxes(file)["rod_inner"]
    assert_allclose(low, [-1.5, 3, 5], rtol=0, atol=0)
    assert_allclose(high, [2, 4, 6], rtol=0, atol=0)


def test_all_that_is_wrong_with_boxes_is_said_at_once(tmp_path: Path) -> None:
    file = tmp_path / "box.csv"
    rows = ["point,x_min,x_max,y_min,y_max,z_min,z_max", "rod_inner,5,2,3,4,5,6", "rod_outer,a,2,3,4,5,6"]
    file.write_text("\n".join([*rows, "rod_inner,1,2,3,4,5,6", "rod_x,1,2"]), "utf-8")
    with pytest.raises(Kin3dError) as caught:
        read_boxes(file)
    said = [(f.place.rpartition(", ")[2], f.code) for f in caught.value.findings]
    assert said == [
        ("row 2", "box-upside-down"),
        ("row 3", "number-text"),
        ("row 4", "point-twice"),
        ("row 5", "cells-count"),
    ]
    for text, said_so in (
        ("point,x_mn,x_max,y_min,y_max,z_min,z_max\n", 'column "x_mn" is not known'),
        ("# to be filled in\n", "holds only comments; the header point,x_min"),
        (f'{rows[0]}\nrod_inner,"1,2,3,4,5,6\n', "row 2: its quotation marks do not match"),
    ):
        file.write_text(text, "utf-8")
        with pytest.raises(Kin3dError, match=said_so):
            read_boxes(file)
