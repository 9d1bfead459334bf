"""Where Newton starts: a Taylor expansion about the design position, or a polynomial through a few solved positions.

Both are made of a variant's own design position; no lane sees another lane.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from kin3d.solve.continuation import along_the_way
from kin3d.solve.drives import RACK, RIGHT, TRAVEL
from kin3d.solve.expansion import FEW_VARIANTS, GRID_DEGREE, Expansion
from kin3d.solve.lanes import Lanes, Variants
from kin3d.solve.system import System

Array = NDArray[np.float64]
NODES = 18  # solved positions through which the polynomial of a long sweep goes
LONG_SWEEP = 200  # lanes of one variant for each node from which the polynomial is worth its nodes


class Guess(Protocol):
    """Where lanes start."""

    def __call__(self, lanes: Lanes) -> Array:
        """Unknowns of the lanes, shape (unknowns, lanes)."""
        ...

    def polynomial(self, lanes: Lanes) -> Polynomial | None:
        """The same as a polynomial in one drive, where it is one for all of these lanes."""
        ...


@dataclass(frozen=True, slots=True)
class Polynomial:
    """Unknowns as powers of x = (drive − middle)·scale.

    Attributes
    ----------
    drive : str
    middle, scale : float
    coefficients : ndarray, shape (variants, degree + 1, unknowns)
    """

    drive: str
    middle: float
    scale: float
    coefficients: Array


class Taylor:
    """Expansions of every unknown about the design position, by exact derivatives along the drives.

    A lane takes the expansion along the drives that it moves and no other, whatever its neighbours do: along travel
    alone, both wheels alike; along travel and rack; along the travels of two wheels that differ, where both sides are
    one system; for any other mix, along its own straight way.
    """

    def __init__(self, system: System, variants: Variants) -> None:
        self.system, self.variants = system, variants
        self._made: dict[tuple[str, ...], Expansion] = {}
        self._along((TRAVEL,))

    def __call__(self, lanes: Lanes) -> Array:
        """Unknowns of the lanes, shape (unknowns, lanes)."""
        straight = lanes.straight
        if straight.all():
            return self._along((TRAVEL,))(lanes)
        kinds: list[tuple[tuple[str, ...], NDArray[np.bool_]]] = [((TRAVEL,), straight)]
        even = self._even(lanes)
        uneven = ~straight & ~even & (lanes.rack == 0.0) & self._idle(lanes)
        racked = ~straight & even & self._idle(lanes)
        kinds += [((TRAVEL, RACK), racked), ((TRAVEL, RIGHT), uneven)]
        kinds.append(((), ~straight & ~racked & ~uneven))
        if any(mine.all() for _, mine in kinds):
            return self._start(next(drives for drives, mine in kinds if mine.all()), lanes)
        out = np.empty((len(self.system.unknown_keys), lanes.count))
        for drives, mine in kinds:
            if mine.any():
                out[:, mine] = self._start(drives, lanes.take(mine))
        return out

    def polynomial(self, lanes: Lanes) -> Polynomial | None:
        """See `Guess`."""
        if not lanes.straight.all():
            return None
        return Polynomial(TRAVEL, 0.0, 1.0, np.moveaxis(self._along((TRAVEL,)).coefficients, 2, 0))

    def _start(self, drives: tuple[str, ...], lanes: Lanes) -> Array:
        return self._along(drives)(lanes) if drives else self._own_way(lanes)

    def _along(self, drives: tuple[str, ...]) -> Expansion:
        if drives not in self._made:
            self._made[drives] = Expansion(self.system, self.variants, drives)
        return self._made[drives]

    @staticmethod
    def _even(lanes: Lanes) -> NDArray[np.bool_]:
        return np.asarray(lanes.drive(RIGHT) == lanes.travel)

    @staticmethod
    def _idle(lanes: Lanes) -> NDArray[np.bool_]:
        """Lanes that move none of the layout's own drives."""
        out = np.ones(lanes.count, dtype=bool)
        for name, x in lanes.more.items():
            out &= (x == 0.0) | (name == RIGHT)
        return out

    def _own_way(self, lanes: Lanes) -> Array:
        start = self.variants.per_lane(self.variants.start, lanes)
        q = np.array(np.broadcast_to(start, (len(start), lanes.count)))
        way = along_the_way(self.system, self.variants, lanes, q, np.zeros(lanes.count), GRID_DEGREE)
        return np.asarray(way.sum(axis=0))  # at the end of the whole way every power is 1


def worth_nodes(variants: Variants, lanes: Lanes) -> bool:
    """Whether so many lanes of so few variants, other drives held, deserve a polynomial through solved positions."""
    if variants.count > FEW_VARIANTS or lanes.count < LONG_SWEEP * NODES * variants.count:
        return False
    held = all((x == x[0]).all() for x in (lanes.rack, *lanes.more.values()))
    return held and RIGHT not in lanes.more and float(np.ptp(lanes.travel)) > 0.0


def nodes(variants: Variants, lanes: Lanes) -> Lanes:
    """Chebyshev points of the lanes' range of travel, for every variant, the variant varying slowest."""
    low, high = float(lanes.travel.min()), float(lanes.travel.max())
    x = np.cos(np.pi * (np.arange(NODES) + 0.5) / NODES)
    travel = np.tile(0.5 * (low + high) + 0.5 * (high - low) * x, variants.count)
    more = {name: np.full(travel.size, x[0]) for name, x in lanes.more.items()}
    return Lanes(np.repeat(np.arange(variants.count), NODES), travel, np.full(travel.size, lanes.rack[0]), more)


def through(variants: Variants, at: Lanes, q: Array) -> Through:
    """Polynomial in travel through the solved nodes of each variant.

    Parameters
    ----------
    at : Lanes
        As `nodes` gives them.
    q : ndarray, shape (unknowns, nodes of all variants)
    """
    travel = at.travel[:NODES]
    middle, half = 0.5 * (travel.min() + travel.max()), 0.5 * float(np.ptp(travel))
    to_coefficients = np.linalg.inv(_basis((travel - middle) / half))
    coefficients = np.einsum("kn,mvn->vkm", to_coefficients, q.reshape(len(q), variants.count, NODES))
    return Through(middle, half, coefficients)


@dataclass(frozen=True, slots=True)
class Through:
    """Polynomials in x = (travel − middle)/half: coefficients of Chebyshev's, shape (variants, nodes, unknowns)."""

    middle: float
    half: float
    coefficients: Array

    def __call__(self, lanes: Lanes) -> Array:
        """See `Guess`."""
        basis = _basis((lanes.travel - self.middle) / self.half).T
        if len(self.coefficients) == 1:
            return np.ascontiguousarray(self.coefficients[0].T @ basis)
        out = np.empty((self.coefficients.shape[2], lanes.count))
        for v, coefficients in enumerate(self.coefficients):
            mine = lanes.variant == v
            out[:, mine] = coefficients.T @ basis[:, mine]
        return out

    def polynomial(self, _lanes: Lanes) -> Polynomial:
        """See `Guess`; powers in place of Chebyshev's lose digits, which costs few lanes a step more."""
        return Polynomial(TRAVEL, self.middle, 1.0 / self.half, np.einsum("kp,vkm->vpm", _powers(), self.coefficients))


def _basis(x: Array) -> Array:
    from numpy.polynomial.chebyshev import chebvander

    return np.asarray(chebvander(x, NODES - 1), dtype=np.float64)


@lru_cache(maxsize=1)
def _powers() -> Array:
    """Chebyshev's polynomials in powers, shape (nodes, nodes): T₀ = 1, T₁ = x, Tₖ₊₁ = 2x·Tₖ − Tₖ₋₁."""
    out = np.eye(NODES)
    for k in range(2, NODES):
        out[k] = 2.0 * np.roll(out[k - 1], 1) - out[k - 2]
    return out
