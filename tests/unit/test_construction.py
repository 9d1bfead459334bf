"""Construction drawings: the geometry that they show, and that they are to scale."""

from __future__ import annotations

from pathlib import Path

import matplotlib.pyplot as plt
import numpy as np
import pytest

import kin3d
from kin3d.studies.construction import construct, construct_car
from kin3d.writing.sheet_scale import inside, sheet, toward

CAR = Path(__file__).parents[2] / "models" / "dunlin" / "car.toml"


@pytest.mark.parametrize("roll", [-2.0, 0.0, 1.5])
def test_contact_point_instant_centre_and_roll_centre_are_in_line(roll: float) -> None:
    shown = construct(kin3d.load(CAR), "front", 5.0, roll)
    for side in shown.sides:
        foot, centre = side.contact[1:], side.front_ic[1:]
        to_centre = (centre - foot) / np.linalg.norm(centre - foot)
        to_roll = (shown.roll_centre - foot) / np.linalg.norm(shown.roll_centre - foot)
        assert abs(np.cross(np.append(to_centre, 0), np.append(to_roll, 0))[2]) < 1e-9
        assert abs(to_centre @ side.drift[1:]) < 1e-9
        assert side.contact[2] == pytest.approx(0.0, abs=1e-9, rel=0)
    assert shown.left @ [0, 0, 1] == pytest.approx(np.sin(np.radians(roll)), abs=1e-12, rel=0)


def test_both_axles_stand_on_one_ground() -> None:
    front, rear = construct_car(kin3d.load(CAR), pitch_deg=0.5)
    assert front.x_mm - rear.x_mm == pytest.approx(2380.0, abs=1.0, rel=0)
    assert front.chassis[:, 2].mean() < construct(kin3d.load(CAR), "front").chassis[:, 2].mean()


def test_a_position_out_of_reach_is_refused_with_its_reason() -> None:
    with pytest.raises(kin3d.Kin3dError, match="is the limit"):
        construct(kin3d.load(CAR), "front", 300.0)


@pytest.mark.parametrize("limits", [(-900.0, 900.0, -80.0, 640.0), (-300.0, 2900.0, -60.0, 700.0)])
def test_sheet_is_to_scale(limits: tuple[float, float, float, float]) -> None:
    """A hundred millimetres of the car are a hundred over the scale on paper, across and up."""
    made = sheet(limits, "title", "subtitle")
    dots = made.axes.transData.transform([(0.0, 0.0), (100.0, 0.0), (0.0, 100.0)])
    paper_mm = (dots[1:] - dots[0]) / made.figure.dpi * 25.4
    plt.close(made.figure)
    np.testing.assert_allclose(paper_mm, np.eye(2) * 100.0 / made.scale, rtol=0, atol=1e-9)


def test_lines_end_at_their_point_or_at_the_edge() -> None:
    made = sheet((-100.0, 100.0, 0.0, 50.0), "", "")
    plt.close(made.figure)
    near, far = np.array([20.0, 10.0]), np.array([500.0, 50.0])
    np.testing.assert_allclose(toward(made, np.zeros(2), near), near)
    np.testing.assert_allclose(toward(made, np.zeros(2), far), [100.0, 10.0], rtol=0, atol=1e-9)
    end = toward(made, np.array([0.0, 20.0]), np.array([-np.inf, np.nan]))
    np.testing.assert_allclose(end, [-100.0, 20.0], rtol=0, atol=1e-6)
    assert not inside(made, far)
