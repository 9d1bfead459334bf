"""Four-bar 40-120-80-100 at 40 degrees, after R. L. Norton, *Design of Machinery* (figures from memory).

The remembered figures, 57.33 and -98.01 (output), 20.30 and -60.98 (coupler), are equal within 0.01 to a
closed form; Freudenstein's equation K1 cos t4 - K2 cos t2 + K3 = cos(t2 - t4) is in the same book.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from tests.car_files import write_car
from tests.oracles.four_bar_corner import FourBarCorner
from tests.sweeps import Swept

CORNER = FourBarCorner(ground=(100.0, 0.0), crank=40.0, coupler=120.0, output=80.0, down_deg=50.0)
ANGLES = np.arange(30.0, 101.0, 10.0)  # below, crank and coupler come into line and the tie link holds nothing


def solved(tmp_path: Path, circuit: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Angles of crank, coupler and output, from a design position at 60 degrees."""
    swept = Swept(write_car(tmp_path, CORNER.points(60.0, circuit)), CORNER.travel(ANGLES, 60.0))
    return CORNER.angles(swept.wheel_centre()[:, 0, 1:], swept.line("kingpin_deg"))


@pytest.mark.parametrize(("circuit", "output", "coupler"), [(1, 57.325, 20.298), (-1, -98.005, -60.978)])
def test_at_forty_degrees(tmp_path: Path, circuit: int, output: float, coupler: float) -> None:
    crank, line, arm = (a[1] for a in solved(tmp_path, circuit))
    np.testing.assert_allclose([crank, line, arm], [40.0, coupler, output], rtol=0, atol=5e-4)


@pytest.mark.parametrize("circuit", [1, -1])
def test_freudenstein(tmp_path: Path, circuit: int) -> None:
    crank, _, arm = (np.radians(a) for a in solved(tmp_path, circuit))
    a, b, c, d = 40.0, 120.0, 80.0, 100.0
    left = d / a * np.cos(arm) - d / c * np.cos(crank) + (a * a - b * b + c * c + d * d) / (2 * a * c)
    np.testing.assert_allclose(left, np.cos(crank - arm), rtol=0, atol=1e-11)
