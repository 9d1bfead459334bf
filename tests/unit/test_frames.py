"""Axes in words: all 24 right-handed triples give their rotation, all 24 left-handed ones are refused."""

from __future__ import annotations

from itertools import permutations, product

import numpy as np
import pytest

from kin3d.frames import AxesError, parse_axes

DIRECTIONS = {
    "forward": (1, 0, 0),
    "rearward": (-1, 0, 0),
    "left": (0, 1, 0),
    "right": (0, -1, 0),
    "up": (0, 0, 1),
    "down": (0, 0, -1),
}
LINES = (("forward", "rearward"), ("left", "right"), ("up", "down"))
TRIPLES = [words for lines in permutations(LINES) for words in product(*lines)]


def right_handed(words: tuple[str, ...]) -> bool:
    x, y, z = (np.array(DIRECTIONS[w]) for w in words)
    return bool(np.cross(x, y) @ z > 0)


@pytest.mark.parametrize("words", [t for t in TRIPLES if right_handed(t)])
def test_a_right_handed_triple_turns_each_axis_into_its_direction(words: tuple[str, ...]) -> None:
    for order in permutations(range(3)):
        rotation = parse_axes(", ".join(f"{'xyz'[i]} {words[i]}" for i in order))
        for i, word in enumerate(words):
            assert rotation @ np.eye(3)[i] == pytest.approx(DIRECTIONS[word], rel=0, abs=0)


@pytest.mark.parametrize("words", [t for t in TRIPLES if not right_handed(t)])
def test_a_left_handed_triple_is_refused_with_three_ways_out(words: tuple[str, ...]) -> None:
    with pytest.raises(AxesError) as caught:
        parse_axes(", ".join(f"{a} {w}" for a, w in zip("xyz", words, strict=True)))
    (finding,) = caught.value.findings
    assert finding.code == "axes-left-handed"
    ways = finding.text.split('"')[3::2]
    assert len(ways) == 3
    for way in ways:
        assert np.linalg.det(parse_axes(way)) == pytest.approx(1.0, rel=0, abs=1e-12)


def test_there_are_24_of_each() -> None:
    assert [right_handed(t) for t in TRIPLES].count(True) == 24
    assert len(TRIPLES) == 48


@pytest.mark.parametrize(
    "text", ["X Rearward; Y RIGHT; Z upwards", "x=backward y=right z=up", "z: up, y: right, x: rearwards"]
)
def test_spelling_is_free(text: str) -> None:
    assert parse_axes(text) == pytest.approx(np.diag([-1.0, -1.0, 1.0]), rel=0, abs=0)


@pytest.mark.parametrize(
    ("text", "codes"),
    [
        ("", ["axes-missing"]),
        ("x forward, y left", ["axes-missing"]),
        ("x forward, x left, z up", ["axes-repeated"]),
        ("x forward, y rearward, z up", ["axes-repeated"]),
        ("x forward, y forward, z forward", ["axes-repeated"]),
        ("x ahead, y sideways, z up", ["axes-word", "axes-word"]),
        ("x forward, y left, z up, w down", ["axes-syntax"]),
        ("x forward, y left, z", ["axes-syntax"]),
    ],
)
def test_what_is_wrong_is_said_with_an_example(text: str, codes: list[str]) -> None:
    with pytest.raises(AxesError) as caught:
        parse_axes(text)
    assert [f.code for f in caught.value.findings] == codes
    assert all('write it like "x forward, y left, z up"' in f.text for f in caught.value.findings)
