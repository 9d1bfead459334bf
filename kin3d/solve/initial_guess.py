"""Where Newton starts: a Taylor expansion about the design position, or a polynomial through a few solved positions.

Both are made of a variant's own design position; no lane sees another lane.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from kin3d.solve.continuation import along_the_way, vectors
from kin3d.solve.drives import RACK, RIGHT, TRAVEL, value_of
from kin3d.solve.implicit import implicit
from kin3d.solve.lanes import Lanes, Variants
from kin3d.solve.system import System
from kin3d.spatial.jets import total_degree

Array = NDArray[np.float64]
TRAVEL_DEGREE = 5  # degree of the Taylor expansion along travel alone
GRID_DEGREE = 4  # and along travel and rack together, or along a way of its own
NODES = 18  # solved positions through which the polynomial of a long sweep goes
LONG_SWEEP = 200  # lanes of one variant for each node from which the polynomial is worth its nodes
FEW_VARIANTS = 4
BLOCK = 256  # lanes of one product of matrices


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
        self._made: dict[tuple[str, ...], _Expansion] = {}
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

    def _along(self, drives: tuple[str, ...]) -> _Expansion:
        if drives not in self._made:
            self._made[drives] = _Expansion(self.system, self.variants, drives)
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
        jets = along_the_way(self.system, self.variants, lanes, q, np.zeros(lanes.count), GRID_DEGREE)
        return np.stack([np.broadcast_to(sum(j[k,] for k in range(GRID_DEGREE + 1)), lanes.count) for j in jets])


class _Expansion:
    """A Taylor expansion of every unknown, for every variant, over one drive or two."""

    def __init__(self, system: System, variants: Variants, drives: tuple[str, ...]) -> None:
        algebra = total_degree(len(drives), GRID_DEGREE if RACK in drives else TRAVEL_DEGREE)
        zero = np.zeros(variants.count)
        _, design, axis = vectors(system, variants, Lanes(np.arange(variants.count), zero, zero), variants.start)
        points = {p: design[p] for p in system.equations.unknowns.points}
        values = {name: value_of(system.linkage, name, 0.0) for name in system.drives}
        values |= {name: algebra.variable(0.0, k) for k, name in enumerate(drives)}
        if RIGHT in values and RIGHT not in drives:
            values[RIGHT] = values[TRAVEL]  # both wheels alike
        jets = implicit(system, algebra, points, design, values, system.axes(design, axis))
        self.drives, self.monomials = drives, algebra.monomials
        self.coefficients = np.zeros((len(self.monomials), len(system.unknown_keys), variants.count))
        for column, (_, p, k) in enumerate(system.unknown_keys):
            for row, c in enumerate(jets[p][k].coefficients):
                self.coefficients[row, column] = 0.0 if c is None else c

    def __call__(self, lanes: Lanes) -> Array:
        """Unknowns of the lanes, by sums in one order, which does not depend on how many lanes there are."""
        powers = self._powers([lanes.drive(name) for name in self.drives], lanes.count)
        total = np.zeros((self.coefficients.shape[1], lanes.count))
        if not lanes.count:
            return total
        first, last = int(lanes.variant.min()), int(lanes.variant.max())
        if last - first >= FEW_VARIANTS:
            for c, power in zip(self.coefficients, powers, strict=True):
                total += c[:, lanes.variant] * power
            return total
        for v in range(first, last + 1):
            mine = slice(None) if first == last else np.flatnonzero(lanes.variant == v)
            total[:, mine] = _in_blocks(np.ascontiguousarray(self.coefficients[..., v].T), powers[:, mine])
        return total

    def _powers(self, moved: Sequence[Array], count: int) -> Array:
        """Every monomial of the drives, shape (monomials, lanes), each one drive times one that stands before it."""
        out, row_of = np.ones((len(self.monomials), count)), {m: k for k, m in enumerate(self.monomials)}
        for row, monomial in enumerate(self.monomials):
            drive = next((k for k, n in enumerate(monomial) if n), None)
            if drive is not None:
                less = tuple(n - (k == drive) for k, n in enumerate(monomial))
                np.multiply(out[row_of[less]], moved[drive], out=out[row])
        return out


def _in_blocks(matrix: Array, columns: Array) -> Array:
    """A product of matrices by blocks of one width: one over all columns would round by how many there are."""
    count = columns.shape[1]
    if count % BLOCK:
        columns = np.concatenate([columns, np.zeros((len(columns), -count % BLOCK))], axis=1)
    out = np.empty((len(matrix), columns.shape[1]))
    for first in range(0, columns.shape[1], BLOCK):
        part = slice(first, first + BLOCK)
        out[:, part] = matrix @ columns[:, part]
    return out[:, :count]


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
