"""A wheel rate beyond the spring's free length is told as what it is."""

from __future__ import annotations

import shutil
from pathlib import Path

import numpy as np
import pytest

import kin3d
from kin3d.report.summary import summary

MODELS = Path(__file__).parents[2] / "models"
RATE = ["wheel_rate_n_per_mm"]


def told(findings) -> list[str]:
    return [str(f) for f in findings if f.code == "spring-slack"]


def free_at(car: kin3d.Car) -> float:
    """Travel at which the spring has its free length, by its length over the travel alone."""
    travel = np.linspace(-40.0, 0.0, 401)
    length = kin3d.sweep(car, travel=travel, measures=["spring_length_mm"]).values["spring_length_mm"][:, 0, 0]
    assert car.front is not None
    assert car.front.spring is not None
    free = length[-1] + float(car.front.spring.design_force_n) / float(car.front.spring.rate_n_per_mm)
    return float(np.interp(-free, -length, travel))


def test_the_travel_from_which_a_spring_is_slack_is_told_with_the_wheel_rate() -> None:
    car = kin3d.load(MODELS / "dunlin/car.toml")
    at = free_at(car)
    assert -39.0 < at < -30.0
    said = told(kin3d.sweep(car, travel=[-45.0, 0.0, 30.0], measures=RATE).findings)
    assert len(said) == 1
    assert f"[front.spring]: wheel_rate_n_per_mm: the spring is slack under about {at:+.0f} mm of travel" in said[0]
    assert len(told(kin3d.sweep(car, heave=[-45.0, 0.0], measures=RATE).findings)) == 1
    assert len(told(kin3d.tolerance(car, travel=[-45.0, 0.0], measures=RATE, samples=0).findings)) == 1
    other = kin3d.load(MODELS / "plover/car.toml")
    both = kin3d.compare([car, other], travel=[-45.0, 0.0], measures=RATE, samples=0)
    assert any(f.startswith(f"{car.title}, [front.spring]") for f in told(both.findings))


@pytest.mark.parametrize("figures", [{"front.spring.captive": True}, {"front.spring.design_force_n": 9000.0}])
def test_a_spring_that_works_all_over_the_travel_has_no_word(figures) -> None:
    car = kin3d.load(MODELS / "dunlin/car.toml").with_figures(figures)
    assert told(kin3d.sweep(car, travel=[-45.0, 30.0], measures=RATE).findings) == []


def test_no_word_without_a_wheel_rate_or_in_bump() -> None:
    car = kin3d.load(MODELS / "dunlin/car.toml")
    assert told(kin3d.sweep(car, travel=[-45.0, 0.0], measures=["camber_deg"]).findings) == []
    assert told(kin3d.sweep(car, travel=[-10.0, 30.0], measures=RATE).findings) == []


def test_a_side_with_points_of_its_own_is_told_of(tmp_path: Path) -> None:
    """The right side alone is another one: the comparison of the left sides finds nothing, and says of the other."""
    path = MODELS / "dunlin/car.toml"
    car = kin3d.load(path)
    for name in ("front.csv", "rear.csv"):
        shutil.copy(path.parent / name, tmp_path)
    rows = [line.split(",") for line in (tmp_path / "front.csv").read_text("utf-8").splitlines() if line[:1] != "#"]
    turned = [[r[0], r[1], str(-float(r[2]) + 3.0 * (r[0] == "upper_outer")), *r[3:]] for r in rows[1:]]
    (tmp_path / "right.csv").write_text("\n".join(",".join(r) for r in [rows[0], *turned]), "utf-8")
    words = path.read_text("utf-8").replace('points = "front.csv"', 'points = "front.csv"\nother_points = "right.csv"')
    (tmp_path / "car.toml").write_text(words, "utf-8")
    other = kin3d.load(tmp_path / "car.toml")
    found = kin3d.compare([car, other], travel=[0.0], measures=["kingpin_deg"], samples=0)
    said = [str(f) for f in found.findings if f.code == "one-side"]
    assert said == [
        f"{car.title}, [front] other_points: figures are those of the left side; the right side has points of its own "
        "(--side right)"
    ]
    assert "No differences on the left side: all figures are the same. The right side has points of its own." in (
        summary([found])
    )
    assert "No differences: both cars have the same figures." in (
        summary([kin3d.compare([car, car], travel=[0.0], measures=["kingpin_deg"], samples=0)])
    )
    alone = kin3d.tolerance(other, travel=[0.0], measures=["kingpin_deg"], samples=0, side="right")
    assert [str(f) for f in alone.findings if f.code == "one-side"] == [
        f"{car.title}, [front] other_points: figures are those of the right side; the left side has points of its own "
        "(--side left)"
    ]
    assert [f.code for f in kin3d.sensitivity(other, measures=["kingpin_deg"]).findings] == ["one-side"]
    assert kin3d.sensitivity(car, measures=["kingpin_deg"]).findings == ()
    assert not [f for f in kin3d.tolerance(car, travel=[0.0], samples=0).findings if f.code == "one-side"]
