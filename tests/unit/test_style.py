"""One visual language: text can be read, and no two meanings share a colour, in pictures and in drawings."""

from __future__ import annotations

from itertools import combinations
from types import SimpleNamespace

import pytest
from ezdxf.colors import aci2rgb

from kin3d.linkage.layout import WHEEL_CENTRE
from kin3d.linkage.parts import PARTS, part_of
from kin3d.writing import style
from tests.laws.cars import CORNERS, model

TEXT = 4.5  # Web Content Accessibility Guidelines 2.2, 2023, criterion 1.4.3
GRAPHICS = 3.0  # the same, criterion 1.4.11
GROUNDS = (style.PAPER, style.COLOURS["tyre"][0])
SPEAKING = (
    "ink",
    "soft",
    "car a",
    "car b",
    "car c",
    "car d",
    "roll centre",
    "construction",
    "raises",
    "lowers",
    *PARTS,
)


def design(name, axle):
    """Design places of the left corner, in the order of the linkage's points."""
    return model(name, axle).sides[0].design


def channels(colour: str) -> tuple[int, ...]:
    return tuple(int(colour[k : k + 2], 16) for k in (1, 3, 5))


def luminance(rgb: tuple[int, ...]) -> float:
    """Relative luminance as the guidelines define it."""
    linear = [c / 255 / 12.92 if c / 255 <= 0.04045 else ((c / 255 + 0.055) / 1.055) ** 2.4 for c in rgb]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: tuple[int, ...], other: tuple[int, ...]) -> float:
    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)


def test_contrast_of_black_and_white_is_21():
    assert contrast((0, 0, 0), (255, 255, 255)) == pytest.approx(21.0, rel=1e-12)


@pytest.mark.parametrize("ground", GROUNDS)
@pytest.mark.parametrize("name", SPEAKING)
def test_text_can_be_read(name, ground):
    assert contrast(channels(style.COLOURS[name][0]), channels(ground)) >= TEXT


@pytest.mark.parametrize("ground", [(0, 0, 0), (255, 255, 255)])
@pytest.mark.parametrize("name", SPEAKING)
def test_a_drawing_can_be_read_on_black_and_on_white(name, ground):
    number = style.COLOURS[name][1]
    if number != 7:  # 7 is black on white and white on black
        assert contrast(tuple(aci2rgb(number)), ground) >= GRAPHICS


def test_every_part_has_a_colour_and_no_two_meanings_share_one():
    assert set(style.PART_COLOURS) == set(PARTS)
    speaking = [*style.CARS[:2], *(style.PART_COLOURS[p] for p in ("lower arm", "upper arm", "steering link"))]
    speaking += [style.ROLL_CENTRE, style.RAISES, style.LOWERS]
    for a, b in combinations(map(channels, speaking), 2):
        assert sum((x - y) ** 2 for x, y in zip(a, b, strict=True)) > 50**2


def test_curves_of_a_family_differ_and_run_from_end_to_end():
    nine = style.tones(9)
    assert (nine[0], nine[-1]) == (style.FAMILY[0], style.FAMILY[-1])
    assert len(set(nine)) == 9
    assert style.tones(1) == [style.FAMILY[0]]
    lightness = [luminance(channels(c)) for c in nine]
    assert lightness == sorted(lightness)


@pytest.mark.parametrize("corner", CORNERS, ids="_".join)
def test_bodies_are_what_their_names_say(corner):
    """The demo cars name their bodies as an engineer does."""
    there = model(*corner).linkage
    at = dict(zip(there.points, design(*corner), strict=True))
    wanted = {"lower": "lower arm", "upper": "upper arm", "tie": "steering link", "bar": "bar"}
    for body in there.bodies:
        if body != "chassis":
            first = body.split()[0]
            assert part_of(there, body, at) == wanted.get(first, first)


def test_without_names_the_height_of_the_outer_end_tells_upper_from_lower():
    there = model("dunlin", "front").linkage
    mute = {p: p if p == WHEEL_CENTRE else f"p{k}" for k, p in enumerate(there.points)}
    bodies = {"one": "lower arm", "two": "upper arm", "upright": "upright"}
    nameless = SimpleNamespace(
        rocker=None,
        bar=None,
        rack=(),
        system=None,
        across=None,
        wheel_body="upright",
        wheel_bodies=("upright",),
        wheel_centres=(WHEEL_CENTRE,),
        fixed=[mute[p] for p in there.fixed],
        bodies={new: tuple(mute[p] for p in there.bodies[old]) for new, old in bodies.items()},
    )
    at = {mute[p]: place for p, place in zip(there.points, design("dunlin", "front"), strict=True)}
    assert [part_of(nameless, b, at) for b in ("one", "two")] == ["lower arm", "upper arm"]


@pytest.mark.parametrize("name", [n for n in SPEAKING if n not in ("car e",)])
def test_text_can_be_read_on_a_dark_page(name):
    dark = style.DARK[style.COLOURS[name][0]]
    for ground in (style.DARK[style.PAPER], style.DARK[style.COLOURS["tyre"][0]]):
        assert contrast(channels(dark), channels(ground)) >= TEXT
