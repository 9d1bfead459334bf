"""Measures from a tape are those of jets; machine code has numpy's bits, position by position."""

from __future__ import annotations

from dataclasses import fields

import numpy as np
import pytest

from kin3d.solve import engine as engines
from kin3d.solve.engine import using_engine
from kin3d.solve.lanes import Lanes
from kin3d.solve.model import AxleModel
from kin3d.studies import corner_model
from kin3d.studies.corner_model import CornerModel, derive
from kin3d.studies.derived import AskedMeasures
from kin3d.studies.registry import corner_measures
from tests.kinds import KINDS, demo_car
from tests.laws.cars import CORNERS, car, model

ENGINES = ("numpy", 0), ("llvm", 10**9), ("llvm", 0)  # with the lanes from which machine code is optimised


def _asked(read, axle, reach=25.0):
    """A corner in a few variants and positions, its measures, and directions of points and of figures."""
    corner = CornerModel.of(read, axle)
    there, _ = corner.available(corner_measures(axle))
    shaken = np.random.default_rng(3).normal(0.0, 0.5, (3, *corner.design.shape))
    seeds = corner.seeds.reshape(-1, *corner.design.shape)[::3]
    figures = {"axle.loaded_radius_mm": np.array([290.0, 295.0, 301.0])}
    moving = {"axle.loaded_radius_mm": np.linspace(-1.0, 1.0, len(seeds))}
    given = {"rates": True, "seeds": seeds, "figures": figures, "figure_seeds": moving}
    kernel = corner.model.kernel
    variants = kernel.variants(corner.design + shaken, corner.rack_axis)
    rack = 2.0 if axle == "front" else 0.0
    return corner, variants, kernel.lanes(variants, np.linspace(-reach, reach, 5), rack), there, given


@pytest.mark.parametrize(("name", "axle"), CORNERS)
def test_measures_from_a_tape_are_those_of_jets_and_machine_code_has_numpys_bits(name, axle, monkeypatch):
    _alike(_asked(car(name), axle), ENGINES, monkeypatch)


@pytest.mark.slow
@pytest.mark.parametrize("kind", KINDS)
def test_so_have_the_measures_of_every_layout(kind, tmp_path, monkeypatch):
    _alike(_asked(demo_car(tmp_path, kind), "rear", 12.0), ENGINES[:2], monkeypatch)


def _alike(asked, ways, monkeypatch):
    corner, variants, lanes, there, given = asked
    monkeypatch.setattr(corner_model, "WORTH_RECORDING", 10**9)
    jets = derive(corner, variants, lanes, AskedMeasures(there, **given))
    taped = []
    for engine, optimised_from in ways:
        monkeypatch.setattr(engines, "WORTH_OPTIMISING", optimised_from)
        with using_engine(engine):
            taped.append(derive(corner, variants, lanes, AskedMeasures(there, recorded=True, **given)))
    for field in fields(jets):
        for other in taped[1:]:
            assert np.array_equal(*(getattr(x, field.name) for x in (taped[0], other)), equal_nan=True), field.name
        ours, theirs = (getattr(x, field.name) for x in (taped[0], jets))
        good = np.isfinite(theirs)
        assert np.array_equal(ours[~good], theirs[~good], equal_nan=True)
        size = np.where(good, np.abs(theirs), 0.0).reshape(len(theirs), -1).max(axis=1)
        near = 1e-11 * np.broadcast_to(size, theirs.T.shape).T + 1e-18
        assert (np.abs(ours - theirs)[good] <= near[good]).all(), field.name


@pytest.mark.parametrize(("name", "axle"), CORNERS)
def test_positions_have_the_same_bits_and_status_far_beyond_the_travel_too(name, axle):
    _same_positions(model(name, axle))


@pytest.mark.slow
@pytest.mark.parametrize("kind", KINDS)
def test_so_have_the_positions_of_every_layout(kind, tmp_path):
    """Of a layout that is one system over both sides, both move together here."""
    _same_positions(AxleModel.of(demo_car(tmp_path, kind), "rear"))


def _same_positions(own):
    kernel = own.kernel
    travel = np.concatenate([np.linspace(-220.0, 220.0, 9), np.linspace(-40.0, 40.0, 60)])
    rack = np.where(np.arange(len(travel)) % 3 == 0, 4.0, 0.0)
    one = kernel.lanes(own.variants, travel, rack)
    long = Lanes(np.repeat([0, 1], 4000), np.tile(np.linspace(-30.0, 30.0, 4000), 2), np.zeros(8000))
    for lanes, step in ((one, True), (long, False)):
        found = []
        for engine in ("numpy", "llvm"):
            with using_engine(engine):
                found.append(kernel.solve(own.variants, lanes, step=step))
        assert np.array_equal(found[0].status, found[1].status)
        assert np.array_equal(found[0].q, found[1].q, equal_nan=True)
        assert np.array_equal(found[0].error_mm, found[1].error_mm, equal_nan=True)
        assert found[0].limits == found[1].limits
    assert (found[0].status == 0).mean() > 0.9
