"""Thirty random linkages over ±150 mm: every position solved or its end named, ends as an independent way finds them.

Thousands of them: ``python -m tests.by_hand.random_linkages``. Seed 12 was "unsolved" where a limit should be named.
"""

from __future__ import annotations

import pytest

from tests.by_hand.random_linkages import against, tried

COMPARED = (12,)


@pytest.mark.parametrize("seed", range(30))
def test_every_position_is_solved_or_its_end_is_named(seed: int) -> None:
    found = tried(seed)
    assert found is not None
    assert found.faults == []
    assert sum(found.counts.values()) == 30
    if seed in COMPARED:
        assert found.ends
        assert against(seed, found) == []
