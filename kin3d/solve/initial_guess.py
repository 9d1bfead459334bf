"""Where Newton starts: a Taylor expansion about the design position, or a polynomial through a few solved positions.

Both are made of a variant's own design position; no lane sees another lane.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from kin3d.solve.continuation import vectors
from kin3d.solve.implicit import implicit
from kin3d.solve.lanes import Lanes, Variants
from kin3d.solve.system import System
from kin3d.spatial.jets import Algebra, total_degree

Array = NDArray[np.float64]
TRAVEL_DEGREE = 5  # degree of the Taylor expansion along travel alone
GRID_DEGREE = 4  # and along travel and rack together
NODES = 18  # solved positions through which the polynomial of a long sweep goes
LONG_SWEEP = 200  # lanes of one variant for each node from which the polynomial is worth its nodes
FEW_VARIANTS = 4

Guess = Callable[[Lanes], Array]  # lanes to unknowns, shape (unknowns, lanes)


def taylor(system: System, variants: Variants, *, with_rack: bool) -> Guess:
    """Expansion of every unknown about the design position, by exact derivatives along travel and rack.

    Lanes whose rack stands straight take the expansion along travel alone, whatever their neighbours do.
    """
    along = _Expansion(system, variants, total_degree(1, TRAVEL_DEGREE))
    if not with_rack:
        return along
    both = _Expansion(system, variants, total_degree(2, GRID_DEGREE))

    def guess(lanes: Lanes) -> Array:
        straight = lanes.rack == 0.0
        if not straight.any():
            return both(lanes)
        out = np.empty((len(system.unknown_keys), lanes.count))
        for expansion, mine in ((along, straight), (both, ~straight)):
            out[:, mine] = expansion(lanes.take(mine))
        return out

    return guess


class _Expansion:
    """A Taylor expansion of every unknown, for every variant; over one drive (travel) or two (travel, rack)."""

    def __init__(self, system: System, variants: Variants, algebra: Algebra) -> None:
        travel = algebra.variable(0.0, 0)
        rack = algebra.variable(0.0, 1) if len(algebra.monomials[0]) > 1 else 0.0
        zero = np.zeros(variants.count)
        _, design, axis = vectors(system, variants, Lanes(np.arange(variants.count), zero, zero), variants.start)
        points = {p: design[p] for p in system.equations.unknowns.points}
        jets = implicit(system, algebra, points, design, travel, rack, axis)
        self.monomials = algebra.monomials
        self.coefficients = np.zeros((len(self.monomials), len(system.unknown_keys), variants.count))
        for column, (_, p, k) in enumerate(system.unknown_keys):
            for row, c in enumerate(jets[p][k].coefficients):
                self.coefficients[row, column] = 0.0 if c is None else c

    def __call__(self, lanes: Lanes) -> Array:
        """Unknowns of the lanes, by sums in one order: a product of matrices rounds by how many lanes there are."""
        one = self.coefficients.shape[-1] == 1
        total = np.zeros((self.coefficients.shape[1], lanes.count))
        for monomial, c in zip(self.monomials, self.coefficients, strict=True):
            power = np.ones(lanes.count)
            for drive, n in zip((lanes.travel, lanes.rack), monomial, strict=False):
                for _ in range(n):
                    power = power * drive
            total += (c if one else c[:, lanes.variant]) * power
        return total


def worth_nodes(variants: Variants, lanes: Lanes) -> bool:
    """Whether so many lanes of so few variants, all at one rack, deserve a polynomial through solved positions."""
    if variants.count > FEW_VARIANTS or lanes.count < LONG_SWEEP * NODES * variants.count:
        return False
    return bool((lanes.rack == lanes.rack[0]).all()) and float(np.ptp(lanes.travel)) > 0.0


def nodes(variants: Variants, lanes: Lanes) -> Lanes:
    """Chebyshev points of the lanes' range of travel, for every variant, the variant varying slowest."""
    low, high = float(lanes.travel.min()), float(lanes.travel.max())
    x = np.cos(np.pi * (np.arange(NODES) + 0.5) / NODES)
    travel = np.tile(0.5 * (low + high) + 0.5 * (high - low) * x, variants.count)
    return Lanes(np.repeat(np.arange(variants.count), NODES), travel, np.full(travel.size, lanes.rack[0]))


def through(variants: Variants, at: Lanes, q: Array) -> Guess:
    """Polynomial in travel through the solved nodes of each variant.

    Parameters
    ----------
    at : Lanes
        As `nodes` gives them.
    q : ndarray, shape (unknowns, nodes of all variants)
    """
    from numpy.polynomial.chebyshev import chebvander

    travel = at.travel[:NODES]
    middle, half = 0.5 * (travel.min() + travel.max()), 0.5 * float(np.ptp(travel))
    to_coefficients = np.linalg.inv(chebvander((travel - middle) / half, NODES - 1))
    coefficients = np.einsum("kn,mvn->vmk", to_coefficients, q.reshape(len(q), variants.count, NODES))

    def guess(lanes: Lanes) -> Array:
        basis = chebvander((lanes.travel - middle) / half, NODES - 1).T
        if variants.count == 1:
            return np.ascontiguousarray(coefficients[0] @ basis)
        out = np.empty((len(q), lanes.count))
        for v in range(variants.count):
            mine = lanes.variant == v
            out[:, mine] = coefficients[v] @ basis[:, mine]
        return out

    return guess
