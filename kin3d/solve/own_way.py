"""How the unknowns of a lane go on along its own straight way to its drives: jets of the share of that way.

Who steps a lane asks at every step. From the seventh time on a system has the answer on a tape, which takes a
seventh of the time that jets take; writing it takes as long as some five of them. Lanes whose pivots have shrunk go by
jets.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from kin3d.solve.drives import value_of
from kin3d.solve.implicit import WEAK_PIVOT, BlockSolver, implicit
from kin3d.solve.lanes import Lanes
from kin3d.solve.planned import LeastPivot
from kin3d.solve.program import Evaluation
from kin3d.solve.system import System
from kin3d.solve.tape import Node, Tape, by_axis
from kin3d.spatial.jets import box
from kin3d.spatial.vectors import Vec

Array = NDArray[np.float64]
WORTH_RECORDING = 6  # times that a system is asked after which the answer is recorded


class OwnWay:
    """The unknowns of one system along the ways of lanes, to a degree."""

    def __init__(self, system: System, degree: int) -> None:
        self.system, self.degree = system, degree
        self._asked = 0
        self._tape: Evaluation | None = None

    def coefficients(
        self, at: Mapping[str, Vec], design: Mapping[str, Vec], axis: Vec, lanes: Lanes, reached: Array
    ) -> Array:
        """Taylor coefficients by the share of the way, shape (degree + 1, unknowns, lanes).

        Parameters
        ----------
        at, design, axis
            Unknown points, design points and direction of the rack of the lanes.
        reached : ndarray, shape (lanes,)
            Share of its way that each lane has come.
        """
        self._asked += 1
        whole = {name: lanes.drive(name) for name in self.system.drives}
        if self._asked > WORTH_RECORDING:
            inputs = by_axis("q", at) | by_axis("P", design) | {("rack", k): c for k, c in enumerate(axis)}
            inputs |= {("way", name): x for name, x in whole.items()}
            inputs |= {("stand", name): x * reached for name, x in whole.items()}
            self._tape = self._tape or self._recorded()
            *rows, pivot = self._tape.quickly(inputs)
            if np.all(pivot > WEAK_PIVOT):
                return self._stacked(rows, lanes.count)
        algebra = box(self.degree)
        stands = {name: algebra.variable(x * reached, 0, x) for name, x in whole.items()}
        return self._stacked(self._rows(at, design, axis, stands, BlockSolver), lanes.count)

    def _rows(
        self, at: Mapping[str, Vec], design: Mapping[str, Vec], axis: Vec, stands: Mapping[str, Any], solver: Any
    ) -> list[Any]:
        """All coefficients in one list, the degree varying slowest."""
        system = self.system
        values = {name: value_of(system.linkage, name, x) for name, x in stands.items()}
        jets = implicit(system, box(self.degree), at, design, values, system.axes(design, axis), solver)
        return [jets[p][k][(n,)] for n in range(self.degree + 1) for _, p, k in system.unknown_keys]

    def _stacked(self, rows: list[Any], count: int) -> Array:
        each = np.stack([np.broadcast_to(c, count) for c in rows])
        return each.reshape(self.degree + 1, -1, count)

    def _recorded(self) -> Evaluation:
        system, tape, algebra = self.system, Tape(), box(self.degree)
        there = system.equations.design
        at = {p: tape.place("q", p, there[p]) for p in system.equations.unknowns.points}
        design = {p: tape.place("P", p, there[p]) for p in system.linkage.points}
        stands = {
            name: algebra.variable(tape.input(("stand", name), 0.0), 0, tape.input(("way", name), 1.0))
            for name in system.drives
        }
        pivots = LeastPivot()
        rows = self._rows(at, design, tape.rack(), stands, pivots)
        every = [*rows, pivots.node or 1.0]
        return Evaluation([c if isinstance(c, Node) else tape.constant(float(c)) for c in every])
