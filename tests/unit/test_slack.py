"""A wheel rate beyond the spring's free length is told as what it is."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

import kin3d

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
    assert f"[front.spring]: wheel_rate_n_per_mm: the spring is slack under {at:+.1f} mm of travel" in said[0]
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
