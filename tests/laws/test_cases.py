"""Figures of an axle and of the car in studies of doubt: values of sweeps, derivatives of differences, samples."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

import kin3d
from kin3d.errors import RequestError
from kin3d.linkage.record import changed
from kin3d.measures.entry import figure
from kin3d.studies.case import case_of
from kin3d.studies.corner_case import model_of
from kin3d.studies.derived import AskedMeasures
from kin3d.studies.questions import assumed_ranges, questions
from kin3d.studies.sweep import sweep
from tests.laws.cars import car
from tests.laws.test_every_measure import full, rack_of
from tests.uncertain import moved

CASES = {
    "roll front": ("front", {"roll": [-1.5, 1.0, 2.0]}),
    "roll rear": ("rear", {"roll": [1.0], "heave": -8.0}),
    "heave rear": ("rear", {"heave": [-20.0, 0.0, 15.0]}),
    "pitch front": ("front", {"pitch": [-0.5, 0.8], "roll": 1.2}),
}
# of an outer wheel there is a kink at roll 0, and no derivative
KINKED = ("camber_outer_deg", "camber_recovery_pct")


def asked(name: str):
    axle, drives = CASES[name]
    rack = rack_of(axle)
    case = case_of(axle, None, (0.0,), None, **drives, rack=rack)
    model = model_of(case, full())
    there, left_out = model.available(case.measures)
    assert not left_out
    assert len(there) > 50
    return axle, drives, rack, model, there


@pytest.mark.parametrize("name", CASES)
def test_values_are_those_of_a_sweep(name):
    axle, drives, rack, model, there = asked(name)
    found = model.derive(model.design[None], model.case.at, AskedMeasures(there))
    swept = sweep(full(), axle, **drives, rack=rack, measures=[m.name for m in there])
    side = ("left", "right").index(model.corner.side)
    for k, m in enumerate(there):
        assert_allclose(found.value[k], swept.values[m.name][..., side].ravel(), rtol=1e-9, atol=1e-9, err_msg=m.name)


@pytest.mark.parametrize("name", CASES)
def test_derivatives_are_those_of_changed_cars(name):
    """Along the drive, along any change of points of all corners and of figures of the car file, and of both."""
    _, _, _, model, there = asked(name)
    rng = np.random.default_rng(4)
    seeds, at = rng.normal(size=(4, *model.design.shape)), model.case.at
    heads = ("front", "rear") if model.case.whole else ("axle",)
    keys = ["car.cg_height_mm", "car.wheelbase_mm", *(f"{h}.loaded_radius_mm" for h in heads)]
    figures = {k: rng.normal(size=4) for k in keys}
    exact = AskedMeasures(there, rates=True, seeds=seeds, figure_seeds=figures)
    found = model.derive(model.design[None], at, exact)

    def changed(step: float):
        others = {k: float(figure(model.subject, k)) + step * v for k, v in figures.items()}
        return model.derive(model.design + step * seeds, at, AskedMeasures(there, rates=True, figures=others))

    def slope(values, step: float):
        (a, b, c, d) = values
        return (8.0 * (c - b) - (d - a)) / (12.0 * step)

    near = [changed(k * 2e-3) for k in (-2, -1, 1, 2)]
    alone = AskedMeasures(there)
    along = [model.derive(model.design[None], at + k * 2e-3, alone).value for k in (-2, -1, 1, 2)]
    shape = (len(there), 4, len(at))
    expected = {
        "slope": slope([x.value for x in near], 2e-3).reshape(shape),
        "rate_slope": slope([x.rate for x in near], 2e-3).reshape(shape),
        "rate": slope(along, 2e-3),
    }
    for what, values in expected.items():
        got = getattr(found, what)
        for k, m in enumerate(there):
            size = np.abs(values[k]).max() + 1e-3
            assert_allclose(got[k] / size, values[k] / size, rtol=0, atol=2e-5, err_msg=f"{what} {m.name}")


NAMES = ["camber_recovery_pct", "roll_centre_height_mm", "roll_centre_offset_mm", "spring_share_cornering_pct"]


def test_samples_spread_as_first_order_says():
    """Sampled cars are solved one and all, with no derivative: the deviations agree within what so many samples say."""
    found = kin3d.tolerance(car("dunlin"), "front", roll=[-2.0, 1.0], measures=NAMES, samples=3000)
    assert found.spread is not None
    assert_allclose(found.spread.sigma, found.first.sigma, rtol=0.06)


def test_an_error_of_a_table_is_one_error_for_both_sides():
    """A joint that stands 1 mm higher than drawn does so on both sides: what that makes is the difference of sweeps."""
    found = kin3d.tolerance(car("dunlin"), "front", roll=[2.0], measures=NAMES, samples=0)
    source = next(k for k, s in enumerate(found.uncertainty.sources) if str(s) == "lower_rear z")
    sigma = found.uncertainty.sources[source].sigma
    step = 0.01
    ends = [
        sweep(moved(car("dunlin"), "front", {"lower_rear": [0.0, 0.0, s * step]}), "front", roll=2.0, measures=NAMES)
        for s in (-1.0, 1.0)
    ]
    for m in found.measures:
        rise = (ends[1].values[m.name] - ends[0].values[m.name]).ravel()[0] / (2.0 * step)
        assert_allclose(found.first.slope[found.row(m.name), source, 0], sigma * rise, rtol=1e-5, err_msg=m.name)


@pytest.mark.parametrize("axle", ["front", "rear"])
def test_parts_add_up_to_the_difference_of_two_sweeps_on_the_ground(axle):
    drives = {"roll": [-1.0, 2.0]}
    pair = kin3d.compare([car("dunlin"), car("plover")], axle, **drives, measures=[*NAMES, "roll_axis_deg"], samples=0)
    found = pair.pairs[0].attribution
    pitched = {"pitch": 0.0}
    before, after = (sweep(c, axle, **drives, **pitched) for c in (car("dunlin"), car("plover")))
    side = ("left", "right").index(pair.side)
    assert {m.name for m in found.measures} == {*NAMES, "roll_axis_deg"}
    for k, m in enumerate(found.measures):
        change = (after.values[m.name] - before.values[m.name])[..., side].ravel()
        assert_allclose(found.difference[k], change, rtol=1e-9, atol=1e-9, err_msg=m.name)
        assert_allclose(found.parts[k].sum(axis=0), change, rtol=2e-6, atol=1e-8, err_msg=m.name)


def test_a_measure_of_both_wheels_is_put_on_the_ground():
    found = kin3d.compare([car("dunlin"), car("plover")], measures=["spring_share_braking_pct"], samples=0)
    assert found.case.drive.name == "heave"
    values = [sweep(c, "front", heave=0.0).values["spring_share_braking_pct"].ravel()[0] for c in map(car, PAIR)]
    line = found.pairs[0].difference("spring_share_braking_pct", "design")
    assert_allclose([line.a, line.b], values, rtol=1e-12)
    assert "in the design position" in found.tables()[2].title
    assert "heave_mm" in found.dataset().dims


PAIR = ("dunlin", "plover")


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ({"roll": [0.0, 1.0], "heave": [0.0, 1.0]}, "heave and roll have several values each"),
        ({"roll": 1.0, "travel": 5.0}, "give it without heave, roll and pitch"),
        ({"roll": 50.0}, "between −45 and 45"),
        ({"measures": ["anti_squat_pct"]}, '"anti_squat_pct" is a measure of the rear axle; the front axle is asked'),
        ({"measures": ["heave_ratio"]}, "put its name and a dot before it, as in spring.heave_ratio"),
        ({"measures": ["spring_share_breaking_pct"]}, 'did you mean "spring_share_braking_pct"?'),
    ],
)
def test_what_cannot_be_asked_is_told(given, said):
    with pytest.raises(RequestError, match=said.replace("?", r"\?")):
        kin3d.compare([car("dunlin"), car("plover")], "front", samples=0, **given)


# --- settled in a turn, and what unknown figures leave open -----------------------------------------------------------


@pytest.mark.parametrize("axle", ["front", "rear"])
def test_under_a_load_the_axle_stands_as_the_car_has_settled(axle):
    """The outer wheel's camber is that of `settle`; heights and offsets are those of a sweep to the same attitude."""
    names = ["camber_outer_deg", "roll_centre_height_mm", "roll_centre_offset_mm"]
    found = kin3d.compare([car("dunlin"), car("plover")], axle, lateral=1.0, measures=names, samples=0)
    assert found.kinds == ("design", "rate")
    assert "lateral acceleration +1 g" in found.tables()[2].title
    for k, name in enumerate(PAIR):
        stands = kin3d.settle(car(name), lateral=1.0)
        outer = next(w for w in stands.wheels if w.name == f"{axle} right")
        line = found.pairs[0].difference("camber_outer_deg", "design")
        assert_allclose((line.a, line.b)[k], outer.camber_ground_deg, rtol=0, atol=1e-8)
        swept = sweep(car(name), axle, heave=stands.heave_mm, roll=stands.roll_deg, pitch=stands.pitch_deg)
        for m in names[1:]:
            line = found.pairs[0].difference(m, "design")
            assert_allclose((line.a, line.b)[k], swept.values[m].ravel()[0], rtol=1e-7, err_msg=m)
            assert line.sigma > 0.0
    with pytest.raises(RequestError, match="give it without heave, roll"):
        kin3d.compare([car("dunlin"), car("plover")], axle, lateral=1.0, roll=1.0, samples=0)


def test_figures_that_are_not_given_are_assumed_over_a_range_that_is_said():
    """Anti-dive goes with brake share over mass-centre height: by hand from the value with figures that are given."""
    known = car("dunlin")
    assert assumed_ranges(known, "front") == ()
    value = sweep(known, "front", heave=0.0).values["anti_dive_pct"].ravel()[0]
    data = known.data
    bare = changed(known, data=changed(data, front_brake_share=None, cg_height_mm=None))
    told = assumed_ranges(bare, "front")
    low = value * (0.55 / data.front_brake_share) * data.cg_height_mm / (0.16 * data.wheelbase_mm)
    high = value * (0.70 / data.front_brake_share) * data.cg_height_mm / (0.10 * data.wheelbase_mm)
    line = next(t for t in told if "anti_dive_pct" in t)
    assert f"{low:.1f} to {high:.1f} %" in line
    assert "front_brake_share 0.55 to 0.7" in line
    assert "common practice" in line


def test_every_question_has_its_answer_and_what_cannot_be_answered_its_reason():
    found = questions([car("dunlin"), car("plover")], "front")
    assert [a.case.drive.name for a in found.answers] == ["heave", "roll", "lateral", "lateral", "lateral"]
    assert found.notes == ()
    bare = changed(car("dunlin"), data=changed(car("dunlin").data, mass_kg=None))
    found = questions([bare, car("plover")], "front")
    assert len(found.answers) == 2
    assert any("mass_kg" in n and n.startswith("under 0.5, 1 and 1.5 g: ") for n in found.notes)
