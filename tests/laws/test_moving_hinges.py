"""Two moving bodies that share two points are hinged: five suspensions of that kind against rigid bodies in SciPy."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from kin3d.errors import LayoutError
from kin3d.solve.kernel import Kernel
from tests.oracles.rigid_bodies import Machine
from tests.unit.corners import layout, linkage

WHEEL = {"wheel_centre": (0, 750, 262), "wheel_axis": (0, 850, 258)}
ARM = {"low_front": (160, 300, 180), "low_rear": (-170, 305, 190)}
TIE = {"tie_inner": (90, 280, 210), "tie_outer": (100, 690, 205)}
TIE_LINK = ["tie_inner", "tie_outer"]
KINDS = {
    "H-arm": (
        {
            "chassis": ["low_front", "low_rear", "link_in"],
            "H-arm": ["low_front", "low_rear", "out_front", "out_rear"],
            "upright": ["out_front", "out_rear", "link_out"],
            "camber link": ["link_in", "link_out"],
        },
        ARM
        | {
            "out_front": (60, 690, 160),
            "out_rear": (-75, 700, 168),
            "link_in": (5, 330, 350),
            "link_out": (-8, 660, 372),
        },
        (),
    ),
    "reversed A-arm": (
        {
            "chassis": ["low_in", "up_in", "lead_low", "lead_up"],
            "reversed arm": ["low_in", "out_front", "out_rear"],
            "upright": ["out_front", "out_rear", "up_out", "back_low", "back_up"],
            "upper link": ["up_in", "up_out"],
            "lower rod": ["lead_low", "back_low"],
            "upper rod": ["lead_up", "back_up"],
        },
        {"low_in": (10, 190, 180), "out_front": (80, 680, 160), "out_rear": (-70, 690, 165), "up_in": (0, 250, 370)}
        | {"up_out": (5, 660, 385), "lead_low": (620, 420, 190), "back_low": (30, 640, 140), "lead_up": (600, 430, 330)}
        | {"back_up": (20, 655, 360)},
        (),
    ),
    "strut with two axes": (
        {
            "chassis": ["low_front", "low_rear", "strut_top", "reaction_in"],
            "arm": ["low_front", "low_rear", "ball"],
            "strut": ["ball", "slide_low", "slide_high", "pin_top", "pin_low", "reaction_out"],
            "reaction link": ["reaction_in", "reaction_out"],
            "knuckle": ["pin_top", "pin_low", "tie_outer"],
            "tie link": TIE_LINK,
        },
        ARM
        | TIE
        | {
            "ball": (0, 660, 150),
            "strut_top": (-22, 560, 800),
            "slide_low": (-5.5, 642.5, 350),
            "slide_high": (-12.1, 609.5, 530),
        }
        | {
            "pin_top": (-6, 690, 330),
            "pin_low": (4, 700, 170),
            "reaction_in": (-150, 320, 280),
            "reaction_out": (-95, 640, 270),
        },
        ("tie_inner",),
    ),
    "rocker on an arm": (
        {
            "chassis": ["low_front", "low_rear", "up_front", "up_rear", "rod_chassis", "spring_in"],
            "arm": ["low_front", "low_rear", "low_out", "pivot_1", "pivot_2"],
            "upper arm": ["up_front", "up_rear", "up_out"],
            "upright": ["low_out", "up_out", "tie_outer"],
            "tie link": TIE_LINK,
            "rocker": ["pivot_1", "pivot_2", "rod_arm", "spring_out"],
            "rod": ["rod_arm", "rod_chassis"],
        },
        ARM
        | TIE
        | {
            "low_out": (5, 690, 160),
            "up_front": (120, 330, 350),
            "up_rear": (-140, 335, 340),
            "up_out": (-10, 655, 380),
        }
        | {"pivot_1": (45, 500, 210), "pivot_2": (-35, 505, 214), "rod_arm": (0, 480, 265), "spring_out": (0, 560, 270)}
        | {"rod_chassis": (0, 300, 300), "spring_in": (-5, 500, 520)},
        ("tie_inner",),
    ),
    "twin beam with kingpin": (
        {
            "chassis": ["pivot_front", "pivot_rear"],
            "beam": ["pivot_front", "pivot_rear", "pin_top", "pin_low"],
            "knuckle": ["pin_top", "pin_low", "tie_outer"],
            "tie link": TIE_LINK,
        },
        TIE
        | {
            "pivot_front": (40, -120, 240),
            "pivot_rear": (-450, 150, 250),
            "pin_top": (-6, 690, 350),
            "pin_low": (6, 715, 170),
        },
        ("tie_inner",),
    ),
}
WHEEL_BODY = {"strut with two axes": "knuckle", "twin beam with kingpin": "knuckle"}
SLIDERS = {"strut with two axes": [("strut_top", ("slide_low", "slide_high"))]}


@pytest.mark.parametrize("kind", KINDS)
def test_kind_against_rigid_bodies(kind: str) -> None:
    bodies, places, rack = KINDS[kind]
    wheel = WHEEL_BODY.get(kind, "upright")
    sliders = SLIDERS.get(kind, [])
    made, design = linkage(layout(bodies, wheel=wheel, rack=rack, sliders=sliders), places | WHEEL)
    kernel = Kernel(made, design)
    variants = kernel.variants(design)
    travel, steer = np.array([-40.0, 15.0, 35.0]), np.array([0.0, 6.0, -9.0]) * bool(rack)
    lanes = kernel.lanes(variants, travel, steer)
    solved = kernel.solve(variants, lanes)
    assert not solved.status.any()
    found = kernel.points(variants, lanes, solved)
    full = bodies | {wheel: [*bodies[wheel], "wheel_centre", "wheel_axis"]}
    machine = Machine(full, {p: ("rack", np.array([0.0, 1.0, 0.0])) for p in rack}, [(p, *line) for p, line in sliders])
    at = dict(zip(made.points, design, strict=True))
    for lane in range(len(travel)):
        expected = machine.solve(at, {"travel": travel[lane], "rack": steer[lane]})
        for k, point in enumerate(made.points):
            assert_allclose(found[lane, k], expected[point], rtol=0, atol=1e-9, err_msg=f"{kind}: {point}")


def test_points_shared_in_one_line_are_a_hinge_whose_third_point_says_nothing() -> None:
    bodies, places, rack = KINDS["H-arm"]
    middle = np.mean([places["out_front"], places["out_rear"]], axis=0)
    more = {b: [*points, "out_middle"] if b in ("H-arm", "upright") else points for b, points in bodies.items()}
    made, design = linkage(layout(more, rack=rack), places | WHEEL | {"out_middle": middle})
    plain, bare = linkage(layout(bodies, rack=rack), places | WHEEL)
    for found, at in ((made, design), (plain, bare)):
        kernel = Kernel(found, at)
        variants = kernel.variants(at)
        lanes = kernel.lanes(variants, 30.0)
        points = kernel.points(variants, lanes, kernel.solve(variants, lanes))[0]
        if found is made:
            centre = points[found.index("wheel_centre")]
    assert_allclose(centre, points[plain.index("wheel_centre")], rtol=0, atol=1e-10)


def test_a_chassis_hinge_with_a_third_point_in_line() -> None:
    bodies, places, rack = KINDS["H-arm"]
    middle = 0.3 * np.array(places["low_front"]) + 0.7 * np.array(places["low_rear"])
    more = {b: [*points, "low_mid"] if b in ("H-arm", "chassis") else points for b, points in bodies.items()}
    made, design = linkage(layout(more, rack=rack), places | WHEEL | {"low_mid": middle})
    assert Kernel(made, design).system.mobility.determined


def said(bodies: dict[str, list[str]], places: dict[str, tuple[float, float, float]], rack: tuple[str, ...]) -> str:
    with pytest.raises(LayoutError) as caught:
        Kernel(*linkage(layout(bodies, rack=rack), places | WHEEL))
    return str(caught.value)


def test_three_shared_points_off_a_line_are_one_body() -> None:
    bodies, places, rack = KINDS["H-arm"]
    more = bodies | {"H-arm": [*bodies["H-arm"], "link_out"]}
    told = said(more, places, rack)
    assert 'bodies "H-arm" and "upright" are one body: they share out_front, out_rear, link_out' in told


def test_a_link_between_two_points_of_one_body_is_superfluous() -> None:
    bodies, places, rack = KINDS["H-arm"]
    assert 'link "brace" is superfluous: body "H-arm" has both of its points, out_front and out_rear' in said(
        bodies | {"brace": ["out_front", "out_rear"]}, places, rack
    )
    assert 'link "stay" is superfluous: the chassis has both of its points, low_front and link_in' in said(
        bodies | {"stay": ["low_front", "link_in"]}, places, rack
    )


def test_a_body_on_three_chassis_points_cannot_move() -> None:
    bodies, places, rack = KINDS["H-arm"]
    more = bodies | {"H-arm": [*bodies["H-arm"], "link_in"]}
    assert 'body "H-arm" cannot move: it shares low_front, low_rear, link_in' in said(more, places, rack)
