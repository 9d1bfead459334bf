"""Spatial slider-crank of E. J. Haug, *Computer-Aided Kinematics and Dynamics* (1989, from memory).

Also an IFToMM benchmark: crank 0.08 about x through (0, 0.1, 0.12), rod 0.3, slider on the x axis (m).
With the crank's end at (0, 0.1, 0.2) the slider stands at exactly 0.2; at 2 pi rad/s its velocity is
-0.251327412 and that of the rod's centre (-0.125663706, 0.251327412, 0), as in a public data file.
Recomputed.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np

from tests.car_files import write_car
from tests.sweeps import Swept

LAYOUT = Path(__file__).parent / "layouts" / "slider_crank.toml"
SCALE_END = 700.0
POINTS = {
    "crank_axis_1": (-50.0, 100.0, 120.0),
    "crank_axis_2": (50.0, 100.0, 120.0),
    "pin": (0.0, 100.0, 200.0),
    "wheel_centre": (0.0, 180.0, 120.0),
    "slider": (200.0, 0.0, 0.0),
    "scale_end": (SCALE_END, 0.0, 0.0),
    "line_1": (0.0, 0.0, 0.0),
    "line_2": (400.0, 0.0, 0.0),
}


def swept(tmp_path: Path, travel: object) -> Swept:
    return Swept(write_car(tmp_path, POINTS, layout=str(LAYOUT)), travel)


def test_place_and_velocity_with_the_crank_upright(tmp_path: Path) -> None:
    """The wheel centre, level with the crank's axis, falls by 80 mm per rad as the crank's end goes to +y."""
    position = swept(tmp_path, 0.0)
    assert SCALE_END - position.one("spring_length_mm") == 200.0
    turning = -2.0 * np.pi  # rad/s about x: the crank's end goes to +y
    velocity = position.one("motion_ratio") * turning * 80.0  # the scale shortens as the slider goes to +x
    np.testing.assert_allclose(1e-3 * velocity, -0.251327412, rtol=0, atol=5e-10)
    centre = (1e-3 * velocity / 2.0, -1e-3 * turning * 80.0 / 2.0)
    np.testing.assert_allclose(centre, (-0.125663706, 0.251327412), rtol=0, atol=5e-10)


def test_whole_stroke(tmp_path: Path) -> None:
    """The slider is where a rod of 300 mm from the crank's end meets the x axis."""
    angle = np.radians(np.linspace(-60.0, 60.0, 13))
    position = swept(tmp_path, 80.0 * np.sin(angle))
    y, z = 100.0 - 80.0 * np.sin(angle), 120.0 + 80.0 * np.cos(angle)
    place = np.sqrt(300.0**2 - y**2 - z**2)
    np.testing.assert_allclose(SCALE_END - position.line("spring_length_mm"), place, rtol=0, atol=1e-9)
    slope = (y * 80.0 * np.cos(angle) + z * 80.0 * np.sin(angle)) / place / (80.0 * np.cos(angle))
    np.testing.assert_allclose(position.line("motion_ratio"), slope, rtol=0, atol=1e-11)
