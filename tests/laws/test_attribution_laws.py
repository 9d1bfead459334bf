"""Attribution: parts add up, the order does not matter, and the points that moved are found."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose

from kin3d.linkage.car import Car
from kin3d.linkage.part_keys import RodPart
from kin3d.linkage.record import changed
from kin3d.studies import attribution
from kin3d.studies.attribution import ANGLES, FIGURES, Attribution, attribute
from kin3d.studies.case import case_of
from kin3d.studies.fit import common_cases
from kin3d.studies.sweep import chosen_measures, sweep
from tests.laws.cars import car
from tests.uncertain import moved, with_axle

TRAVEL = np.array([-30.0, 0.0, 30.0])
# an unsigned angle that passes through 0 on the way has a kink that no nodes smooth; the remainder tells it
KINKED = ("rod_end_inner_deg", "rod_end_outer_deg")


def run(a: Car, b: Car, axle="front", names=None) -> Attribution:
    side = (a.front if axle == "front" else a.rear).side
    case = case_of(axle, TRAVEL, (), None, side)
    measures = [m for m in chosen_measures(axle, names) if not m.silent]  # of joined axles, of shafts
    return attribute(common_cases(a, b, case), measures, TRAVEL)


def siskin_moved() -> Car:
    rng = np.random.default_rng(8)
    table = car("siskin").front.points
    return moved(car("siskin"), "front", {p: rng.uniform(-6, 6, 3) for p in table.names}, "Siskin, moved")


PAIRS = {
    "upright alone": (car("dunlin"), car("plover"), "front"),
    "whole linkage": (car("dunlin"), car("plover"), "rear"),
    "five links": (car("siskin"), siskin_moved(), "front"),
}


@pytest.mark.parametrize("pair", PAIRS)
def test_parts_add_up_to_the_difference_of_two_sweeps(pair):
    a, b, axle = PAIRS[pair]
    found = run(a, b, axle)
    side = ("left", "right").index((a.front if axle == "front" else a.rear).side)
    sweeps = [sweep(c, axle, TRAVEL) for c in (a, b)]
    assert len(found.measures) > 20
    for k, m in enumerate(found.measures):
        if m.name in KINKED:
            continue
        before, after = (s.values[m.name][:, 0, side] for s in sweeps)
        size = 1e-6 * np.abs(after - before) + 1e-9 * (1.0 + np.abs(before))
        assert (np.abs(found.parts[k].sum(axis=0) - (after - before)) <= size).all(), m.name
        assert abs(found.start_parts[k].sum() - (after - before)[1]) <= size[1], m.name
        size = 1e-6 * abs(found.rate_difference[k]) + 1e-10
        assert abs(found.rate_remainder[k]) <= size, m.name


@pytest.mark.parametrize("pair", PAIRS)
def test_swapping_the_cars_changes_signs_alone(pair):
    a, b, axle = PAIRS[pair]
    case = case_of(axle, TRAVEL, (), None, (a.front if axle == "front" else a.rear).side)
    there, back = run(a, b, axle), attribute(common_cases(b, a, case), chosen_measures(axle, None), TRAVEL)
    assert [m.name for m in there.measures] == [m.name for m in back.measures]
    rows = {str(c): k for k, c in enumerate(back.causes)}
    order = [rows[str(c)] for c in there.causes]
    for mine, other in ((there.parts, back.parts), (there.rate_parts, back.rate_parts)):
        size = np.abs(mine).max(axis=tuple(range(1, mine.ndim)), keepdims=True)
        assert_allclose((mine + other[:, order]) / (size + 1e-9), 0.0, rtol=0, atol=1e-6)


def test_inboard_points_raised_are_found():
    """Every inboard point of Dunlin raised, nothing else: all of every difference is theirs."""
    raised = {
        p: [0.0, 0.0, z]
        for p, z in (("lower_front", 9), ("lower_rear", 12), ("upper_front", 7), ("upper_rear", 4))
    }
    names = [
        "camber_deg",
        "toe_deg",
        "roll_centre_height_mm",
        "anti_dive_pct",
        "motion_ratio",
        "wheel_rate_n_per_mm",
    ]
    found = run(car("dunlin"), moved(car("dunlin"), "front", raised), names=names)
    for parts, difference in (
        (found.start_parts, found.start_difference),
        (found.parts[..., 2], found.difference[:, 2]),
    ):
        groups = found.grouped(parts)
        inboard = groups["inboard upper"] + groups["inboard lower"]
        real = np.abs(difference) > 1e-9
        assert real.sum() >= 4
        assert (np.abs(inboard[real] / difference[real] - 1.0) < 0.01).all()
    assert {c.name for c in found.causes} == set(raised)


def test_raised_inboard_points_of_the_other_demo_car_are_found():
    """Dunlin with the heights of Plover's inboard points and a little scatter elsewhere: 99 % and more is theirs."""
    ours, theirs = (car(n).front.points for n in ("dunlin", "plover"))
    rng = np.random.default_rng(4)
    inboard = ("lower_front", "lower_rear", "upper_front", "upper_rear")
    change = {p: [0.0, 0.0, theirs[p][2] - ours[p][2]] for p in inboard}
    change |= {p: rng.normal(0.0, 0.02, 3) for p in ("rod_outer", "spring_outer", "tie_inner")}
    found = run(
        car("dunlin"), moved(car("dunlin"), "front", change), names=["roll_centre_height_mm", "anti_dive_pct"]
    )
    groups = found.grouped(found.start_parts)
    share = (groups["inboard upper"] + groups["inboard lower"]) / found.start_difference
    assert_allclose(share, 1.0, rtol=0, atol=0.01)


def test_one_coordinate_is_the_whole_cause():
    found = run(car("dunlin"), moved(car("dunlin"), "front", {"tie_outer": [0.0, 0.0, 6.0]}))
    assert [str(c) for c in found.causes] == ["tie_outer z"]
    assert found.causes[0].group == "outboard"
    assert found.causes[0].change_mm == 6.0
    assert_allclose(found.parts[:, 0], found.difference, rtol=1e-6, atol=1e-8)


def test_small_moves_are_gradient_times_change():
    """Over a short way the mean gradient is the gradient: compare with the sensitivity at the start."""
    from kin3d.studies.sensitivity import sensitivity

    step = 1e-4
    found = run(
        car("dunlin"),
        moved(car("dunlin"), "front", {"upper_rear": [step, -step, step]}),
        names=["camber_deg", "anti_dive_pct"],
    )
    start = sensitivity(car("dunlin"), "front", ["camber_deg", "anti_dive_pct"])
    slope = start.slope[:, start.points.index("upper_rear")]
    assert_allclose(found.start_parts[1], slope[1] * [step, -step, step], rtol=1e-4, atol=1e-12)


def test_figures_of_the_car_file_are_a_cause_of_their_own():
    """Half the height of the mass centre doubles anti-dive and moves nothing else."""
    other = changed(car("dunlin"), data=changed(car("dunlin").data, cg_height_mm=285 / 2))
    found = run(car("dunlin"), other)
    assert [str(c) for c in found.causes] == [FIGURES]
    k = [m.name for m in found.measures].index("anti_dive_pct")
    swept = sweep(car("dunlin"), "front", TRAVEL).values["anti_dive_pct"][:, 0, 0]
    assert_allclose(found.parts[k, 0], swept, rtol=1e-12)
    assert_allclose(np.delete(found.parts[:, 0], k, axis=0), 0.0, rtol=0, atol=1e-9)


def test_static_angles_are_a_cause_of_their_own():
    found = run(
        car("dunlin"), with_axle(car("dunlin"), "front", camber_deg=-1.0), names=["camber_deg", "caster_deg"]
    )
    assert [str(c) for c in found.causes] == [ANGLES]
    assert_allclose(found.start_parts[:, 0], [1.5, 0.0], rtol=1e-9, atol=1e-12)


def test_a_given_wheel_axis_is_told_from_static_angles():
    """The same spin axis given once by angles and once by a point: no difference, and no cause of one."""
    from kin3d.linkage.design import spin_axis

    axle = car("dunlin").front
    table = axle.points
    point = table["wheel_centre"] + 37.0 * spin_axis(axle, "left")
    given = replace(
        table,
        names=(*table.names, "wheel_axis"),
        xyz_mm=np.vstack([table.xyz_mm, point]),
        sigma_mm=np.vstack([table.sigma_mm, np.zeros(3)]),
        places=(*table.places, "here"),
        notes=(*table.notes, ""),
    )
    found = run(car("dunlin"), with_axle(car("dunlin"), "front", points=given))
    assert_allclose(found.difference, 0.0, rtol=0, atol=1e-7)
    assert_allclose(found.parts, 0.0, rtol=0, atol=1e-7)


def test_different_linkages_say_why_nothing_is_attributed():
    found = run(car("dunlin"), car("siskin"))
    assert not found.measures
    assert "different kinds" in found.reason
    front = run(car("dunlin"), car("plover"))
    assert 'on "lower arm" in the one car and on "upper arm" in the other' in front.reason
    assert "motion_ratio" not in [m.name for m in front.measures]
    assert not run(car("dunlin"), car("plover"), "rear").reason


def test_a_bolt_alone_is_the_cause_of_its_rod_end():
    """Whatever figure of the car file a measure reads is told as the cause: here the bolt of one rod end alone."""
    bolt = (0.36, 0.8, 0.48)  # of length 1, as the reader makes it
    a = with_axle(car("dunlin"), "front", rod_part=RodPart(bolt_outer=(1.0, 0.0, 0.0)))
    found = run(a, with_axle(a, "front", rod_part=RodPart(bolt_outer=bolt)))
    assert [str(c) for c in found.causes] == [FIGURES]
    names = [m.name for m in found.measures]
    k = names.index("rod_end_outer_deg")
    # in the design position the bolt stands as given: arcsine of its part along the rod
    table = car("dunlin").front.points
    along = table["rod_inner"] - table["rod_outer"]
    along /= np.linalg.norm(along)
    angles = [np.degrees(abs(np.arcsin(np.dot(b, along)))) for b in ((1.0, 0.0, 0.0), bolt)]
    assert abs(angles[1] - angles[0]) > 5.0
    assert_allclose(found.start_parts[k, 0], angles[1] - angles[0], rtol=1e-9)
    assert_allclose(found.remainder[k], 0.0, rtol=0, atol=1e-9)
    assert_allclose(np.delete(found.parts[:, 0], k, axis=0), 0.0, rtol=0, atol=1e-9)


class Way:
    """A way along which one measure of one cause leaves over what a function of the nodes says."""

    def __init__(self, left) -> None:
        self.left = left
        self.measures, self.causes, self.size = chosen_measures("front", ["camber_deg"]), (None,), np.zeros(1)
        self.asked: list[int] = []

    def gradients(self, nodes, _measures):
        self.asked.append(nodes)
        return np.array([[[1.0 + self.left(nodes)]]])


@pytest.mark.parametrize(
    ("left", "asked"),
    [
        (lambda n: 0.1, [4, 8, 64]),  # a jump: no doubling helps
        (lambda n: 1e-3 * 2.0**-n, [4, 8, 16]),  # smooth: 6e-5, 4e-6, 2e-8 are left over
        (lambda n: 0.3 / n**2, [4, 8, 16, 32, 64]),  # slow, but each doubling leaves a quarter
    ],
)
def test_nodes_are_doubled_as_long_as_that_helps(left, asked):
    way = Way(left)
    _, nodes = attribution._integrate(way, np.ones((1, 1)))
    assert way.asked == asked
    assert nodes == asked[-1]
