"""Shared errors of a car file, as a user would write them."""

from __future__ import annotations

import pytest

import kin3d
from kin3d.linkage.keys import SharedError
from tests.car_files import point_table
from tests.oracles.corners import corner

CAR = """
title = "Test corner"
[front]
points = "points.csv"
units = "mm"
axes = "x forward, y left, z up"
side = "left"
layout = "double wishbone"
rod_on = "lower arm"
camber_deg = -2
toe_deg = 0
[[front.shared_error]]
name = "side view"
points = ["Lower-Outer", "upper outer", "upper_outer"]
sigma_mm = [3, 0, 2.5]
[[front.shared_error]]
sigma_mm = [0, 1, 0]
"""


@pytest.fixture
def folder(tmp_path):
    (tmp_path / "points.csv").write_text(point_table(corner()), encoding="utf-8")
    return tmp_path


def test_they_are_read_with_names_as_the_program_writes_them(folder):
    (folder / "car.toml").write_text(CAR, encoding="utf-8")
    assert kin3d.load(folder / "car.toml").front.shared_error == (
        SharedError(name="side view", points=("lower_outer", "upper_outer"), sigma_mm=(3.0, 0.0, 2.5)),
        SharedError(name="shared error 2", sigma_mm=(0.0, 1.0, 0.0)),
    )


def test_without_them_there_are_none(folder):
    (folder / "car.toml").write_text(CAR.partition("[[")[0], encoding="utf-8")
    assert kin3d.load(folder / "car.toml").front.shared_error == ()
