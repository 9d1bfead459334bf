"""Taylor expansions of every unknown about the design position, by exact derivatives along one drive or two.

A system that is asked for them again and again (batches of sampled cars, a point that is dragged) has them written down
on a tape, which takes a fifth of the time for one car; a variant whose pivots have shrunk goes by jets.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from itertools import product
from typing import Any

import numpy as np
from numpy.typing import NDArray

from kin3d.solve.continuation import vectors
from kin3d.solve.drives import RACK, RIGHT, TRAVEL, value_of
from kin3d.solve.engine import expecting
from kin3d.solve.implicit import WEAK_PIVOT, BlockSolver, Solver, implicit
from kin3d.solve.lanes import Lanes, Variants
from kin3d.solve.planned import LeastPivot
from kin3d.solve.stages import Stages
from kin3d.solve.system import BlockPlan, System
from kin3d.solve.tape import Node, Tape
from kin3d.spatial.jets import Algebra, total_degree
from kin3d.spatial.vectors import Vec

Array = NDArray[np.float64]
TRAVEL_DEGREE = 5  # degree of the Taylor expansion along travel alone
GRID_DEGREE = 4  # and along travel and rack together, or along a way of its own
FEW_VARIANTS = 4
BLOCK = 256  # lanes of one product of matrices
WORTH_RECORDING = 2  # expansions of a system after which they are recorded


def _algebra(drives: tuple[str, ...]) -> Algebra:
    return total_degree(len(drives), GRID_DEGREE if RACK in drives else TRAVEL_DEGREE)


def _coefficients(
    system: System,
    drives: tuple[str, ...],
    design: Mapping[str, Vec],
    rack_axis: Vec,
    solver_of: Callable[[BlockPlan, Mapping[Any, Any]], Solver],
) -> list[list[Any]]:
    """For every monomial that of every unknown: numbers of whatever kind the design is of, None for nothing."""
    algebra = _algebra(drives)
    values: dict[str, Any] = {name: value_of(system.linkage, name, 0.0) for name in system.drives}
    values |= {name: algebra.variable(0.0, k) for k, name in enumerate(drives)}
    if RIGHT in values and RIGHT not in drives:
        values[RIGHT] = values[TRAVEL]  # both wheels alike
    points = {p: design[p] for p in system.equations.unknowns.points}
    jets = implicit(system, algebra, points, design, values, system.axes(design, rack_axis), solver_of)
    return [[jets[p][k].coefficients[row] for _, p, k in system.unknown_keys] for row in range(len(algebra.monomials))]


class RecordedExpansion:
    """The expansions of a system along some drives, written down once for any number of variants."""

    def __init__(self, system: System, drives: tuple[str, ...]) -> None:
        tape, there = Tape(), system.equations.design

        design = {p: tape.place("P", p, there[p]) for p in system.linkage.points}
        pivots = LeastPivot()
        rows = _coefficients(system, drives, design, tape.rack(), pivots)
        nodes = [c if isinstance(c, Node) else tape.constant(float(c or 0.0)) for row in rows for c in row]
        self.points = system.linkage.points
        self.stages = Stages([*nodes, pivots.node or tape.constant(1.0)], tuple(tape.inputs))

    def coefficients(self, variants: Variants) -> Array | None:
        """All coefficients, shape (monomials · unknowns, variants); None where a variant needs full pivoting."""
        inputs = variants.numbers(self.points)
        out = np.empty((len(self.stages.outputs), variants.count))
        one = np.zeros(variants.count, dtype=np.intp)  # what varies are the variants themselves
        with expecting(0):  # whoever expects so many lanes has far fewer variants
            self.stages(np.empty((0, 1)), one, inputs, {}, list(out))
        return out[:-1] if np.all(out[-1] > WEAK_PIVOT) else None


class Expansion:
    """A Taylor expansion of every unknown, for every variant, over one drive or two."""

    def __init__(self, system: System, variants: Variants, drives: tuple[str, ...]) -> None:
        self.drives, self.monomials = drives, _algebra(drives).monomials
        shape = len(self.monomials), len(system.unknown_keys), variants.count
        taped = _recorded(system, drives)
        found = taped.coefficients(variants) if taped else None
        if found is not None:
            self.coefficients = found.reshape(shape)
            return
        zero = np.zeros(variants.count)
        _, design, axis = vectors(system, variants, Lanes(np.arange(variants.count), zero, zero), variants.start)
        rows = _coefficients(system, drives, design, axis, BlockSolver)
        self.coefficients = np.zeros(shape)
        for row, column in product(range(shape[0]), range(shape[1])):
            c = rows[row][column]
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


def _recorded(system: System, drives: tuple[str, ...]) -> RecordedExpansion | None:
    """The tape of an expansion, from its third time on: writing it takes as long as some four of them."""
    tape: RecordedExpansion | None
    times, tape = system.expansions.get(drives, (0, None))
    if times >= WORTH_RECORDING and tape is None:
        tape = RecordedExpansion(system, drives)
    system.expansions[drives] = times + 1, tape
    return tape
