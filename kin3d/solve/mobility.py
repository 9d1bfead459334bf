"""Mobility: how many ways a linkage can still move, which constraints are too many, told by name."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kin3d.linkage.layout import Linkage
from kin3d.solve.equations import Row

RANK_TOLERANCE = 1e-9  # singular values under this part of the largest count as zero
WEIGHT = 0.2  # a row or coordinate speaks in a null vector when it has this part of the largest entry


@dataclass(frozen=True, slots=True)
class Mobility:
    """Counts and sentences about the Jacobian in one position, drives held.

    Attributes
    ----------
    unknowns, equations, rank : int
        Columns, rows and rank of the Jacobian. All three are equal for a linkage whose every position is
        determined by travel and rack.
    free : tuple of str
        A sentence for each motion that nothing holds; equal ones once.
    redundant : tuple of str
        One sentence a group of constraints that say the same or contradict each other.
    """

    unknowns: int
    equations: int
    rank: int
    free: tuple[str, ...] = ()
    redundant: tuple[str, ...] = ()

    @property
    def determined(self) -> bool:
        """Whether travel and rack determine every position, with no constraint too many."""
        return self.unknowns == self.equations == self.rank

    def __str__(self) -> str:
        head = f"{self.unknowns} unknown coordinates, {self.equations} equations, rank {self.rank}"
        if self.determined:
            return f"{head}: travel and rack determine every position"
        return "; ".join((head, *self.free, *self.redundant))


def examine(
    jacobian: NDArray[np.float64], rows: Sequence[Row], unknown_points: Sequence[str], linkage: Linkage
) -> Mobility:
    """Rank and null spaces of a Jacobian in words.

    Parameters
    ----------
    jacobian : ndarray, shape (rows, unknowns)
        Rows scaled to lengths (mm per mm).
    rows : sequence of Row
    unknown_points : sequence of str
        Unknown points in column order, three columns each.
    linkage : Linkage
    """
    u, s, vt = np.linalg.svd(jacobian)
    rank = int((s > RANK_TOLERANCE * s[0]).sum()) if s.size else 0
    free = dict.fromkeys(_free(v, unknown_points, linkage) for v in _sparse_basis(vt[rank:]))
    redundant = dict.fromkeys(_redundant(w, rows) for w in _sparse_basis(u.T[rank:]))
    return Mobility(jacobian.shape[1], jacobian.shape[0], rank, tuple(free), tuple(redundant))


def _sparse_basis(vectors: NDArray[np.float64]) -> NDArray[np.float64]:
    """The same space spanned by vectors with zeros where they can be, so that each names few things."""
    basis = vectors.copy()
    for k in range(len(basis)):
        pivot = int(np.argmax(np.abs(basis[k])))
        basis[k] /= basis[k, pivot]
        for j in range(len(basis)):
            if j != k:
                basis[j] -= basis[j, pivot] * basis[k]
    return basis


def loud(vector: NDArray[np.float64]) -> NDArray[np.intp]:
    """Indices of the entries that matter in a null vector, largest first."""
    size = np.abs(vector)
    picked = np.flatnonzero(size >= WEIGHT * size.max())
    return picked[np.argsort(-size[picked], kind="stable")]


def _free(vector: NDArray[np.float64], points: Sequence[str], linkage: Linkage) -> str:
    moving = dict.fromkeys(points[k // 3] for k in loud(vector))
    bodies = [b for b, ps in linkage.bodies.items() if any(p in moving for p in ps)]
    named = " and ".join(f'"{b}"' for b in bodies)
    return f"nothing holds {', '.join(moving)} of {named}: a link or a chassis point is missing, or points are in line"


def _redundant(vector: NDArray[np.float64], rows: Sequence[Row]) -> str:
    named = "; ".join(str(rows[k]) for k in loud(vector))
    return f"these constraints hold the same motion, one of them is too many: {named}"
