"""RSSR linkage worked in a public script that goes with an article by Cremasco Coelho (title not established).

The script prints volume 142 and the year 2025, which look odd together. Printed: output angles at seven input angles
and rates at three, two decimals; the closed form (the article's equations (5)-(6), there in half-tangents) was computed
again. A rod between a turning arm and a rocker is this loop.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from tests.car_files import write_car
from tests.oracles import rssr
from tests.oracles.rocker import turn_about
from tests.published.data import RSSR, RSSR_RATES
from tests.sweeps import Swept

LAYOUT = Path(__file__).parent / "layouts" / "rssr.toml"
UP = np.array([0.0, 0.0, 1.0])
LEVEL = np.cross(rssr.AXIS, UP) / np.linalg.norm(np.cross(rssr.AXIS, UP))
ORIGIN = np.array([0.0, 600.0, 0.0])  # the example's origin, on the car's left side
HEIGHT = np.cross(rssr.AXIS, LEVEL)[2]  # rise of the wheel centre per radius and sine of turn
PIVOT_LINE = np.array([100.0, 0.0, 0.0])
RADIUS = -200.0 * np.sign(HEIGHT)  # the crank rises as the input angle falls, which is how the example turns


def corner(tmp_path: Path, design_deg: float) -> Path:
    """Car file of the linkage whose design position has this input angle; there the wheel stands level."""
    design = np.radians(design_deg)
    points = {
        "crank_axis_1": -100.0 * rssr.AXIS,
        "crank_axis_2": 100.0 * rssr.AXIS,
        "rod_outer": rssr.crank_end(design)[0],
        "rod_inner": rssr.rocker_end(rssr.output(design))[0],
        "rocker_axis_1": rssr.PIVOT - PIVOT_LINE,
        "rocker_axis_2": rssr.PIVOT + PIVOT_LINE,
        "wheel_centre": RADIUS * LEVEL,
    }
    return write_car(tmp_path, {n: ORIGIN + p for n, p in points.items()}, layout=str(LAYOUT))


def travel(input_deg: np.ndarray, design_deg: float) -> np.ndarray:
    """Height of the wheel centre over its design height at input angles."""
    turned = turn_about(np.zeros(3), rssr.AXIS, np.radians(np.asarray(input_deg) - design_deg), RADIUS * LEVEL)
    return turned[:, 2]


@pytest.mark.parametrize(("design_deg", "which"), [(-60.0, slice(0, 5)), (-180.0, slice(4, 7))])
def test_printed_angles(tmp_path: Path, design_deg: float, which: slice) -> None:
    angles, printed, exact = np.array(RSSR[which]).T
    swept = Swept(corner(tmp_path, design_deg), travel(angles, design_deg))
    output = rssr.output(np.radians(design_deg)) + np.radians(swept.line("rocker_deg"))
    np.testing.assert_allclose(output, printed, rtol=0, atol=0.005)
    np.testing.assert_allclose(output, exact, rtol=0, atol=5e-7)
    np.testing.assert_allclose(output, rssr.output(np.radians(angles)), rtol=0, atol=1e-11)


def test_printed_rates(tmp_path: Path) -> None:
    angles, printed, exact = np.array(RSSR_RATES).T
    swept = Swept(corner(tmp_path, -60.0), travel(angles, -60.0))
    rise = RADIUS * HEIGHT * np.cos(np.radians(angles + 60.0))  # mm per rad of input
    rate = np.radians(swept.line("rocker_rate_deg_per_mm")) * rise
    np.testing.assert_allclose(rate, printed, rtol=0, atol=0.005)
    np.testing.assert_allclose(rate, exact, rtol=0, atol=5e-6)
