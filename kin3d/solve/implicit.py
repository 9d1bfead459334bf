"""Derivatives of any order of the solved position, by jets: no finite differences, no hand-written second derivatives.

F(q(s), s) = 0 holds to every order. Evaluate F with the jet of q known up to degree d − 1; what is left at degree d
is a right-hand side, and one solve with J gives the coefficients of degree d. Blocks are taken in their order, so
that each sees what those before it have found.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from kin3d.solve.drives import DriveAxes, DriveValues
from kin3d.solve.elimination import Factors
from kin3d.solve.system import BlockPlan, System
from kin3d.solve.tape import by_axis
from kin3d.spatial.jets import Algebra, Jet, value
from kin3d.spatial.vectors import Vec

WEAK_PIVOT = 1e-5  # a pivot this much smaller than in the reference position sends its lanes to the dense solver


class Solver(Protocol):
    """What solves one block."""

    def solve(self, rhs: list[Any]) -> list[Any]:
        """Solve J x = rhs."""
        ...


class BlockSolver:
    """J of one block over lanes, factored by the plan, dense where the plan's pivots have shrunk."""

    def __init__(self, plan: BlockPlan, inputs: Mapping[Any, Any]) -> None:
        self.plan = plan
        values = dict(zip(plan.entries, plan.evaluation.quickly(inputs), strict=True))
        with np.errstate(all="ignore"):
            self.factors: Factors = plan.elimination.factor(values)
        self.weak = self._weak_lanes(values)
        self._dense = self._stack(values) if self.weak.any() else None

    def _weak_lanes(self, values: Mapping[tuple[int, int], Any]) -> NDArray[np.bool_]:
        """Lanes whose planned pivots have shrunk; lanes without a position (NaN) are let be."""
        with np.errstate(all="ignore"):
            ratios = [abs(p / r) for p, r in zip(self.factors.pivots, self.plan.reference_pivots, strict=True)]
            smallest = np.min(np.stack(np.broadcast_arrays(*ratios)), axis=0)
            solved = np.isfinite(np.sum(np.stack(np.broadcast_arrays(*values.values())), axis=0))
            return np.atleast_1d(np.asarray(solved & ~(smallest > WEAK_PIVOT)))

    def _stack(self, values: Mapping[tuple[int, int], Any]) -> NDArray[np.float64]:
        size = self.plan.elimination.size
        out = np.zeros((len(self.weak), size, size))
        for (i, j), v in values.items():
            out[:, i, j] = v
        return out[self.weak]

    def solve(self, rhs: list[Any]) -> list[Any]:
        """Solve J x = rhs; each entry is a number or an array whose last axis runs over lanes."""
        with np.errstate(all="ignore"):
            x = self.plan.elimination.solve(self.factors, rhs)
        if self._dense is None:
            return x
        shape = np.broadcast_shapes(*(np.shape(v) for v in (*rhs, self.weak)))
        full = np.stack([np.broadcast_to(v, shape) for v in rhs], axis=-1)[..., self.weak, :]
        better = stack_solve(self._dense, full)
        out = [np.array(np.broadcast_to(v, shape)) for v in x]
        for k, v in enumerate(out):
            v[..., self.weak] = better[..., k]
        return out


def stack_solve(matrices: NDArray[np.float64], rhs: NDArray[np.float64]) -> NDArray[np.float64]:
    """Solve a stack of systems, shape (n, m, m), for rhs of shape (…, n, m); singular ones by least squares."""
    try:
        return np.asarray(np.linalg.solve(matrices, rhs[..., None])[..., 0], dtype=np.float64)
    except np.linalg.LinAlgError:
        # a lane that was not reached is NaN: it stays NaN; one that is singular must change nothing for the others
        finite = np.asarray(np.isfinite(matrices).all(axis=(-2, -1)))
        singular = finite.copy()
        singular[finite] = np.linalg.det(matrices[finite]) == 0.0
        regular = matrices.copy()
        regular[singular] = np.eye(matrices.shape[-1])
        out = np.asarray(np.linalg.solve(regular, rhs[..., None])[..., 0], dtype=np.float64)
        inverse = np.linalg.pinv(matrices[singular])
        out[..., singular, :] = (inverse @ rhs[..., singular, :, None])[..., 0]
        return out


def stack_inverse(matrices: NDArray[np.float64]) -> NDArray[np.float64]:
    """Inverses of a stack of matrices, shape (n, m, m); of singular ones the pseudo-inverse."""
    try:
        return np.asarray(np.linalg.inv(matrices), dtype=np.float64)
    except np.linalg.LinAlgError:
        singular = np.linalg.det(matrices) == 0.0
        regular = np.where(singular[:, None, None], np.eye(matrices.shape[-1]), matrices)
        out = np.asarray(np.linalg.inv(regular), dtype=np.float64)
        out[singular] = np.linalg.pinv(matrices[singular])
        return out


def implicit(
    system: System,
    algebra: Algebra,
    q: Mapping[str, Vec],
    design: Mapping[str, Vec],
    values: DriveValues,
    axes: DriveAxes,
    solver_of: Callable[[BlockPlan, Mapping[Any, Any]], Solver] = BlockSolver,
) -> dict[str, Vec]:
    """Jets of the unknown points.

    Parameters
    ----------
    algebra : Algebra
        Which derivatives are wanted.
    q : mapping of point to vector
        The solved position: numbers or arrays over lanes.
    design, axes : mappings to vectors
        Numbers, or jets where a design coordinate is varied.
    values : mapping of drive to number, Jet or pair
        Jets where the drive is varied.
    solver_of : callable, optional
        Makes the solver of a block from its plan and the numbers of the position.

    Returns
    -------
    dict of point to vector of Jet
    """
    inputs = _inputs(q, design, values, axes)
    solvers = [solver_of(plan, inputs) for plan in system.blocks]
    jets = {p: tuple(algebra.constant(c) for c in v) for p, v in q.items()}
    chosen = [[system.equations.rows[r] for r in system.row_order[plan.slice]] for plan in system.blocks]
    carried = [system.equations.carried_by(rows) for rows in chosen]
    weights = system.equations.weights(design, set().union(*carried))
    for degree in range(1, algebra.degree + 1):
        # what is of a higher degree does not reach down, so that it need not be computed yet
        small = algebra.up_to(degree)
        wanted = [k for k, m in enumerate(small.monomials) if sum(m) == degree]
        drives = {name: _cut_all(v, small) if isinstance(v, tuple) else _cut(v, small) for name, v in values.items()}
        then, ways, now = ({p: _cut_all(v, small) for p, v in given.items()} for given in (design, axes, jets))
        for plan, solver, rows, names in zip(system.blocks, solvers, chosen, carried, strict=True):
            constants = {p: _cut_all(weights[p], small) for p in names}
            at = system.equations.places(now, then, drives, ways, constants)
            residuals = [system.equations.residual(r, at, then, drives, ways) for r in rows]
            for k in wanted:
                right = [_negative(r, k) for r in residuals]
                if all(v is None for v in right):
                    continue
                solved = solver.solve([0.0 if v is None else v for v in right])
                target = algebra.index[small.monomials[k]]
                for (_, point, axis), found in zip(system.unknown_keys[plan.slice], solved, strict=True):
                    jets[point][axis].coefficients[target] = now[point][axis].coefficients[k] = found
    return {p: (v[0], v[1], v[2]) for p, v in jets.items()}


def _cut(x: Any, algebra: Algebra) -> Any:
    return x.cut(algebra) if isinstance(x, Jet) else x


def _cut_all(numbers: tuple[Any, ...], algebra: Algebra) -> Any:
    return tuple(_cut(x, algebra) for x in numbers)


def _negative(row: Any, k: int) -> Any:
    if not isinstance(row, Jet) or row.coefficients[k] is None:
        return None
    return -row.coefficients[k]


def _inputs(q: Mapping[str, Vec], design: Mapping[str, Vec], values: DriveValues, axes: DriveAxes) -> dict[Any, Any]:
    """Tape inputs with the constant parts of whatever is a jet."""
    out = by_axis("q", q) | by_axis("P", design) | by_axis("axis", axes)
    for name, stands in values.items():
        parts = stands if isinstance(stands, tuple) else (stands,)
        out |= {("drive", name, k): x for k, x in enumerate(parts)}
    return {key: value(x) for key, x in out.items()}
