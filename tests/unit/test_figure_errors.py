"""Figures of the car file with a deviation are sources of error: first order, samples, contributions, what is exact."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from kin3d.errors import RequestError
from kin3d.linkage.car import Car
from kin3d.studies.compare import compare
from kin3d.studies.corner_model import CornerModel
from kin3d.studies.sweep import sweep
from kin3d.studies.tolerance import tolerance
from kin3d.studies.uncertainty import uncertainty_of
from tests.laws.cars import car
from tests.uncertain import with_sigma

TRAVEL = [-25.0, 0.0, 25.0]
# key, axle, side, and measures that it moves; the right side is a mirror image
FIGURES = [
    ("car.wheelbase_mm", "front", "left", ["anti_dive_pct"]),
    ("car.cg_height_mm", "rear", "left", ["anti_lift_pct", "anti_squat_pct"]),
    ("car.front_brake_share", "front", "right", ["anti_dive_pct"]),
    ("car.front_brake_share", "rear", "left", ["anti_lift_pct"]),
    ("front.loaded_radius_mm", "front", "right", ["scrub_radius_mm", "roll_centre_height_mm", "contact_y_mm"]),
    ("front.camber_deg", "front", "left", ["camber_deg", "toe_deg", "roll_centre_height_mm"]),
    ("front.camber_deg", "front", "right", ["camber_deg", "toe_deg", "roll_centre_height_mm"]),
    ("front.toe_deg", "front", "right", ["toe_deg", "camber_deg", "caster_trail_mm"]),
    ("rear.toe_deg", "rear", "left", ["toe_deg", "contact_x_mm"]),
    ("front.spring.rate_n_per_mm", "front", "left", ["wheel_rate_n_per_mm"]),
    ("front.spring.design_force_n", "front", "left", ["wheel_rate_n_per_mm"]),
    ("front.torsion.rate_n_m_per_deg", "front", "left", ["wheel_rate_n_per_mm"]),
    ("front.torsion.design_torque_n_m", "front", "right", ["wheel_rate_n_per_mm"]),
]


def bare() -> Car:
    """A car whose points are exact, with a torsion spring beside its coil springs."""
    found = with_sigma(with_sigma(car("dunlin"), "front", 0.0), "rear", 0.0)
    torsion = {"rate_n_m_per_deg": 20.0, "design_torque_n_m": 150.0}
    return found.with_figures({"front.torsion": torsion, "front.toe_deg": 0.4})


def value_of(one: Car, key: str) -> float:
    head, *path = key.split(".")
    found = one.data if head == "car" else one.axle(head)  # type: ignore[arg-type]
    for name in path:
        found = getattr(found, name)
    return float(found)  # type: ignore[arg-type]


@pytest.mark.parametrize(("key", "axle", "side", "measures"), FIGURES)
def test_a_figure_moves_the_measures_as_cars_with_other_figures_do(key, axle, side, measures):
    """Central difference of two cars with the figure a little lower and higher, swept by themselves."""
    value = value_of(bare(), key)
    sigma, step = 0.02 * max(abs(value), 1.0), 1e-4 * max(abs(value), 1.0)
    found = tolerance(bare().with_figures({key: [value, sigma]}), axle, TRAVEL, measures, samples=0, side=side)
    ends = []
    for sign in (1.0, -1.0):
        swept = sweep(bare().with_figures({key: value + sign * step}), axle, TRAVEL, measures=measures)
        k = ("left", "right").index(side)
        ends.append(np.array([swept.values[m][:, 0, k] for m in measures]))
    expected = (ends[0] - ends[1]) / (2.0 * step) * sigma
    assert len(found.uncertainty.sources) == 1
    assert found.uncertainty.sources[0].name == key.partition(".")[2]
    rows = [found.row(m) for m in measures]
    assert np.abs(expected).max() > 1e-3
    assert_allclose(found.first.slope[rows, 0], expected, rtol=1e-5, atol=1e-7 * np.abs(expected).max() + 1e-9)


def test_the_rate_along_travel_has_its_derivative_too():
    """Anti-dive is inverse to the height of the mass centre, and so is its gradient: d/dh = −value/h."""
    found = tolerance(bare().with_figures({"car.cg_height_mm": [300.0, 6.0]}), "front", [0.0], samples=0)
    k = found.row("anti_dive_pct")
    assert_allclose(found.first.start_slope[k, 0], -found.first.start[k] * 6.0 / 300.0, rtol=1e-12)
    assert_allclose(found.first.rate_slope[k, 0], -found.first.rate[k] * 6.0 / 300.0, rtol=1e-12)
    untouched = [found.row(m) for m in ("camber_deg", "roll_centre_height_mm", "wheel_rate_n_per_mm")]
    assert not found.first.slope[untouched].any()


def test_samples_bend_as_the_measure_does():
    """Value K/h with h of normal distribution: ends of the 95 % band at h ± 1.959964 σ (table of the normal)."""
    doubtful = bare().with_figures({"car.cg_height_mm": [300.0, 30.0]})
    found = tolerance(doubtful, "front", [0.0, 25.0], ["anti_dive_pct"], samples=4000)
    low, high = found.band(0.95)
    moment = found.first.value * 300.0
    assert_allclose(low, moment / (300.0 + 1.959964 * 30.0), rtol=2e-3)
    assert_allclose(high, moment / (300.0 - 1.959964 * 30.0), rtol=2e-3)


def test_samples_of_angles_and_radius_agree_with_first_order():
    figures = {"front.camber_deg": [-2.5, 0.2], "front.toe_deg": [0.1, 0.1], "front.loaded_radius_mm": [262.0, 3.0]}
    names = ["camber_deg", "toe_deg", "scrub_radius_mm", "roll_centre_height_mm"]
    found = tolerance(bare().with_figures(figures), "front", TRAVEL, names, samples=4000, side="right")
    assert found.spread is not None
    assert_allclose(found.spread.sigma, found.first.sigma, rtol=0.03)
    own = [s.name for s in found.uncertainty.sources]
    assert own == ["camber_deg", "toe_deg", "loaded_radius_mm"]
    assert [s.unit for s in found.uncertainty.sources] == ["deg", "deg", "mm"]
    share = found.first.start_share[found.row("camber_deg")]
    assert_allclose(share, [1.0, 0.0, 0.0], rtol=0, atol=1e-12)


def test_points_and_figures_together_and_more_sources_than_they_move():
    """Variances add; a figure's own part does not depend on what else is in doubt."""
    keys = {"car.cg_height_mm": 10.0, "front.loaded_radius_mm": 3.0}
    figures = {key: [value_of(bare(), key), sigma] for key, sigma in keys.items()}
    names = ["anti_dive_pct", "roll_centre_height_mm"]
    points, alone, both = (
        tolerance(one, "front", TRAVEL, names, samples=0).first.sigma
        for one in (
            with_sigma(bare(), "front", 0.5),
            bare().with_figures(figures),
            with_sigma(bare(), "front", 0.5).with_figures(figures),
        )
    )
    assert_allclose(both**2, points**2 + alone**2, rtol=1e-9)


def test_what_is_taken_as_exact_is_named():
    found = tolerance(bare().with_figures({"car.cg_height_mm": [300.0, 10.0]}), "front", [0.0], ["anti_dive_pct"])
    said = next(f.text for f in found.findings if f.code == "taken-as-exact")
    for name in ("upper_front", "camber_deg", "toe_deg", "wheelbase_mm", "front_brake_share", "loaded_radius_mm"):
        assert name in said
    assert "cg_height_mm" not in said
    assert "mass_kg" not in said  # anti-dive does not read it
    with pytest.raises(RequestError, match="neither a point nor a figure has a standard deviation"):
        tolerance(bare(), "front", [0.0])


def test_a_deviation_of_zero_is_exact_and_angles_beside_a_wheel_axis_are_none():
    assert not uncertainty_of(CornerModel.of(bare().with_figures({"car.mass_kg": [450.0, 5.0]}), "front")).known
    assert not uncertainty_of(CornerModel.of(bare().with_figures({"front.camber_deg": [-2.0, 0.0]}), "front")).known


def anti_dive(*figures):
    """Anti-dive of two cars with the same doubtful points and other guesses, as a line of a comparison."""
    cars = [with_sigma(car("dunlin"), "front", 0.03).with_figures(f) for f in figures]
    pair = compare(cars, "front", TRAVEL, ["anti_dive_pct"], samples=1000).pairs[0]
    return pair.difference("anti_dive_pct", "design"), " ".join(pair.cautions)


def test_other_guesses_are_no_difference_when_they_are_given_as_guesses():
    """Mass centre 285 or 315 mm up, 60 or 62 % of the braking in front: firm while the guesses count as measured."""
    guesses = (
        {"car.cg_height_mm": 315.0, "car.front_brake_share": 0.6},
        {"car.cg_height_mm": 285.0, "car.front_brake_share": 0.62},
    )
    firm, said = anti_dive(*guesses)
    assert firm.verdict == "can be said"
    assert "taken as exact in both cars: camber_deg, toe_deg, wheelbase_mm, cg_height_mm, front_brake_share" in said
    sigma = {"car.cg_height_mm": 30.0, "car.front_brake_share": 0.03}
    line, said = anti_dive(*({key: [value, sigma[key]] for key, value in g.items()} for g in guesses))
    assert line.difference == pytest.approx(firm.difference, rel=1e-12)
    assert line.verdict == "cannot be said from these points"
    assert "taken as exact in both cars: camber_deg, toe_deg, wheelbase_mm, loaded_radius_mm." in said


def test_a_difference_that_only_exact_figures_make_is_told_as_that():
    cars = [with_sigma(car("dunlin"), "front", {"rod_inner": [1.0, 1.0, 1.0]})] * 2
    cars[1] = cars[1].with_figures({"car.cg_height_mm": 330.0})
    pair = compare(cars, "front", TRAVEL, ["anti_dive_pct"], samples=0).pairs[0]
    assert pair.difference("anti_dive_pct", "design").verdict == "set by figures taken as exact"
    assert pair.judged == 0


def test_a_difference_below_the_places_shown_is_not_said():
    """0.0001° of camber with next to no doubt is shown as 0.000 ± 0.000."""
    cars = [bare().with_figures({"front.camber_deg": [c, 1e-6]}) for c in (-2.5, -2.5001)]
    line = compare(cars, "front", TRAVEL, ["camber_deg"], samples=0).pairs[0].difference("camber_deg", "design")
    assert abs(line.difference) > line.half_width
    assert (line.verdict, line.judged) == ("smaller than is shown", True)
