"""Order of solving: the structure of the equations splits them into blocks that are solved one after the other."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from graphlib import TopologicalSorter

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True, slots=True)
class Block:
    """Rows and unknowns of one block, as indices into the whole system, ascending."""

    rows: tuple[int, ...]
    columns: tuple[int, ...]


def split(entries: Iterable[tuple[int, int]], size: int) -> tuple[Block, ...]:
    """Blocks of a square system in an order in which each needs only those before it.

    Rows are matched with unknowns (a bipartite matching); unknowns that need each other in a circle (strong
    components) make one block. scipy.sparse.csgraph has both, but importing it costs a fifth of a second, as long as
    a whole sweep; a corner has some twelve unknowns, for which the plain methods below are enough.

    Parameters
    ----------
    entries : iterable of (int, int)
        Row and column of every structural entry of the Jacobian.
    size : int
        Number of rows and of unknowns. The system must have full structural rank.
    """
    pattern = np.zeros((size, size), dtype=bool)
    for row, column in entries:
        pattern[row, column] = True
    row_of = _match(pattern)
    needs = pattern[row_of]  # unknown k is found from its row, which needs these unknowns
    reach = _closure(needs)
    together = reach & reach.T
    members = {tuple(np.flatnonzero(together[k])) for k in range(size)}
    before = {m: {o for o in members if o != m and reach[m[0], o[0]]} for m in sorted(members)}
    order = TopologicalSorter(before).static_order()
    return tuple(Block(tuple(sorted(int(row_of[c]) for c in m)), tuple(int(c) for c in m)) for m in order)


def _match(pattern: NDArray[np.bool_]) -> NDArray[np.intp]:
    """A row for every column, each used once, by augmenting paths (H. W. Kuhn 1955; from memory)."""
    row_of = np.full(len(pattern), -1)

    def place(row: int, tried: set[int]) -> bool:
        for column in np.flatnonzero(pattern[row]):
            if column not in tried:
                tried.add(int(column))
                if row_of[column] < 0 or place(int(row_of[column]), tried):
                    row_of[column] = row
                    return True
        return False

    for row in range(len(pattern)):
        place(row, set())
    return row_of


def _closure(needs: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Which unknowns each one needs, directly or through others, itself included."""
    reach = needs | np.eye(len(needs), dtype=bool)
    for k in range(len(needs)):
        reach |= np.outer(reach[:, k], reach[k])
    return reach
