"""The best assignment of rows to columns, and by how much it is better than the next."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

LARGEST = 120  # rows of one tangle; of more, each row's own second choice counts


def assign(costs: Mapping[tuple[int, int], float], unmatched: float) -> dict[int, tuple[int, float]]:
    """Give every row at most one column and every column at most one row, at the least cost in all.

    `costs` has the pairs (row, column) that may belong together, `unmatched` is the cost of a row without a column.
    Returned is the column of every row that has one, and the margin: how much more the best assignment costs in which
    this row has not this column.
    """
    found: dict[int, tuple[int, float]] = {}
    for part in _tangles(costs):
        found |= _assign_one(part, unmatched)
    return found


def _tangles(costs: Mapping[tuple[int, int], float]) -> list[dict[tuple[int, int], float]]:
    """Part pairs into sets that have no row and no column in common."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    if not costs:
        return []
    rows, columns = (np.unique([pair[k] for pair in costs], return_inverse=True) for k in (0, 1))
    count = len(rows[0]) + len(columns[0])
    graph = coo_array((np.ones(len(costs)), (rows[1], columns[1] + len(rows[0]))), shape=(count, count))
    number, label = connected_components(graph, directed=False)
    parts: list[dict[tuple[int, int], float]] = [{} for _ in range(number)]
    for (pair, cost), row in zip(costs.items(), rows[1], strict=True):
        parts[label[row]][pair] = cost
    return [p for p in parts if p]


def _assign_one(costs: dict[tuple[int, int], float], unmatched: float) -> dict[int, tuple[int, float]]:
    from scipy.optimize import linear_sum_assignment

    rows, columns = (sorted({pair[k] for pair in costs}) for k in (0, 1))
    row_of, column_of = ({n: k for k, n in enumerate(group)} for group in (rows, columns))
    never = 1e6
    table = np.full((len(rows), len(columns) + len(rows)), never)
    table[:, len(columns) :] = unmatched
    for (i, j), cost in costs.items():
        table[row_of[i], column_of[j]] = cost
    chosen = linear_sum_assignment(table)[1]
    best = float(table[np.arange(len(rows)), chosen].sum())
    found = {}
    for k, column in enumerate(chosen):
        if column >= len(columns):
            continue
        if len(rows) > LARGEST:
            beside = np.partition(table[k], 1)[1] - table[k, column]
            rival = np.delete(table[:, column], k).min(initial=np.inf) - table[k, column]
            margin = float(min(beside, rival))
        else:
            kept, table[k, column] = table[k, column], never
            margin = float(table[np.arange(len(rows)), linear_sum_assignment(table)[1]].sum()) - best
            table[k, column] = kept
        found[rows[k]] = (columns[column], margin)
    return found
