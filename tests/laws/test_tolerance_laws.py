"""First order against samples, variances that add up, shared errors, samples that fail, and seeds."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal

from kin3d.errors import RequestError
from kin3d.linkage.keys import SharedError
from kin3d.spatial.distributions import quantiles
from kin3d.studies import monte_carlo
from kin3d.studies.monte_carlo import LEVELS
from kin3d.studies.tolerance import tolerance
from kin3d.studies.uncertainty import half_width
from tests.laws.cars import CORNERS, car
from tests.uncertain import with_axle, with_sigma

TRAVEL = [-30.0, 0.0, 30.0]


@pytest.mark.parametrize(("name", "axle"), CORNERS, ids=lambda v: str(v))
def test_first_order_and_samples_agree_for_small_doubt(name, axle):
    """A deviation of 4000 samples is sure to 1/√8000 = 1.1 %; 5 % is more than four times that."""
    found = tolerance(with_sigma(car(name), axle, 0.02), axle, TRAVEL, samples=4000)
    sigma = found.first.sigma
    real = sigma > 1e-9 * (1.0 + np.abs(found.first.value))
    assert real.sum() > 0.7 * real.size
    # a screw axis or instant centre that runs off to infinity bends within any doubt; an unsigned angle has a kink
    wild = ("isa_", "side_ic", "front_ic", "rod_end")
    tame = np.array([not m.name.startswith(wild) for m in found.measures])[:, None] & real
    assert_allclose(found.spread.sigma[tame] / sigma[tame], 1.0, rtol=0, atol=0.05)
    assert_allclose(found.spread.mean[tame], found.first.value[tame], rtol=0, atol=5 * sigma[tame].max() / 63)
    low, high = found.band(LEVELS[1])
    assert_allclose((high - low)[tame] / (2 * half_width(LEVELS[1]) * sigma[tame]), 1.0, rtol=0, atol=0.08)
    assert not found.spread.failed.any()


@pytest.mark.parametrize(("name", "axle"), CORNERS, ids=lambda v: str(v))
def test_contributions_add_up(name, axle):
    """The variance with all sources is the sum of the variances with the sources of one point at a time."""
    every = tolerance(car(name), axle, TRAVEL, samples=0)
    points = {s.name: s.sigma for s in every.uncertainty.sources}
    total = np.zeros_like(every.first.sigma)
    for point in points:
        own = {a.axis: a.sigma for a in every.uncertainty.sources if a.name == point}
        sigma = {point: [own.get(axis, 0.0) for axis in "xyz"]}
        total += tolerance(with_sigma(car(name), axle, sigma), axle, TRAVEL, samples=0).first.sigma ** 2
    assert_allclose(total, every.first.sigma**2, rtol=1e-9, atol=1e-18)
    share = every.first.share.sum(axis=1)
    real = share > 0.5
    assert_allclose(share[real], 1.0, rtol=1e-12)
    assert_array_equal(share[~real], 0.0)


def test_a_known_deviation():
    """Caster of a double wishbone is atan2(Δx, Δz) of two points: its deviation can be written down."""
    table = car("dunlin").front.points
    k = table["upper_outer"] - table["lower_outer"]
    sigma = {"lower_outer": [0.3, 0.0, 0.4], "upper_outer": [0.5, 0.0, 0.6]}
    square = k[0] ** 2 + k[2] ** 2
    by_x, by_z = k[2] / square, k[0] / square
    expected = np.degrees(np.sqrt(by_x**2 * (0.3**2 + 0.5**2) + by_z**2 * (0.4**2 + 0.6**2)))
    found = tolerance(with_sigma(car("dunlin"), "front", sigma), "front", [0.0], ["caster_deg"], samples=0)
    assert_allclose(found.first.sigma[0, 0], expected, rtol=1e-12)
    assert_allclose(found.first.start_share.sum(), 1.0, rtol=1e-12)


def test_all_points_shifted_together_change_no_angle():
    whole = SharedError(name="view", sigma_mm=(3.0, 0.0, 3.0))
    found = tolerance(with_sigma(car("dunlin"), "front", 0.0, whole), "front", TRAVEL, samples=500)
    for name, expected in (
        ("camber_deg", 0.0),
        ("roll_centre_height_mm", 0.0),
        ("wheel_x_mm", 3.0),
        ("isa_pz_mm", 3.0),
    ):
        k = found.row(name)
        assert_allclose(found.first.sigma[k], expected, rtol=0, atol=1e-7)
        assert_allclose(found.spread.sigma[k], expected, rtol=0.08, atol=1e-7)
    assert [str(s) for s in found.uncertainty.sources] == ["view x", "view z"]


def test_shared_and_own_errors_add_in_squares():
    points = ("lower_outer", "upper_outer")
    own = {p: [0.4, 0.4, 0.4] for p in points}
    shared = SharedError(name="side view", points=points, sigma_mm=(0.7, 0.0, 0.2))
    measures = ["caster_trail_mm", "camber_deg", "toe_deg"]
    one, two, both = (
        tolerance(with_sigma(car("dunlin"), "front", *what), "front", TRAVEL, measures, samples=0).first.sigma
        for what in ((own,), (0.0, shared), (own, shared))
    )
    assert_allclose(both**2, one**2 + two**2, rtol=1e-12, atol=1e-24)


def test_a_shared_error_is_not_an_own_error_of_each():
    """Both ball joints shifted alike leave caster alone; shifted each by itself they do not."""
    points = ("lower_outer", "upper_outer")
    shared = SharedError(name="side view", points=points, sigma_mm=(1.0, 0.0, 0.0))
    together = tolerance(
        with_sigma(car("dunlin"), "front", 0.0, shared), "front", [0.0], ["caster_deg"], samples=0
    )
    apart = with_sigma(car("dunlin"), "front", {p: [1.0, 0.0, 0.0] for p in points})
    alone = tolerance(apart, "front", [0.0], ["caster_deg"], samples=0)
    assert together.first.sigma[0, 0] < 1e-12
    assert alone.first.sigma[0, 0] > 0.3


def test_a_made_up_wheel_axis_goes_along_with_the_wheel_centre():
    found = tolerance(
        with_sigma(car("dunlin"), "front", {"wheel_centre": 2.0}),
        "front",
        TRAVEL,
        ["camber_deg"],
        samples=300,
    )
    assert_allclose(found.first.sigma[0, 1], 0.0, rtol=0, atol=1e-12)
    assert_allclose(found.spread.sigma[0, 1], 0.0, rtol=0, atol=1e-9)


def test_sigma_of_the_option_fills_what_the_file_leaves_open():
    bare = with_sigma(car("dunlin"), "front", {"lower_outer": [1.0, 1.0, 1.0]})
    found = tolerance(bare, "front", [0.0], ["camber_deg"], sigma=2.5, samples=0)
    sigma = {s.name: s.sigma for s in found.uncertainty.sources}
    assert sigma.pop("lower_outer") == 1.0
    assert set(sigma.values()) == {2.5}
    assert not found.uncertainty.exact
    exact = tolerance(bare, "front", [0.0], ["camber_deg"], samples=0)
    assert "upper_outer" in exact.uncertainty.exact
    assert any("taken as exact" in f.text for f in exact.findings)


def test_sigma_of_the_option_leaves_a_wheel_axis_alone():
    """The point stands for a direction: how far it is off says nothing of how well camber and toe are known."""
    table = car("dunlin").front.points
    axis = table["wheel_centre"] + np.array([0.0, 100.0, -3.0])
    with_axis = replace(
        table,
        names=(*table.names, "wheel_axis"),
        xyz_mm=np.vstack([table.xyz_mm, axis]),
        sigma_mm=np.zeros((len(table.names) + 1, 3)),
        places=(*table.places, "made"),
        notes=(*table.notes, ""),
    )
    given = with_axle(car("dunlin"), "front", points=with_axis)
    found = tolerance(given, "front", [0.0], ["camber_deg"], sigma=2.5, samples=0)
    assert {s.name for s in found.uncertainty.sources} == set(table.names)
    assert found.uncertainty.exact == ("wheel_axis",)


def test_samples_that_cannot_be_assembled_are_counted():
    found = tolerance(
        with_sigma(car("dunlin"), "front", 25.0), "front", [0.0, 60.0], ["camber_deg"], samples=1000
    )
    failed = found.spread.failed
    assert failed[0] == 0
    assert 10 < failed[1] < 990
    said = next(f for f in found.findings if f.code == "samples-failed")
    assert f"{failed[1]} of 1000 sampled cars" in said.text
    assert np.isfinite(found.spread.sigma).all()


def test_seeds_and_processes_do_not_change_what_is_drawn(monkeypatch):
    monkeypatch.setattr(monte_carlo, "WORTH_PROCESSES", 1)
    monkeypatch.setattr(monte_carlo, "PIECE_LANES", 500)
    draw = [
        tolerance(car("siskin"), "front", [-20.0, 20.0], ["toe_deg"], samples=600, seed=s, workers=w)
        for s, w in ((5, 1), (5, 2), (6, 1))
    ]
    assert_array_equal(draw[0].spread.sigma, draw[1].spread.sigma)
    assert_array_equal(draw[0].spread.high[0.95], draw[1].spread.high[0.95])
    assert (draw[0].spread.sigma != draw[2].spread.sigma).all()


def test_quantiles_leave_out_what_is_not_there():
    rng = np.random.default_rng(3)
    values = rng.normal(size=(4, 500))
    values[1, :100] = np.nan
    values[2] = np.nan
    parts = [0.025, 0.5, 0.84]
    expected = np.stack([np.nanquantile(v, parts) for v in (values[0], values[1])])
    got = quantiles(values, parts)
    assert_allclose(got[:, :2].T, expected, rtol=1e-12)
    assert np.isnan(got[:, 2]).all()


def test_what_cannot_be_carried_is_refused():
    bare = with_axle(with_sigma(car("dunlin"), "front", 0.0), "front", shared_error=())
    with pytest.raises(RequestError) as caught:
        tolerance(bare, "front", [0.0], samples=50)
    assert [f.code for f in caught.value.findings] == ["sigma-missing", "samples-few"]
    with pytest.raises(RequestError, match="standard deviation of 0 or more"):
        tolerance(car("dunlin"), "front", [0.0], sigma=-1.0)


def test_the_mirrored_side_has_the_same_doubt():
    shared = SharedError(name="front view", points=("lower_outer", "upper_outer"), sigma_mm=(0.0, 0.8, 0.5))
    doubtful = with_sigma(car("dunlin"), "front", 0.5, shared)
    names = ["camber_deg", "toe_deg", "scrub_radius_mm", "roll_centre_height_mm", "motion_ratio"]
    left, right = (
        tolerance(doubtful, "front", TRAVEL, names, samples=400, side=s) for s in ("left", "right")
    )
    assert_allclose(right.first.sigma, left.first.sigma, rtol=1e-9, atol=1e-12)
    assert_allclose(right.spread.high[0.95], left.spread.high[0.95], rtol=1e-9, atol=1e-9)


def test_the_labelled_result_says_the_same():
    found = tolerance(car("siskin"), "front", TRAVEL, ["toe_deg", "camber_deg"], samples=200)
    data = found.dataset()
    here = data.sel(measure="camber_deg", travel_mm=30.0)
    k = found.row("camber_deg")
    assert float(here.sigma_first_order) == found.first.sigma[k, 2]
    assert float(here.band.sel(end="high", level=0.95)) == found.spread.high[0.95][k, 2]
    assert_allclose(float(here.share.sum()), 1.0, rtol=1e-12)
    assert str(data.unit.sel(measure="toe_deg").values) == "deg"
    bare = tolerance(car("siskin"), "front", TRAVEL, ["toe_deg"], samples=0).dataset()
    assert "sigma_samples" not in bare
