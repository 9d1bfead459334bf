"""Comparison: moves, planes, fitting of cars of different size, verdicts."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose

from kin3d.errors import RequestError
from kin3d.linkage.record import changed
from kin3d.studies.compare import compare
from kin3d.studies.corner_model import CornerModel
from kin3d.studies.fit import fit
from kin3d.studies.groups import groups_of
from kin3d.studies.point_changes import planes_of, point_changes
from kin3d.studies.sweep import sweep
from tests.laws.cars import car
from tests.uncertain import moved, with_axle, with_sigma

TRAVEL = [-30.0, 0.0, 30.0]
CASTER = ["caster_deg"]


def dunlin_with(**points):
    return moved(car("dunlin"), "front", points, "Dunlin, changed")


def test_groups_of_a_double_wishbone():
    side = CornerModel.of(car("dunlin"), "front")
    groups = groups_of(side.model.linkage, side.design)
    assert groups["upper_front"] == "inboard upper"
    assert groups["lower_rear"] == "inboard lower"
    assert groups["tie_inner"] == "steering"
    assert groups["tie_outer"] == groups["lower_outer"] == "outboard"
    assert groups["rod_outer"] == groups["rod_inner"] == "rod"
    assert groups["rocker_axis_1"] == groups["spring_inner"] == groups["spring_outer"] == "rocker"
    assert groups["bar_axis_2"] == groups["bar_link_rocker"] == "bar"
    assert groups["wheel_centre"] == groups["wheel_axis"] == "wheel"
    assert "other" not in groups.values()


def test_moves_in_words_on_either_side():
    other = dunlin_with(lower_front=[0.0, -3.0, 4.0], upper_outer=[-2.0, 0.0, 0.1])
    for side in ("left", "right"):
        found, lone = point_changes(CornerModel.of(car("dunlin"), "front", side), CornerModel.of(other, "front", side))
        by = {m.point: m for m in found}
        assert by["lower_front"].direction == "up, inboard"
        assert by["upper_outer"].direction == "rearward"
        assert by["lower_rear"].direction == "-"
        assert_allclose(by["lower_front"].distance_mm, 5.0, rtol=1e-12)
        assert lone == ()
    assert_allclose(by["lower_front"].sigma_mm, np.sqrt(2) * 0.5, rtol=1e-12)


def test_points_that_only_one_car_has_are_named():
    found, lone = point_changes(CornerModel.of(car("dunlin"), "front"), CornerModel.of(car("siskin"), "front"))
    assert "wheel_centre" in [m.point for m in found]
    assert "lower_outer" in lone
    assert "lower_front_outer" in lone


def test_planes_turned_by_a_known_angle():
    """A lower wishbone in the plane z = z0 + y·tan 3° + x·tan 2°, an upper one that lies flat."""
    slope = np.tan(np.radians([2.0, 3.0]))
    table = car("dunlin").front.points
    at = {
        p: table[p].copy()
        for p in ("lower_front", "lower_rear", "lower_outer", "upper_front", "upper_rear", "upper_outer")
    }
    for p, xyz in at.items():
        height = 150.0 + slope @ xyz[:2] if p.startswith("lower") else 300.0
        at[p] = [0.0, 0.0, height - xyz[2]]
    for side in ("left", "right"):
        planes = planes_of(CornerModel.of(moved(car("dunlin"), "front", at), "front", side))
        lower, upper = planes.planes
        assert lower.body == "lower arm"
        assert_allclose([lower.front_deg, lower.side_deg], [3.0, 2.0], rtol=1e-9)
        assert_allclose([upper.front_deg, upper.side_deg], 0.0, rtol=0, atol=1e-9)
        assert_allclose(planes.mutual_deg, np.degrees(np.arctan(np.hypot(*slope))), rtol=1e-9)
    assert planes_of(CornerModel.of(car("siskin"), "front")).planes == ()


def test_a_car_scaled_up_and_fitted_back_is_the_same_car():
    """Everything 1.2 times as large: with the track scaled back no measure differs, without it lengths do."""
    axle = car("dunlin").front
    big = with_axle(
        car("dunlin"),
        "front",
        points=replace(axle.points, xyz_mm=1.2 * axle.points.xyz_mm + [50.0, 0.0, 20.0]),
        loaded_radius_mm=1.2 * axle.loaded_radius_mm,
        spring=None,
    )
    big = changed(big, data=changed(big.data, cg_height_mm=1.2 * 285, wheelbase_mm=1.2 * 2380), title="Big")
    plain = with_axle(car("dunlin"), "front", spring=None)
    fitted = fit(big, "front", plain, "track", align=True)
    assert_allclose(fitted.factor, 1 / 1.2, rtol=1e-12)
    assert "multiplied by 0.83333" in fitted.sentences[0]
    assert "wheel centre stands on that of Dunlin" in fitted.sentences[1]
    sweeps = [sweep(c, "front", TRAVEL) for c in (plain, fitted.car)]
    for m in sweeps[0].measures:
        assert_allclose(*(s.values[m.name][..., 0] for s in sweeps), rtol=1e-8, atol=1e-7, err_msg=m.name)
    assert_allclose(fit(big, "front", plain, "wheelbase").factor, 1 / 1.2, rtol=1e-12)
    unfitted = compare([plain, big], "front", TRAVEL, ["scrub_radius_mm", "caster_deg"], samples=0).pairs[0]
    assert_allclose(
        unfitted.difference("scrub_radius_mm", "design").difference,
        0.2 * unfitted.difference("scrub_radius_mm", "design").a,
    )
    assert unfitted.difference("caster_deg", "design").same


def test_aligning_moves_no_measure_but_places():
    result = compare([car("dunlin"), car("plover")], "rear", TRAVEL, samples=0, align=True)
    plain = compare([car("dunlin"), car("plover")], "rear", TRAVEL, samples=0)
    for x, y in zip(result.pairs[0].differences, plain.pairs[0].differences, strict=True):
        if not x.measure.name.startswith(("wheel_", "contact_", "isa_p", "side_ic", "front_ic")):
            assert_allclose(x.b, y.b, rtol=1e-8, atol=1e-9, err_msg=x.measure.name)
    shift = next(m for m in result.pairs[0].moves if m.point == "wheel_centre").change
    assert_allclose(shift[[0, 2]], 0.0, rtol=0, atol=1e-9)
    assert abs(shift[1]) == pytest.approx(2.0)


def caster_line(step_mm, sigma_mm, samples=4000, threshold=0.95):
    """Caster of a car against one whose upper ball joint stands `step_mm` farther back; only that joint is in doubt."""
    sigma = {"upper_outer": [sigma_mm, 0.0, 0.0]}
    cars = [with_sigma(c, "front", sigma) for c in (car("dunlin"), dunlin_with(upper_outer=[-step_mm, 0.0, 0.0]))]
    pair = compare(cars, "front", TRAVEL, CASTER, samples=samples, threshold=threshold).pairs[0]
    return pair.difference("caster_deg", "design")


@pytest.mark.parametrize("samples", [0, 4000])
@pytest.mark.parametrize(("step", "expected"), [(2.0, 0.1572), (2.5, 0.0770), (3.0, 0.0340), (0.3, 0.8320)])
def test_how_often_doubt_alone_would_give_as_much(samples, step, expected):
    """Difference 2 with deviation √2: 2·(1 − Φ(√2)) = 0.1572; 2.5: 0.0770; 3: 0.0340; 0.3: 0.8320 (tables of Φ)."""
    line = caster_line(step, 1.0, samples)
    assert line.difference > 0.0
    assert_allclose(line.chance, expected, rtol=0, atol=0.02 if samples else 0.002)
    assert line.verdict == ("can be said" if expected < 0.05 else "cannot be said from these points")
    assert_allclose(line.half_width, 1.959964 * line.sigma, rtol=0.05 if samples else 1e-6)
    assert (line.difference > line.half_width) == (line.chance <= 0.05)


def test_the_threshold_decides():
    assert caster_line(2.5, 1.0, 0, threshold=0.9).verdict == "can be said"
    assert caster_line(2.5, 1.0, 0, threshold=0.95).verdict == "cannot be said from these points"
    assert caster_line(3.0, 1.0, 0, threshold=0.99).verdict == "cannot be said from these points"


def test_deviations_of_difference_add_in_squares():
    one, two = caster_line(2.0, 1.0, 0), caster_line(2.0, 3.0, 0)
    assert_allclose(one.sigma, np.hypot(one.sigma_a, one.sigma_b), rtol=1e-12)
    assert_allclose(two.sigma, 3 * one.sigma, rtol=1e-9)


def test_without_deviations_nothing_is_judged():
    cars = [with_sigma(c, "front", 0.0) for c in (car("dunlin"), dunlin_with(upper_outer=[-2.0, 0.0, 0.0]))]
    pair = compare(cars, "front", TRAVEL, CASTER).pairs[0]
    line = pair.difference("caster_deg", "design")
    assert line.verdict == "not judged: no deviations"
    assert np.isnan(line.sigma)
    assert "Neither car's points carry deviations" in pair.cautions[0]
    one = compare([car("dunlin"), cars[1]], "front", TRAVEL, CASTER).pairs[0]
    assert "Dunlin, changed carry no deviation" in one.cautions[0]
    assert one.difference("caster_deg", "design").sigma == pytest.approx(one.difference("caster_deg", "design").sigma_a)


def test_the_same_car_twice_has_no_difference():
    pair = compare([car("dunlin"), car("dunlin")], "front", TRAVEL, samples=200).pairs[0]
    assert {x.verdict for x in pair.differences} == {"no difference"}
    assert not pair.attribution.causes


def test_rate_and_range_are_those_of_the_sweep():
    pair = compare([car("dunlin"), car("plover")], "front", TRAVEL, ["camber_deg"], samples=0).pairs[0]
    swept = sweep(car("plover"), "front", [-1e-2, 1e-2, *TRAVEL], measures=["camber_deg"]).values[
        "camber_deg"
    ][:, 0, 0]
    assert_allclose(pair.difference("camber_deg", "rate").b, (swept[1] - swept[0]) / 2e-2, rtol=1e-6)
    assert_allclose(pair.difference("camber_deg", "range").b, swept[2:].max() - swept[2:].min(), rtol=1e-12)
    assert pair.difference("camber_deg", "rate").unit == "deg/mm"


def test_swapped_cars_change_signs_of_lines():
    there = compare([car("dunlin"), car("plover")], "front", TRAVEL, samples=0, side="left").pairs[0]
    back = compare([car("plover"), car("dunlin")], "front", TRAVEL, samples=0, side="left").pairs[0]
    for x, y in zip(there.differences, back.differences, strict=True):
        assert_allclose(x.difference, -y.difference, rtol=1e-7, atol=1e-9)
        assert_allclose(x.sigma, y.sigma, rtol=1e-7, atol=1e-9)


def test_three_cars_each_against_the_first():
    result = compare(
        [car("dunlin"), car("plover"), dunlin_with(tie_outer=[0, 0, 3])], "front", TRAVEL, CASTER, samples=0
    )
    assert [(p.a.label, p.b.label) for p in result.pairs] == [("A", "B"), ("A", "C")]
    assert [str(c) for c in result.pairs[1].attribution.causes] == ["tie_outer z"]


def test_travel_that_not_all_cars_reach_is_left_out_and_said():
    result = compare(
        [car("dunlin"), car("siskin")], "front", [-30.0, 0.0, 30.0, 600.0], ["camber_deg"], samples=0
    )
    assert list(result.case.at) == TRAVEL
    assert "+600 mm is not reached by all cars" in result.findings[0].text
    with pytest.raises(RequestError, match="none of it is reached"):
        compare([car("dunlin"), car("siskin")], "front", [600.0], ["camber_deg"], samples=0)


def test_measures_that_one_car_lacks_say_why():
    bare = with_axle(car("dunlin"), "front", loaded_radius_mm=None)
    pair = compare(
        [car("dunlin"), bare], "front", TRAVEL, ["scrub_radius_mm", "caster_deg"], samples=0
    ).pairs[0]
    assert pair.not_compared == {"scrub_radius_mm": "[front] loaded_radius_mm is not given"}
    assert {x.measure.name for x in pair.differences} == {"caster_deg"}


def test_what_cannot_be_compared_is_refused():
    with pytest.raises(RequestError) as caught:
        compare([car("dunlin")], "front", TRAVEL, threshold=95)
    assert [f.code for f in caught.value.findings] == ["cars-few", "threshold"]
    with pytest.raises(RequestError, match=r"no \[rear\] axle"):
        compare([car("dunlin"), car("siskin")], "rear", TRAVEL)
    short = changed(car("plover"), data=changed(car("plover").data, wheelbase_mm=None))
    with pytest.raises(RequestError, match="scaled to the same wheelbase"):
        compare([car("dunlin"), short], "front", TRAVEL, scale="wheelbase")
