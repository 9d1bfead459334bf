"""Jets against series and derivatives known in closed form (mpmath's Taylor series)."""

from __future__ import annotations

import mpmath
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from kin3d.spatial.jets import asin, atan2, box, sqrt, total_degree

ALONG = total_degree(1, 5)


def coefficients(jet):
    return [jet[(n,)] for n in range(6)]


@pytest.mark.parametrize("x0", [0.3, 0.7])
@pytest.mark.parametrize(
    ("mine", "theirs"),
    [
        (lambda x: sqrt(x), mpmath.sqrt),
        (lambda x: 1.0 / x, lambda x: 1 / x),
        (lambda x: x / (2.0 - x), lambda x: x / (2 - x)),
        (lambda x: asin(x), mpmath.asin),
        (lambda x: atan2(x, 2.0 - x * x), lambda x: mpmath.atan2(x, 2 - x * x)),
        (lambda x: -(x * x * x - 3.0 * x), lambda x: -(x**3 - 3 * x)),
    ],
)
def test_functions_against_mpmath_series(x0, mine, theirs):
    expected = [float(c) for c in mpmath.taylor(theirs, x0, 5)]
    assert_allclose(coefficients(mine(ALONG.variable(x0, 0))), expected, rtol=1e-11, atol=1e-12)


def test_angle_of_every_quadrant():
    for angle in np.linspace(-3.0, 3.0, 13):
        t = ALONG.variable(0.0, 0)
        found = atan2(t + np.sin(angle), t * 0.5 + np.cos(angle))
        assert_allclose(found.value, angle, rtol=0, atol=1e-14)
        assert_allclose(found[(1,)], np.cos(angle) - 0.5 * np.sin(angle), rtol=1e-12, atol=1e-14)


@given(st.lists(st.floats(-3, 3), min_size=6, max_size=6), st.lists(st.floats(-3, 3), min_size=6, max_size=6))
def test_products_are_those_of_polynomials(a, b):
    from numpy.polynomial import polynomial

    from kin3d.spatial.jets import Jet

    product = Jet(ALONG, list(a)) * Jet(ALONG, list(b))
    assert_allclose(coefficients(product), polynomial.polymul(a, b)[:6] if any(a) and any(b) else 0.0, atol=1e-9)


def test_mixed_derivatives_of_two_generators():
    """f(x, y) = x²y/(1 + y): ∂³f/∂x²∂y = 2/(1 + y)²."""
    algebra = box(2, 1)
    x, y = algebra.variable(1.7, 0), algebra.variable(0.4, 1)
    f = x * x * y / (1.0 + y)
    assert_allclose(f.derivative((2, 1)), 2.0 / 1.4**2, rtol=1e-14)
    assert_allclose(f.derivative((1, 1)), 2.0 * 1.7 / 1.4**2, rtol=1e-14)


def test_rate_is_the_derivative_along_a_generator():
    x = ALONG.variable(0.9, 0)
    f = x * x * x
    assert_allclose([f.rate()[(n,)] for n in range(4)], [3 * 0.81, 6 * 0.9, 3.0, 0.0], rtol=1e-14, atol=1e-14)


def test_arrays_on_the_left_leave_the_work_to_the_jet():
    x = ALONG.variable(np.array([1.0, 2.0]), 0)
    product = np.array([3.0, 4.0]) * x
    assert_allclose(product.value, [3.0, 8.0])
    assert_allclose((np.array([3.0, 4.0]) - x)[(1,)], -1.0)
