"""Blocks solved by their plan alone, for tapes: they have no branch for lanes whose pivots have shrunk."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from kin3d.solve.elimination import Factors
from kin3d.solve.system import BlockPlan
from kin3d.solve.tape import Node


@dataclass(frozen=True, slots=True)
class PlannedBlock:
    """A block solved by its plan alone: a tape has no branch for lanes whose pivots have shrunk."""

    plan: BlockPlan
    factors: Factors

    def solve(self, rhs: list[Any]) -> list[Any]:
        """Solve J x = rhs."""
        return self.plan.elimination.solve(self.factors, rhs)


@dataclass(slots=True)
class LeastPivot:
    """Makes the solvers of a recording and keeps the least pivot over that of the reference position."""

    least: Any = field(default=None)

    def __call__(self, plan: BlockPlan, inputs: Mapping[Any, Any]) -> PlannedBlock:
        """The solver of a block in some position."""
        values = dict(zip(plan.entries, plan.evaluation(inputs), strict=True))
        block = PlannedBlock(plan, plan.elimination.factor(values))
        for pivot, reference in zip(block.factors.pivots, plan.reference_pivots, strict=True):
            ratio: Any = np.abs(pivot / reference)
            self.least = ratio if self.least is None else np.minimum(self.least, ratio)
        return block

    @property
    def node(self) -> Node | None:
        """It, where it is no constant."""
        return self.least if isinstance(self.least, Node) else None
