"""Order of solving: the structure of the equations splits them into blocks that are solved one after the other."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from graphlib import TopologicalSorter

import numpy as np


@dataclass(frozen=True, slots=True)
class Block:
    """Rows and unknowns of one block, as indices into the whole system, ascending."""

    rows: tuple[int, ...]
    columns: tuple[int, ...]


def split(entries: Iterable[tuple[int, int]], size: int) -> tuple[Block, ...]:
    """Blocks of a square system in an order in which each needs only those before it.

    Rows are matched with unknowns (a bipartite matching); unknowns that need each other in a circle (strong
    components) make one block.

    Parameters
    ----------
    entries : iterable of (int, int)
        Row and column of every structural entry of the Jacobian.
    size : int
        Number of rows and of unknowns. The system must have full structural rank.
    """
    from scipy.sparse import csr_array
    from scipy.sparse.csgraph import connected_components, maximum_bipartite_matching

    pairs = sorted(entries)
    rows, columns = (np.array(x, dtype=np.int32) for x in zip(*pairs, strict=True))
    pattern = csr_array((np.ones(len(pairs), dtype=np.int8), (rows, columns)), shape=(size, size))
    column_of = maximum_bipartite_matching(pattern, perm_type="column")
    needs = csr_array((np.ones(len(pairs), dtype=np.int8), (column_of[rows], columns)), shape=(size, size))
    count, label = connected_components(needs, directed=True, connection="strong")
    before: dict[int, set[int]] = {k: set() for k in range(count)}
    for row, column in pairs:
        mine, other = int(label[column_of[row]]), int(label[column])
        if mine != other:
            before[mine].add(other)
    row_of = np.empty(size, dtype=int)
    row_of[column_of] = np.arange(size)
    order = TopologicalSorter(before).static_order()
    members = (np.flatnonzero(label == k) for k in order)
    return tuple(Block(tuple(sorted(int(r) for r in row_of[m])), tuple(int(c) for c in m)) for m in members)
