"""Samples by other workers: the same figures bit for bit, whoever works and whoever dies on the way."""

from __future__ import annotations

import os
import pickle
from concurrent.futures import Executor, Future
from dataclasses import fields

import numpy as np
import pytest

from kin3d.errors import RequestError
from kin3d.studies import counted, counted_pairs, monte_carlo, tune_starts
from kin3d.studies.compare import compare
from kin3d.studies.packed_counts import PackedCounts
from kin3d.studies.pieces import by_workers
from kin3d.studies.tolerance import tolerance
from kin3d.studies.tune import tune
from tests.laws.cars import car
from tests.tuned import targets_text

TRAVEL = np.linspace(-20.0, 20.0, 3)
MEASURES = ["camber_deg", "roll_centre_height_mm", "motion_ratio"]


class Forgetful(Executor):
    """An executor here that loses every second piece once."""

    def __init__(self):
        self.handed = 0

    def submit(self, function, /, *args, **kwargs):
        future: Future = Future()
        self.handed += 1
        if self.handed % 2 == 0:
            future.set_exception(OSError("the worker is gone"))
        else:
            future.set_result(function(*args, **kwargs))
        return future


def _bands(**given):
    return tolerance(car("dunlin"), "front", TRAVEL, MEASURES, samples=600, seed=3, **given).spread


def _same(a, b):
    for field in fields(a):
        ours, theirs = getattr(a, field.name), getattr(b, field.name)
        pairs = [(ours[k], theirs[k]) for k in ours] if isinstance(ours, dict) else [(ours, theirs)]
        assert all(np.array_equal(x, y, equal_nan=True) for x, y in pairs), field.name


def test_an_executor_that_loses_pieces_gives_the_same_bits(monkeypatch):
    monkeypatch.setattr(monte_carlo, "PIECE_LANES", 300)
    lossy = Forgetful()
    _same(_bands(executor=lossy), _bands())
    assert lossy.handed > 8


def test_an_error_of_the_work_itself_comes_back():
    with by_workers(_failing, "study", executor=Forgetful()) as run, pytest.raises(ZeroDivisionError):
        list(run([0]))
    with by_workers(_refusing, "study", executor=Forgetful()) as run, pytest.raises(RequestError):
        list(run([0]))


def _failing(_study):
    return lambda piece: 1 / piece


def _refusing(_study):
    def refuse(_piece):
        raise RequestError([])

    return refuse


def dying(_study):
    """Works on numbers; the first to be asked for 3 dies of it, as a killed worker does."""

    def work(piece):
        path, number = piece
        if number == 3 and not os.path.exists(path):
            open(path, "w").close()
            os._exit(9)
        return number * number

    return work


def test_a_worker_that_dies_changes_nothing(tmp_path):
    with by_workers(dying, "study", workers=2) as run:
        assert list(run((str(tmp_path / "died"), k) for k in range(12))) == [k * k for k in range(12)]
    assert (tmp_path / "died").exists()


def test_a_pool_that_dies_every_time_says_so():
    text = "the same piece of work ended every worker that had it"
    with by_workers(_alwaysdying, "study", workers=2) as run, pytest.raises(RequestError, match=text):
        list(run([1]))


def _alwaysdying(_study):
    return lambda _piece: os._exit(9)


def test_counted_bands_are_those_of_all_values_but_for_the_classes():
    every = tolerance(car("dunlin"), "front", TRAVEL, MEASURES, samples=3000, seed=3)
    study = monte_carlo.Study(car("dunlin"), every.case, every.uncertainty, tuple(m.name for m in every.measures))
    found = counted.counted_spread(study, 3000, 3)
    whole = every.spread
    np.testing.assert_allclose(found.mean, whole.mean, rtol=1e-12)
    np.testing.assert_allclose(found.sigma, whole.sigma, rtol=1e-9, atol=1e-12)
    for level in monte_carlo.LEVELS:
        for ours, theirs in ((found.low, whole.low), (found.high, whole.high)):
            assert (np.abs(ours[level] - theirs[level]) < 0.02 * whole.sigma + 1e-9).all()
    assert (np.abs(found.median - whole.median) < 0.02 * whole.sigma + 1e-9).all()
    assert np.array_equal(found.failed, whole.failed)
    assert found.classes == counted.CLASSES


def test_numbers_drawn_in_parts_are_those_drawn_at_once():
    cube, whole = counted.Hypercube(1000, 5, 7), monte_carlo.normal_samples(1000, 5, 7)
    for part in (slice(0, 1000), slice(0, 1), slice(333, 998), slice(999, 1000)):
        assert np.array_equal(cube.part(part).numbers(), whole[part])


def test_counting_by_others_gives_the_same_bits(monkeypatch):
    monkeypatch.setattr(monte_carlo, "PIECE_LANES", 150)
    monkeypatch.setattr(monte_carlo, "MOST_MEMORY", 1)
    monkeypatch.setattr(counted, "MOST_MEMORY", 10**9)
    _same(_bands(executor=Forgetful()), _bands())


def test_counts_are_packed_and_added_as_they_are():
    """Rows of small, large and no numbers, with zeros around them; few bytes where few classes have any."""
    rng = np.random.default_rng(0)
    counts = np.zeros((5, 4, 1026), dtype=np.int32)
    for row, most in zip(counts, (200, 60_000, 2_000_000, 1, 0), strict=True):
        row[:, 300:400] = rng.integers(0, most + 1, (4, 100))
    counts[3, 2, 0] = counts[3, 1, -1] = 7
    total = rng.integers(0, 9, counts.shape).astype(np.int32)
    expected = total + counts
    packed = pickle.loads(pickle.dumps(PackedCounts.of(counts)))
    packed.add_to(total)
    assert np.array_equal(total, expected)
    assert total.dtype == np.int32
    assert packed.data.nbytes == 4 * (100 + 200 + 400 + 1026)


def _differences(samples, **given):
    cars = [car("dunlin"), car("plover")]
    found = compare(cars, "front", TRAVEL, MEASURES, samples=samples, seed=3, split=False, **given)
    return found, found.pairs[0].differences


def test_counted_differences_are_those_of_all_pairs_but_for_the_classes(monkeypatch):
    whole, held = _differences(4000)
    monkeypatch.setattr(monte_carlo, "MOST_MEMORY", 1)
    monkeypatch.setattr(counted_pairs, "MOST_MEMORY", 10**9)
    found, ours = _differences(4000)
    assert len(ours) == len(held) == 3 * len(MEASURES)
    for a, b in zip(ours, held, strict=True):
        assert (a.a, a.b, a.sigma, a.chance, a.verdict) == (b.a, b.b, b.sigma, b.chance, b.verdict)
        np.testing.assert_allclose(a.half_width, b.half_width, rtol=2e-3)
    for a, b in zip(found.cars, whole.cars, strict=True):
        np.testing.assert_allclose(a.tolerance.spread.mean, b.tolerance.spread.mean, rtol=1e-12)
        assert a.tolerance.spread.seed == b.tolerance.spread.seed
    assert any("counted in 1,024 classes" in note for note in found.notes())


def test_differences_counted_by_others_are_the_same_bits(monkeypatch):
    monkeypatch.setattr(monte_carlo, "PIECE_LANES", 150)
    monkeypatch.setattr(monte_carlo, "MOST_MEMORY", 1)
    monkeypatch.setattr(counted_pairs, "MOST_MEMORY", 10**9)
    lossy = Forgetful()
    (ours, some), (theirs, others) = _differences(1000, executor=lossy), _differences(1000)
    assert lossy.handed > 2
    assert some == others
    for a, b in zip(ours.cars, theirs.cars, strict=True):
        _same(a.tolerance.spread, b.tolerance.spread)


def test_starts_that_others_lead_arrive_where_they_would_here(monkeypatch, tmp_path):
    """Wants over an interval are asked at more positions once they were solved for; others ask at the same."""
    monkeypatch.setattr(tune_starts, "AT_ONCE", 25)
    lossy = Forgetful()
    wants = [
        {"measure": "roll_centre_height_mm", "value": 40, "within": 1},
        {"measure": "camber_deg", "gradient": -0.033, "within": 0.0005},
        {"measure": "toe_deg", "range": [-25, 25], "within": 0.02},
        {"measure": "caster_deg", "value": 6, "within": 0.05},
        {"measure": "roll_centre_height_mm", "change": [0, 25], "value": -30, "within": 2},
    ]
    inner = {f"{level}_{end}.{c}": 12 for level in ("lower", "upper") for end in ("front", "rear") for c in "yz"}
    outer = {f"{p}_outer.{c}": 8 for p in ("lower", "upper", "tie") for c in "xz"}
    file = tmp_path / "targets.toml"
    file.write_text(targets_text("front", inner | outer | {"tie_inner.y": 10, "tie_inner.z": 10}, wants))
    ours, theirs = (tune(car("dunlin"), file, starts=100, executor=e) for e in (None, lossy))
    assert lossy.handed > 4
    assert theirs.starts_met == ours.starts_met > 50
    assert np.array_equal(theirs.moves, ours.moves)
    assert np.array_equal(theirs.answers, ours.answers)
