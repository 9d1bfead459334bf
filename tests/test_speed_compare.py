"""The comparison with the kept baseline sees what is slower."""

from __future__ import annotations

import json

from tests.speed.compare import BASELINE, BENCHMARKS, Benchmark, compare


def test_slower_and_unknown_are_told():
    kept = {"a": 1.0, "b": 1.0, "c": 2.0}
    said = compare({"a": 1.29, "b": 1.31, "c": 0.5, "d": 1.0}, kept, 30.0)
    assert said == {"a": "", "b": "slower", "c": "", "d": "not in the baseline"}


def test_every_benchmark_has_a_kept_ratio():
    kept = json.loads(BASELINE.read_text("utf-8"))
    assert set(kept) == set(BENCHMARKS)
    assert all(ratio > 0.0 for ratio in kept.values())


def test_a_ratio_is_that_of_the_work():
    few, many = list(range(2_000)), list(range(40_000))
    assert 4.0 < Benchmark(lambda: sum(x * x for x in many), lambda: sum(x * x for x in few), "").ratio() < 100.0
