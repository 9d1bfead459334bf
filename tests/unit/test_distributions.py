"""Normal numbers and quantiles against SciPy and NumPy."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal
from scipy.special import ndtri

from kin3d.spatial.distributions import moments, normal_quantile, order_statistics, quantiles

PARTS = (0.84, 0.16, 0.975, 0.025, 0.5, 0.0, 1.0)


def test_normal_quantile_over_all_parts() -> None:
    parts = np.concatenate([np.random.default_rng(1).uniform(size=20_000), 10.0 ** -np.arange(0.1, 300.0, 0.37)])
    assert_allclose(normal_quantile(parts), ndtri(parts), rtol=4e-15, atol=0.0)
    assert_allclose(normal_quantile(1.0 - parts[:1000]), ndtri(1.0 - parts[:1000]), rtol=4e-15, atol=0.0)


@pytest.mark.parametrize(
    "rows",
    [
        np.random.default_rng(2).normal(size=(7, 20_000)),
        np.random.default_rng(2).standard_cauchy(size=(3, 5_000)),  # few far off, the others in one class
        np.random.default_rng(2).integers(0, 3, size=(3, 999)).astype(float),
        np.ones((2, 500)),
        1e300 * np.random.default_rng(2).normal(size=(2, 50)),
        np.array([[3.0], [-1.0]]),
    ],
    ids=["normal", "far", "whole", "alike", "large", "single"],
)
def test_quantiles_are_the_numbers_of_a_sorted_row(rows: np.ndarray) -> None:
    ranks = np.unique([0, rows.shape[1] // 3, rows.shape[1] - 1])
    assert_array_equal(order_statistics(rows, ranks), np.sort(rows, axis=1)[:, ranks].T)
    assert_allclose(quantiles(rows, PARTS), np.quantile(rows, PARTS, axis=-1), rtol=1e-14, atol=1e-15)


def test_numbers_that_are_none_are_left_out() -> None:
    rng = np.random.default_rng(3)
    rows = np.where(rng.uniform(size=(2, 3, 400)) < 0.2, np.nan, rng.normal(size=(2, 3, 400)))
    rows[1, 2] = np.nan
    with np.errstate(all="ignore"), pytest.warns(RuntimeWarning):
        expected = np.nanquantile(rows, PARTS, axis=-1), np.nanmean(rows, axis=-1), np.nanstd(rows, axis=-1, ddof=1)
    assert_allclose(quantiles(rows, PARTS), expected[0], rtol=1e-14, atol=1e-15)
    assert_allclose(moments(rows)[:, 0], np.stack(expected[1:])[:, 0], rtol=1e-13, atol=1e-15)
