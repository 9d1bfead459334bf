"""Sentences that terminal and page share: a measure with a kink does not spoil what is said of the others."""

from __future__ import annotations

import re

import pytest

from kin3d.studies.compare import compare
from tests.laws.cars import car


@pytest.mark.parametrize(("axle", "kinked"), [("front", False), ("rear", True)])
def test_what_adds_up_and_what_does_not_are_told_apart(axle, kinked):
    found = compare([car("dunlin"), car("plover")], axle, [0.0], samples=0).pairs[0].attribution
    said = found.sentence()
    left = r"within (\S+) of each \(largest for \w+\)"
    within = re.match(rf"Parts add up to the differences (but for rounding|{left});", said)
    assert within, said
    assert float(within.group(2) or 0.0) <= 1e-6
    assert ("No parts are shown of rod_end_inner_deg (" in said) is kinked
