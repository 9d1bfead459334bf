"""Plane wishbones 13-7-8, both ways of assembly: a table of output angles, sorted, in 5-degree steps.

Public worked table of a plane double wishbone (author and title not established; the figures were recomputed
in closed form). The two columns are sorted by size, so the continuous branch changes column at 60 degrees.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from tests.car_files import write_car
from tests.oracles.four_bar_corner import FourBarCorner
from tests.oracles.planar import follow, four_bar_output
from tests.published.data import WISHBONES_13_7_8
from tests.sweeps import Swept

Array = NDArray[np.float64]
CORNER = FourBarCorner(ground=(50.0, 70.0), crank=130.0, coupler=70.0, output=80.0, down_deg=45.0)
TABLE = np.array(WISHBONES_13_7_8)
ANGLES, COLUMNS = TABLE[:, 0], TABLE[:, 1:]
BRANCHES = [(-1, 0.0, 182.348), (1, 277.628, 437.2632)]


def outputs(tmp_path: Path, design_deg: float, circuit: int) -> tuple[Array, Array]:
    """Crank and output angles that the program finds, swept from one design position."""
    car = write_car(tmp_path, CORNER.points(design_deg, circuit))
    swept = Swept(car, CORNER.travel(ANGLES, design_deg))
    wheel = swept.wheel_centre()[:, 0, 1:]
    crank, _, output = CORNER.angles(wheel, swept.line("kingpin_deg"))
    flat = np.sin(np.radians(swept.line("toe_deg")))  # 0 or 180: the upright turns past the vertical
    np.testing.assert_allclose(flat, 0.0, rtol=0, atol=1e-11)
    return crank, output


def turns_apart(a: Array, b: Array) -> Array:
    """Difference of angles in degrees, to the nearest turn."""
    return (a - b + 180.0) % 360.0 - 180.0


@pytest.mark.parametrize("design_deg", [0.0, 45.0, 90.0])
@pytest.mark.parametrize(("circuit", "first", "last"), BRANCHES)
def test_each_branch_is_followed(tmp_path: Path, circuit: int, first: float, last: float, design_deg: float) -> None:
    expected = follow(ANGLES, first, COLUMNS)
    assert expected[-1] == pytest.approx(last, rel=0, abs=1e-9)
    crank, output = outputs(tmp_path, design_deg, circuit)
    np.testing.assert_allclose(turns_apart(crank, ANGLES), 0.0, rtol=0, atol=1e-6)
    np.testing.assert_allclose(turns_apart(output, expected), 0.0, rtol=0, atol=6e-4)


@pytest.mark.parametrize(("circuit", "first", "last"), BRANCHES)
def test_closed_form(tmp_path: Path, circuit: int, first: float, last: float) -> None:
    crank, output = outputs(tmp_path, 45.0, circuit)
    exact = [four_bar_output((5.0, 7.0), 13.0, 7.0, 8.0, a, circuit) for a in np.radians(crank)]
    np.testing.assert_allclose(turns_apart(output, np.degrees(exact)), 0.0, rtol=0, atol=1e-9)


def test_the_columns_are_not_branches() -> None:
    """Trap: who reads one column downwards changes branch at 60 degrees."""
    for column, (_, first, _) in zip(COLUMNS.T, BRANCHES, strict=True):
        gap = np.abs(turns_apart(column, follow(ANGLES, first, COLUMNS)))
        assert (gap[ANGLES < 60] < 1e-9).all()
        assert (gap[ANGLES >= 60] > 90.0).all()
