"""Anti-roll bars of the built-in layouts: how far the bar twists in roll, by rigid bodies of both sides in SciPy."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose

import kin3d
from kin3d.linkage.layout_file import builtin, builtin_names
from tests.kinds import demo_car
from tests.oracles.both_sides import whole_car
from tests.oracles.five_rod import spin_from_angles

WITH_BAR = tuple(n for n in builtin_names() if builtin(n).demo and any(p.bar for p in builtin(n).parts))
BAR = "[rear.bar]\nrate_n_m_per_deg = 20\n"
STEP = 0.5


def test_all_but_the_twist_beam_have_one() -> None:
    assert set(builtin_names()) - set(WITH_BAR) == {"twist beam", "double wishbone"}  # the latter's is on its rocker


@pytest.mark.parametrize("kind", WITH_BAR)
def test_twist_in_roll(tmp_path: Path, kind: str) -> None:
    outer = np.add(builtin(kind).demo["wheel_centre"], (-20.0, -180.0, -60.0))
    arm = np.add(outer, (10.0, -8.0, 150.0))
    foot = np.add(arm, (220.0, 0.0, 15.0))
    points = {
        "bar_link_outer": outer,
        "bar_link_arm": arm,
        "bar_axis_1": np.array([foot[0], 250.0, foot[2]]),
        "bar_axis_2": np.array([foot[0], 150.0, foot[2]]),
    }
    demo = dict(builtin(kind).demo) | {n: tuple(float(c) for c in p) for n, p in points.items()}
    demo_car(tmp_path, kind, more=BAR)
    rows = [f"{n},{','.join(map(repr, p))}" for n, p in demo.items()]
    (tmp_path / "points.csv").write_text("\n".join(["point,x,y,z", *rows, ""]), "utf-8")
    found = kin3d.rates(kin3d.load(tmp_path / "car.toml"), "rear").found
    bar = next(c for c in found.curves if c.kind == "bar")
    machine, design = whole_car(kind, demo, spin_from_angles(-1.0, 0.1))

    def twist(left: float, right: float) -> float:
        at = machine.solve(design, {"left": left, "right": right})
        ways = [at[f"{s}_bar_link_arm"] - at[f"{s}_bar_axis_1"] for s in ("left", "right")]
        a, b = (np.arctan2(w[2], w[0]) for w in ways)  # about the car's y
        return float(a - b)

    expected = (twist(STEP, -STEP) - twist(-STEP, STEP)) / (2.0 * STEP)
    assert abs(expected) > 1e-3
    assert_allclose(abs(bar.roll_ratio[0]), abs(expected), rtol=1e-5)
    per_rad = 20.0 * 1000.0 * np.degrees(1.0)
    radius = 0.5 * found.track_mm[0]
    rate = per_rad * expected**2 * radius**2 / 1000.0 / np.degrees(1.0)
    assert_allclose(bar.roll_rate[0], rate, rtol=1e-4)
