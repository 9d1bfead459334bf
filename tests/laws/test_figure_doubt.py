"""Deviations of figures in settle and rates, against the studies themselves run with other figures, and by hand."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

import kin3d
from kin3d.studies.figure_doubt import FigureDoubt

DUNLIN = Path(__file__).parents[2] / "models" / "dunlin" / "car.toml"
GUESSED = {
    "car.mass_kg": [470.0, 6.0],
    "car.cg_height_mm": [285.0, 12.0],
    "front.spring.rate_n_per_mm": [38.0, 2.0],
    "rear.loaded_radius_mm": [267.0, 1.5],
    "front.bar.rate_n_m_per_deg": [12.0, 1.0],
}
LOADS = {"braking": 0.6, "lateral": 1.1}


@pytest.fixture(scope="module")
def guessed() -> kin3d.Car:
    return kin3d.load(DUNLIN).with_figures(GUESSED)


@pytest.fixture(scope="module")
def attitude(guessed: kin3d.Car) -> FigureDoubt:
    doubt = kin3d.settle(guessed, **LOADS).doubt
    assert doubt is not None
    return doubt


def test_a_car_without_deviations_has_no_doubt() -> None:
    car = kin3d.load(DUNLIN)
    assert kin3d.settle(car, **LOADS).doubt is None
    assert kin3d.rates(car).doubt is None


def test_changes_of_the_attitude_are_those_of_settling_anew(attitude: FigureDoubt) -> None:
    doubt = attitude
    assert set(doubt.sources) == set(GUESSED)
    exact = kin3d.load(DUNLIN)
    for n, key in enumerate(doubt.sources):
        value, sigma = GUESSED[key]
        more, less = (
            np.array([f[2] for f in kin3d.settle(exact.with_figures({key: value + s * sigma}), **LOADS).figures()])
            for s in (0.3, -0.3)
        )
        # a difference of 0.3 sigma to either side bends by far less than this
        np.testing.assert_allclose(doubt.slope[:, n], (more - less) / 0.6, rtol=0.02, atol=2e-4, err_msg=key)
    np.testing.assert_allclose(doubt.sigma, np.sqrt((doubt.slope**2).sum(axis=1)), rtol=1e-12, atol=0)


def test_tyre_loads_keep_their_sum_with_the_weight(attitude: FigureDoubt) -> None:
    """One sigma of mass is 6 kg: the four loads together change by 6 g and by nothing else's error."""
    doubt = attitude
    loads = [k for k, name in enumerate(doubt.names) if name.endswith(" load")]
    total = dict(zip(doubt.sources, doubt.slope[loads].sum(axis=0), strict=True))
    assert total.pop("car.mass_kg") == pytest.approx(6.0 * 9.80665, rel=1e-3)
    assert max(map(abs, total.values())) < 1e-4


def test_rates_by_hand(guessed: kin3d.Car) -> None:
    """Heave rate: 2 N/mm at the spring is 2·MR² at the wheel; the bar works in roll alone."""
    found = kin3d.rates(guessed)
    assert found.doubt is not None
    ratio = float(found.found.curves[0].heave_ratio[0])
    at = dict(zip(found.doubt.names, found.doubt.sigma, strict=True))
    assert at["front heave_rate_n_per_mm"] == pytest.approx(2.0 * ratio**2, rel=1e-6)
    row = found.doubt.names.index("front roll_rate_n_m_per_deg")
    share = dict(zip(found.doubt.sources, found.doubt.share[row], strict=True))
    assert share["front.bar.rate_n_m_per_deg"] > 0.05
    assert sum(share.values()) == pytest.approx(1.0, abs=1e-12)
    assert [t.key for t in found.tables()][-1] == "doubt"
    assert "front.spring.rate_n_per_mm 100 %" in str(found.doubt.table().rows[0])
    (record,) = [t for t in found.records() if t.key == "doubt"]
    assert len(record.rows) == len(found.doubt.names) * len(GUESSED)
