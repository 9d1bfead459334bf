"""Bands of points from photographs hold the truth as often as they say, for coordinates, measures and differences."""

from __future__ import annotations

from functools import partial

import numpy as np
import pytest

from tests.by_hand import photo_coverage
from tests.laws.test_pieces import Forgetful
from tests.photo_scenes import FRONT, LOW, QUARTER

SCENES = 40
INSIDE = 1.959964  # sigmas that hold 95 %


@pytest.fixture(scope="module")
def runs():
    return [photo_coverage.solve(seed, [FRONT, QUARTER, LOW], template_off=40.0) for seed in range(SCENES)]


def test_the_truth_is_inside(runs):
    """300 scenes by hand hold 92 to 98 % in every figure; 40 scenes must not contradict that.

    If 95 % are right, fewer than 32 of 40 happen once in five thousand (binomial), and all figures together hold
    93.5 to 96.5 %.
    """
    assert all(run["settled"] for run in runs)
    off = np.array([run["off"] for run in runs])
    held = (np.abs(off) < INSIDE).sum(axis=0)
    assert held.min() >= 32
    assert 0.935 < (np.abs(off) < INSIDE).mean() < 0.97
    for key in ("measure", "difference"):
        inside = (np.abs(np.array([run[key] for run in runs])) < INSIDE).sum(axis=0)
        assert inside.min() >= 32
    assert 0.8 < np.std(np.array([run["difference"] for run in runs])) < 1.25


def test_scenes_solved_by_others_are_the_same_bits(runs):
    """The first worker's second scene is lost and solved again."""
    lossy = Forgetful()
    solver = partial(photo_coverage.solve, shots=[FRONT, QUARTER, LOW], template_off=40.0)
    found = list(photo_coverage.scenes_of(solver, range(2), executor=lossy))
    assert lossy.handed > len(found)
    for ours, theirs in zip(found, runs, strict=False):
        for key in ("off", "off by chance", "measure", "difference", "sigma"):
            assert np.array_equal(ours[key], theirs[key]), key


def test_misses_are_as_large_as_their_deviations_say(runs):
    square, freedom = np.array([run["chi"] for run in runs]).sum(axis=0)
    # over so many degrees of freedom the ratio's own deviation is sqrt(2 / freedom)
    np.testing.assert_allclose(square / freedom, 1.0, rtol=0.0, atol=5.0 * (2.0 / freedom) ** 0.5 + 0.03)
