"""Sources of error: their identities, what two cars have in common, ranges, and cars that are scaled."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal

from kin3d.studies import compared_samples
from kin3d.studies.compare import compare
from kin3d.studies.corner_model import CornerModel
from kin3d.studies.monte_carlo import draw, draw_normals
from kin3d.studies.significance import Figures, differences
from kin3d.studies.sweep import chosen_measures, sweep
from kin3d.studies.tolerance import tolerance
from kin3d.studies.uncertainty import ErrorSource, Uncertainty, doubt_of, uncertainty_of
from tests.laws.cars import car
from tests.uncertain import moved, with_axle, with_sigma

TRAVEL = [-30.0, 0.0, 30.0]
MEASURES = ["camber_deg", "roll_centre_height_mm", "motion_ratio"]


def test_every_error_of_a_corner_has_an_identity_of_its_own():
    corner = CornerModel.of(car("dunlin"), "front")
    ours, theirs = (uncertainty_of(corner, 1.0, owner) for owner in ("A", "B"))
    assert len(set(ours.identities)) == len(ours.sources) > 50
    assert not set(ours.identities) & set(theirs.identities)
    assert ours.identities == uncertainty_of(corner, 1.0, "A").identities


def test_sources_of_one_identity_in_one_car_are_refused():
    source = ErrorSource("tape", "tape", "", 1.0, np.zeros((1, 3)))
    with pytest.raises(ValueError, match="belong together"):
        Uncertainty((source, replace(source, name="again")), ("wheel_centre",), None, ())


def test_an_error_of_two_cars_is_drawn_once():
    """The other numbers are what they would be without it."""
    drawn = {}
    first = draw_normals(("tape", "own a"), 50, 1, drawn)
    second = draw_normals(("own b", "tape"), 50, 2, drawn)
    alone = draw_normals(("own b", "tape"), 50, 2)
    assert_array_equal(second[:, 1], first[:, 0])
    assert_array_equal(second[:, 0], alone[:, 0])
    assert abs(np.corrcoef(alone[:, 1], first[:, 0])[0, 1]) < 0.5


def test_effects_of_an_error_of_two_cars_are_subtracted_before_they_are_squared():
    """A: 1 of its own, 2 of the tape. B: 3 of the tape, 2 of its own. 1² + 2² + (3 − 2)² = 6."""
    nothing = np.zeros(1)
    a = Figures(nothing, np.array([5.0**0.5]), np.array([[1.0, 2.0]]), ("own a", "tape"), None)
    b = Figures(nothing, np.array([13.0**0.5]), np.array([[3.0, 2.0]]), ("tape", "own b"), None)
    measures = chosen_measures("front", ["camber_deg"])
    assert_allclose(differences(measures, "design", a, b, 0.95)[0].sigma, 6.0**0.5, rtol=1e-14)
    apart = replace(b, identities=("another tape", "own b"))
    assert_allclose(differences(measures, "design", a, apart, 0.95)[0].sigma, 18.0**0.5, rtol=1e-14)


@pytest.mark.parametrize("samples", [0, 400])
def test_what_both_cars_have_wrong_alike_drops_out(samples, monkeypatch):
    """Two cars of the same shape, one set 1.5 mm farther forward, with all errors in common: places differ exactly."""
    ahead = moved(car("siskin"), "front", {p: [1.5, 0.0, 0.0] for p in car("siskin").front.points.names}, "Ahead")
    cars = [with_sigma(c, "front", 0.5) for c in (car("siskin"), ahead)]

    def line():
        pair = compare(cars, "front", TRAVEL, ["contact_x_mm"], samples=samples).pairs[0]
        return pair.difference("contact_x_mm", "design"), pair.cautions

    apart, said = line()
    assert_allclose(apart.sigma, 2.0**0.5 * apart.sigma_a, rtol=1e-9)
    assert "independent" in " ".join(said)
    assert not apart.exact
    monkeypatch.setattr(compared_samples, "doubt_of", lambda model, sigma, _owner: doubt_of(model, sigma))
    together, said = line()
    assert_allclose(together.sigma, 0.0, rtol=0, atol=1e-9)
    assert_allclose(together.sigma_b, apart.sigma_b, rtol=1e-12)
    assert "are the same in both cars" in " ".join(said)
    assert together.exact


def test_the_deviation_of_a_range():
    """Each coordinate in doubt is moved a little in a car of its own, and the ranges of those cars are differenced."""
    sigma = {"upper_outer": np.array([0.3, 0.2, 0.4]), "lower_rear": np.array([0.0, 0.3, 0.5])}
    doubtful = with_sigma(car("dunlin"), "front", sigma)
    pair = compare([doubtful, car("plover")], "front", TRAVEL, MEASURES, samples=0).pairs[0]
    found = [pair.difference(m, "range").sigma_a for m in MEASURES]
    square = np.zeros(len(MEASURES))
    step = 1e-2
    for point, own in sigma.items():
        for k in np.flatnonzero(own):
            ranges = []
            for sign in (1.0, -1.0):
                change = {point: sign * step * own[k] * np.eye(3)[k]}
                swept = sweep(moved(car("dunlin"), "front", change), "front", TRAVEL, measures=MEASURES)
                ranges.append([np.ptp(swept.values[m][:, 0, 0]) for m in MEASURES])
            square += ((np.array(ranges[0]) - np.array(ranges[1])) / (2.0 * step)) ** 2
    assert_allclose(found, np.sqrt(square), rtol=1e-5)


@pytest.mark.parametrize("option", [False, True])
def test_deviations_are_scaled_with_a_scaled_car(option):
    """Points and deviations times f: angles keep their deviations, lengths have f times as much."""
    axle = car("dunlin").front
    points = replace(axle.points, xyz_mm=1.25 * axle.points.xyz_mm)
    big = with_axle(car("dunlin"), "front", points=points, loaded_radius_mm=1.25 * axle.loaded_radius_mm)
    big = with_sigma(big, "front", 0.0 if option else 0.8)
    given = 0.8 if option else None
    names = ["caster_deg", "scrub_radius_mm", "roll_centre_height_mm"]
    plain = tolerance(big, "front", [0.0], names, sigma=given, samples=0)
    pair = compare([car("dunlin"), big], "front", [0.0], names, sigma=given, samples=0, scale="track").pairs[0]
    for name, factor in zip(names, (1.0, 0.8, 0.8), strict=True):
        sigma = float(plain.first.sigma[plain.row(name), 0])
        assert_allclose(pair.difference(name, "design").sigma_b, factor * sigma, rtol=1e-9, err_msg=name)


def test_cars_with_the_same_errors_are_sampled_alike(monkeypatch):
    """The same car twice: with all errors in common every sample is the same car twice, without it none is."""
    taken = []

    def watched(*given):
        taken.append(draw(*given))
        return taken[-1]

    monkeypatch.setattr(compared_samples, "draw", watched)
    compare([car("siskin"), car("siskin")], "front", [20.0], ["camber_deg"], samples=100)
    assert not np.isclose(taken[0].value, taken[1].value, rtol=0, atol=1e-6).all()
    monkeypatch.setattr(compared_samples, "doubt_of", lambda model, sigma, _owner: doubt_of(model, sigma))
    compare([car("siskin"), car("siskin")], "front", [20.0], ["camber_deg"], samples=100)
    assert_array_equal(taken[2].value, taken[3].value)
