"""A worker killed in mid-study costs its piece and no more: every study by processes, one piece by a cluster."""

from __future__ import annotations

import multiprocessing
import os
import signal
import warnings
from dataclasses import fields

import numpy as np
import pytest

from kin3d.studies import counted, counted_pairs, monte_carlo, tune_starts
from kin3d.studies.compare import compare
from kin3d.studies.pieces import by_workers
from kin3d.studies.report_data import collect
from kin3d.studies.tolerance import tolerance
from kin3d.studies.tune import tune
from tests.laws.cars import car
from tests.laws.test_pieces import Forgetful, dying
from tests.tuned import targets_text

pytestmark = pytest.mark.slow
TRAVEL = np.linspace(-20.0, 20.0, 9)
MEASURES = ["camber_deg", "roll_centre_height_mm", "motion_ratio"]
HELD, COUNTED = 900, 15_000  # samples: each study comes in several pieces


class Killer:
    """A progress that kills one worker by its process id once some of the work is done."""

    def __init__(self, victims):
        self.victims, self.killed, self.told = victims, [], []

    def __call__(self, done, total):
        self.told.append((done, total))
        if not self.killed and done < total:
            self.killed.append(self.victims()[0])
            os.kill(self.killed[0], signal.SIGKILL)


def _tolerance(samples, **how):
    return tolerance(car("dunlin"), "front", TRAVEL, MEASURES, samples=samples, seed=3, **how)


def _compare(samples, **how):
    cars = [car("dunlin"), car("plover")]
    return compare(cars, "front", TRAVEL, MEASURES, samples=samples, seed=3, split=False, **how)


def _spread_figures(spread):
    values = [getattr(spread, f.name) for f in fields(spread)]
    return [np.asarray(x) for v in values for x in (v.values() if isinstance(v, dict) else [v])]


def _compared(found):
    bands = [v for c in found.cars for v in _spread_figures(c.tolerance.spread)]
    return [*bands, np.array([(d.half_width, d.chance, d.sigma) for d in found.pairs[0].differences])]


@pytest.fixture
def client():
    """Of two workers of a Dask scheduler."""
    from distributed import Client, LocalCluster

    options = {"n_workers": 2, "threads_per_worker": 1, "dashboard_address": None, "silence_logs": 50}
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        with LocalCluster(**options) as cluster, Client(cluster) as made:
            yield made


@pytest.fixture
def workers():
    """How a study is told of two workers, and what gives their process ids."""
    return {"workers": 2}, lambda: [p.pid for p in multiprocessing.active_children() if "Spawn" in p.name]


def _check(workers, run):
    """Run with workers of which one is killed; give its figures and those of one process."""
    alone = run()
    how, ids = workers
    killer = Killer(ids)
    found = run(progress=killer, **how)
    assert killer.killed
    done, total = zip(*killer.told, strict=True)
    assert list(done) == sorted(done)
    assert done[-1] == total[-1]
    return found, alone


@pytest.fixture
def small_pieces(monkeypatch):
    monkeypatch.setattr(monte_carlo, "PIECE_LANES", 900)
    monkeypatch.setattr(monte_carlo, "WORTH_PROCESSES", 1)


@pytest.fixture
def counting(monkeypatch):
    """Values are counted as if nothing fitted into memory; workers count in pieces of the usual size."""
    monkeypatch.setattr(monte_carlo, "MOST_MEMORY", 1)
    for module in (counted, counted_pairs):
        monkeypatch.setattr(module, "MOST_MEMORY", 10**9)
        monkeypatch.setattr(module, "WORTH_PROCESSES", 1)
    monkeypatch.setattr(counted, "PIECES", 1)


def test_tolerance_that_holds_its_cars(small_pieces, workers):
    found, alone = _check(workers, lambda **how: _tolerance(HELD, **how))
    assert found.spread.classes == 0
    for a, b in zip(_spread_figures(found.spread), _spread_figures(alone.spread), strict=True):
        assert np.array_equal(a, b, equal_nan=True)


def test_tolerance_that_counts_its_cars(counting, workers):
    found, alone = _check(workers, lambda **how: _tolerance(COUNTED, **how))
    assert found.spread.classes == counted.CLASSES
    for a, b in zip(_spread_figures(found.spread), _spread_figures(alone.spread), strict=True):
        assert np.array_equal(a, b, equal_nan=True)


def test_compare_that_holds_its_cars(small_pieces, workers):
    found, alone = _check(workers, lambda **how: _compare(HELD, **how))
    for a, b in zip(_compared(found), _compared(alone), strict=True):
        assert np.array_equal(a, b, equal_nan=True)


def test_compare_that_counts_its_cars(counting, workers):
    found, alone = _check(workers, lambda **how: _compare(COUNTED, **how))
    assert found.cars[1].tolerance.spread.classes == counted.CLASSES
    for a, b in zip(_compared(found), _compared(alone), strict=True):
        assert np.array_equal(a, b, equal_nan=True)


def test_tune(monkeypatch, tmp_path, workers):
    monkeypatch.setattr(tune_starts, "AT_ONCE", 25)
    monkeypatch.setattr("kin3d.studies.tune.WORTH_PROCESSES", 1)
    may = {f"{level}_{end}.z": 12 for level in ("lower", "upper") for end in ("front", "rear")}
    wants = [{"measure": "roll_centre_height_mm", "value": 40, "within": 1}]
    file = tmp_path / "targets.toml"
    file.write_text(targets_text("front", may, wants))
    found, alone = _check(workers, lambda **how: tune(car("dunlin"), file, starts=150, **how))
    assert found.starts_met == alone.starts_met > 50
    assert np.array_equal(found.moves, alone.moves)
    assert np.array_equal(found.answers, alone.answers)


def test_a_worker_of_a_cluster_that_dies_of_its_work(client, tmp_path):
    with by_workers(dying, "study", executor=client.get_executor(pure=False, retries=3)) as run:
        assert list(run((str(tmp_path / "died"), k) for k in range(12))) == [k * k for k in range(12)]
    assert (tmp_path / "died").exists()


def test_the_samples_of_a_report(small_pieces):
    """They are those of compare; the report hands on who works on them."""
    lossy = Forgetful()
    found = collect([car("dunlin")], ["front"], TRAVEL, samples=HELD, executor=lossy)
    assert lossy.handed > 8
    alone = collect([car("dunlin")], ["front"], TRAVEL, samples=HELD)
    ours, theirs = (x.axles[0].comparison.cars[0].tolerance.spread for x in (found, alone))
    for a, b in zip(_spread_figures(ours), _spread_figures(theirs), strict=True):
        assert np.array_equal(a, b, equal_nan=True)
