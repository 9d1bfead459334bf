"""A worker killed in mid-study costs its pieces and no more, by processes and by a cluster; if none is left, words."""

from __future__ import annotations

import multiprocessing
import os
import signal
import struct
import sys
import time
from contextlib import contextmanager
from dataclasses import fields

import numpy as np
import pytest

from kin3d.errors import RequestError
from kin3d.studies import counted, counted_pairs, dask_workers, monte_carlo, pieces, tune_starts
from kin3d.studies.compare import compare
from kin3d.studies.dask_workers import DaskWorkers
from kin3d.studies.pieces import by_workers
from kin3d.studies.processes import own_processes
from kin3d.studies.report_data import collect
from kin3d.studies.tolerance import tolerance
from kin3d.studies.tune import tune
from tests.cli.run import run as command
from tests.dask_cluster import KillingProgress, hand_cluster, no_longer_than
from tests.laws.cars import car
from tests.laws.test_pieces import Forgetful, dying
from tests.tuned import targets_text

pytestmark = pytest.mark.slow
TRAVEL = np.linspace(-20.0, 20.0, 9)
MEASURES = ["camber_deg", "roll_centre_height_mm", "motion_ratio"]
HELD, COUNTED = 900, 15_000  # samples: each study comes in several pieces


@pytest.fixture(autouse=True)
def _in_time():
    with no_longer_than(150):
        yield


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


@pytest.fixture(scope="module")
def cluster():
    """Workers of a Dask scheduler that nobody starts again when they are killed."""
    with hand_cluster() as made:
        yield made


@pytest.fixture(params=["processes", "cluster"])
def workers(request):
    """How a study is told of two workers, and what kills one."""
    if request.param == "processes":
        return {"workers": 2}, _kill_a_process
    cluster = request.getfixturevalue("cluster")
    cluster.start(2)
    return {"executor": cluster.client.get_executor()}, cluster.kill


def _kill_a_process():
    victim = next(p.pid for p in multiprocessing.active_children() if "Spawn" in p.name)
    os.kill(victim, signal.SIGKILL)
    return victim


ALONE = {}  # what one process finds, by the test


def _check(workers, run, request):
    """Run with workers of which one is killed; give its figures and those of one process."""
    how, kill = workers
    progress = KillingProgress(kill)
    found = run(progress=progress, **how)
    assert progress.killed
    done, total = zip(*progress.told, strict=True)
    assert list(done) == sorted(done)
    assert done[-1] == total[-1]
    name = request.node.originalname
    if name not in ALONE:
        ALONE[name] = run()
    return found, ALONE[name]


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


def test_tolerance_that_holds_its_cars(small_pieces, workers, request):
    found, alone = _check(workers, lambda **how: _tolerance(HELD, **how), request)
    assert found.spread.classes == 0
    for a, b in zip(_spread_figures(found.spread), _spread_figures(alone.spread), strict=True):
        assert np.array_equal(a, b, equal_nan=True)


def test_tolerance_that_counts_its_cars(counting, workers, request):
    found, alone = _check(workers, lambda **how: _tolerance(COUNTED, **how), request)
    assert found.spread.classes == counted.CLASSES
    for a, b in zip(_spread_figures(found.spread), _spread_figures(alone.spread), strict=True):
        assert np.array_equal(a, b, equal_nan=True)


def test_compare_that_holds_its_cars(small_pieces, workers, request):
    found, alone = _check(workers, lambda **how: _compare(HELD, **how), request)
    for a, b in zip(_compared(found), _compared(alone), strict=True):
        assert np.array_equal(a, b, equal_nan=True)


def test_compare_that_counts_its_cars(counting, workers, request):
    found, alone = _check(workers, lambda **how: _compare(COUNTED, **how), request)
    assert found.cars[1].tolerance.spread.classes == counted.CLASSES
    for a, b in zip(_compared(found), _compared(alone), strict=True):
        assert np.array_equal(a, b, equal_nan=True)


def test_tune(monkeypatch, tmp_path, workers, request):
    monkeypatch.setattr(tune_starts, "AT_ONCE", 25)
    monkeypatch.setattr("kin3d.studies.tune.WORTH_PROCESSES", 1)
    may = {f"{level}_{end}.z": 12 for level in ("lower", "upper") for end in ("front", "rear")}
    wants = [{"measure": "roll_centre_height_mm", "value": 40, "within": 1}]
    file = tmp_path / "targets.toml"
    file.write_text(targets_text("front", may, wants))
    found, alone = _check(workers, lambda **how: tune(car("dunlin"), file, starts=150, **how), request)
    assert found.starts_met == alone.starts_met > 50
    assert np.array_equal(found.moves, alone.moves)
    assert np.array_equal(found.answers, alone.answers)


def test_a_worker_of_a_cluster_that_dies_of_its_work(cluster, tmp_path):
    cluster.start(2)
    with by_workers(dying, "study", executor=cluster.client.get_executor()) as run:
        assert list(run((str(tmp_path / "died"), k) for k in range(12))) == [k * k for k in range(12)]
    assert (tmp_path / "died").exists()


@pytest.fixture
def hurried(monkeypatch):
    monkeypatch.setattr(dask_workers, "WITHOUT_S", 2.0)
    monkeypatch.setattr(pieces, "LOOK_S", 0.5)


def test_a_command_whose_last_worker_is_killed_says_so(cluster, small_pieces, hurried, monkeypatch):
    cluster.start(1)
    progress = KillingProgress(cluster.kill)

    @contextmanager
    def bar(*_):
        yield progress

    monkeypatch.setattr("kin3d.cli.tolerance.progress_bar", bar)
    asked = "--travel", "-20:20:5", "--samples", f"{HELD}", "--cluster", cluster.address
    while cluster.workers[1:]:
        cluster.kill()
    code, out, err = command("tolerance", "models/dunlin/car.toml", *asked)
    assert progress.killed
    assert (code, out) == (2, "")
    assert "no worker has been left for 2 s, and the study is given up; start workers again" in err
    assert "Traceback" not in err
    assert progress.said[0] == "no worker is left; waiting for up to 2 s"


def test_a_worker_that_comes_while_none_is_left_goes_on(cluster, tmp_path, hurried, monkeypatch):
    monkeypatch.setattr(dask_workers, "WITHOUT_S", 60.0)
    said = []

    def say(text):
        said.append(text)
        if len(said) == 1:
            cluster.start(1)

    cluster.start(1)
    while cluster.workers[1:]:
        cluster.kill()
    with by_workers(dying, "study", executor=DaskWorkers(cluster.client, say)) as run:
        assert list(run((str(tmp_path / "died"), k) for k in range(5))) == [0, 1, 4, 9, 16]
    assert said[0].startswith("no worker is left; waiting for up to")
    assert said[-1] == ""


def test_a_scheduler_that_goes_is_told(tmp_path):
    with hand_cluster() as made:
        made.start(1)
        with by_workers(_ending, "study", executor=DaskWorkers(made.client)) as run:
            results = run(range(50))
            assert next(results) == 0
            made.client.close()
            with pytest.raises(RequestError, match="the Dask scheduler has gone, and the study is given up"):
                list(results)


def _ending(_study):
    return lambda piece: piece


def test_a_worker_killed_while_it_sends_a_result(tmp_path, hurried):
    """The pool would wait for the rest of it."""
    with no_longer_than(40), by_workers(_half_sending, "study", workers=2) as run:
        assert list(run((str(tmp_path / "died"), k) for k in range(12))) == [k * k for k in range(12)]
    assert (tmp_path / "died").exists()


def _half_sending(_study):
    """Works on numbers; the first to be asked for 3 dies with some bytes of its result sent."""

    def work(piece):
        path, number = piece
        if number == 3 and not os.path.exists(path):
            open(path, "w").close()
            frame = sys._getframe()
            while "result_queue" not in frame.f_locals:
                frame = frame.f_back
            os.write(frame.f_locals["result_queue"]._writer.fileno(), struct.pack("!i", 1000) + b"half")
            os._exit(9)
        return number * number

    return work


def test_a_process_killed_when_all_is_done_is_not_waited_for():
    """It may hold the lock that the others need to be told that all is done."""
    for k in range(2):
        with no_longer_than(40), own_processes(2) as renew:
            pool = renew()
            assert list(pool.map(abs, range(-9, 0))) == list(range(9, 0, -1))
            time.sleep(0.05)  # both wait for work again
            os.kill(list(pool._processes)[k], signal.SIGKILL)


def test_the_samples_of_a_report(small_pieces):
    """They are those of compare; the report hands on who works on them."""
    lossy = Forgetful()
    found = collect([car("dunlin")], ["front"], TRAVEL, samples=HELD, executor=lossy)
    assert lossy.handed > 8
    alone = collect([car("dunlin")], ["front"], TRAVEL, samples=HELD)
    ours, theirs = (x.axles[0].comparison.cars[0].tolerance.spread for x in (found, alone))
    for a, b in zip(_spread_figures(ours), _spread_figures(theirs), strict=True):
        assert np.array_equal(a, b, equal_nan=True)
