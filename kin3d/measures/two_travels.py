"""Derivatives along the travels of two wheels that are one system: both alike and apart, or each wheel's own.

With travels l and r of the left and the right wheel, alike is (l + r)/2 and apart, the left one up and the right one
down, is (l − r)/2.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import comb
from typing import Any

from kin3d.spatial.jets import Monomial, total_degree
from kin3d.spatial.vectors import Number

Pair = tuple[Number, Number]  # of the left wheel and of the right one
LEFT, RIGHT = 0, 1
MadeOf = list[tuple[int, float]]  # of which coefficients something is the sum, and how much of each


def rows_by_wheel(
    monomials: Sequence[Monomial], inner: int, travel: int, apart: int | None, side: int
) -> dict[Monomial, MadeOf]:
    """What each coefficient along both wheels' own travels is made of.

    Parameters
    ----------
    monomials : sequence of tuple of int
        Of the algebra that there is; the first `inner` generators are its own, the others are carried on.
    travel : int
        Generator of the travel: of wheels that are one system both alike.
    apart : int or None
        Generator of the wheels going apart; None for wheels that are independent: each moves with its own travel.
    side : {0, 1}
        Which wheel it is.

    Returns
    -------
    dict of tuple of int to list of (int, float)
        By the exponents of left travel, right travel and what is carried on; up to the degree to which all are there.
    """
    known = {m[:inner] for m in monomials}

    def exponents(of_travel: int, of_apart: int) -> Monomial:
        return tuple(of_travel if g == travel else (of_apart if g == apart else 0) for g in range(inner))

    degree = max(m[travel] for m in monomials)
    while apart is not None and any(exponents(*m) not in known for m in total_degree(2, degree).monomials):
        degree -= 1
    made: dict[Monomial, MadeOf] = {}
    for slot, m in enumerate(monomials):
        a, b = m[travel], 0 if apart is None else m[apart]
        if m[:inner] == exponents(a, b) and a + b <= degree:
            for both, factor in _expanded(a, b) if apart is not None else [((a, 0) if side == LEFT else (0, a), 1.0)]:
                made.setdefault((*both, *m[inner:]), []).append((slot, factor))
    every = total_degree(2, degree).monomials
    rests = dict.fromkeys(m[inner:] for m in monomials)
    return {(*m, *rest): made.get((*m, *rest), []) for m in every for rest in rests}


def _expanded(alike: int, apart: int) -> list[tuple[tuple[int, int], float]]:
    """((l + r)/2)^alike·((l − r)/2)^apart by the powers of l and r."""
    powers: dict[tuple[int, int], float] = {}
    for i in range(alike + 1):
        for j in range(apart + 1):
            factor = comb(alike, i) * comb(apart, j) * (-1.0) ** j * 0.5 ** (alike + apart)
            at = (alike + apart - i - j, i + j)
            powers[at] = powers.get(at, 0.0) + factor
    return [(at, factor) for at, factor in powers.items() if factor]


def weighted(coefficients: Sequence[Any], row: MadeOf) -> Any:
    """Sum of some coefficients, each times its factor; None where all of them are."""
    total = None
    for slot, factor in row:
        c = coefficients[slot]
        if c is not None:
            c = c if factor == 1.0 else c * factor
            total = c if total is None else total + c
    return total


def apply_inverse(alike: Pair, apart: Pair, values: Pair) -> Pair:
    """Travels of left and right that change two quantities by so much.

    Parameters
    ----------
    alike, apart : Pair
        Derivatives of both quantities along both travels alike, and along the left one up and the right one down.
    values : Pair
    """
    a, c = (0.5 * (alike[k] + apart[k]) for k in (LEFT, RIGHT))
    b, d = (0.5 * (alike[k] - apart[k]) for k in (LEFT, RIGHT))
    det = a * d - b * c
    return (d * values[0] - b * values[1]) / det, (a * values[1] - c * values[0]) / det


def each_wheels(alike: Pair, apart: Pair) -> tuple[Pair, Pair]:
    """Derivatives of both wheels' quantities along the left travel alone and along the right one alone."""
    left = 0.5 * (alike[LEFT] + apart[LEFT]), 0.5 * (alike[RIGHT] + apart[RIGHT])
    right = 0.5 * (alike[LEFT] - apart[LEFT]), 0.5 * (alike[RIGHT] - apart[RIGHT])
    return left, right
