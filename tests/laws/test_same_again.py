"""Results are the same to the last bit when run again: alone, among others, in chunks, with workers."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_array_equal

import kin3d
from kin3d.solve import kernel
from kin3d.solve.initial_guess import worth_nodes
from kin3d.studies import monte_carlo
from tests.laws.cars import CORNERS, model

TRAVEL = np.linspace(-60.0, 60.0, 81)
RACK = np.array([-12.0, 0.0, 7.0])
CARS = ["models/dunlin/car.toml", "models/plover/car.toml", "models/siskin/car.toml"]


def bits(values):
    return np.asarray(values).tobytes()


@pytest.mark.parametrize(("name", "axle"), CORNERS)
def test_a_position_is_the_same_alone_and_among_others(name, axle, monkeypatch):
    m = model(name, axle)
    lanes = m.kernel.lanes(m.variants, TRAVEL[:, None], RACK)
    together = m.kernel.solve(m.variants, lanes)
    for k in range(0, lanes.count, 7):
        alone = m.kernel.solve(m.variants, lanes.take(slice(k, k + 1)))
        assert bits(alone.q[:, 0]) == bits(together.q[:, k]), (lanes.travel[k], lanes.rack[k])
        assert alone.status[0] == together.status[k]
    monkeypatch.setattr(kernel, "CHUNK", 50)
    chunks = m.kernel.solve(m.variants, lanes)
    assert bits(chunks.q) == bits(together.q)


@pytest.mark.parametrize(("name", "axle"), CORNERS)
def test_a_position_is_the_same_in_sweeps_of_any_length_and_range(name, axle):
    """A long sweep starts from a polynomial through nodes of its own range, a short one from Taylor's expansion."""
    m = model(name, axle)
    left = m.kernel.variants(m.variants.design[:1], m.variants.rack_axis[:1])
    travel = np.linspace(-32.0, 40.0, 4500)
    short = m.kernel.solve(left, m.kernel.lanes(left, travel[::9]))
    assert (short.status == 0).sum() > 300
    for part in (travel[:3780], travel[900:], travel):
        lanes = m.kernel.lanes(left, part)
        assert worth_nodes(left, lanes)
        long = m.kernel.solve(left, lanes)
        mine = np.searchsorted(travel[::9], part[np.isin(part, travel[::9])])
        theirs = long.q[:, np.isin(part, travel[::9])]
        assert bits(theirs) == bits(short.q[:, mine])
        assert bits(long.status[np.isin(part, travel[::9])]) == bits(short.status[mine])


@pytest.mark.parametrize("file", CARS)
def test_every_measure_of_81_positions_is_that_of_each_position_alone(file):
    car = kin3d.load(file)
    together = kin3d.sweep(car, "front", travel=TRAVEL, rack=RACK)
    for k in range(0, 81, 8):
        alone = kin3d.sweep(car, "front", travel=TRAVEL[k : k + 1], rack=[0.0])
        for name, values in alone.values.items():
            assert bits(values[0, 0]) == bits(together.values[name][k, 1]), (TRAVEL[k], name)


def test_workers_change_no_bit(monkeypatch):
    monkeypatch.setattr(monte_carlo, "WORTH_PROCESSES", 1)
    monkeypatch.setattr(monte_carlo, "PIECE_LANES", 100)
    first, second = kin3d.load(CARS[0]), kin3d.load(CARS[1])
    travel, names = [-20.0, 20.0], ["toe_deg", "camber_deg"]
    one, *more = (
        kin3d.tolerance(first, "front", travel, names, sigma=0.3, samples=300, workers=w) for w in (1, 2, 3)
    )
    for other in more:
        for table, again in zip(one.records(), other.records(), strict=True):
            assert repr(table.rows) == repr(again.rows)
    one, two = (
        kin3d.compare([first, second], "front", travel, names, sigma=0.3, samples=300, workers=w) for w in (1, 2)
    )
    for table, again in zip(one.records(), two.records(), strict=True):
        assert repr(table.rows) == repr(again.rows)


def test_pieces_of_samples_change_no_bit(monkeypatch):
    car = kin3d.load(CARS[0])
    found = []
    for size in (64, 900):
        monkeypatch.setattr(monte_carlo, "PIECE_LANES", size)
        found.append(kin3d.tolerance(car, "front", [-30.0, 15.0], sigma=0.5, samples=500))
    for a, b in zip(found[0].records(), found[1].records(), strict=True):
        assert repr(a.rows) == repr(b.rows)
    assert_array_equal(found[0].spread.failed, found[1].spread.failed)
