"""The elimination plan: which pivots in which order, chosen once; run over numbers, lanes or tape nodes alike.

Pivots are chosen in the reference position by the Markowitz count (fewest fill-ins) among entries that are not small
beside the largest of their column, so that the order serves all positions near it.
(Markowitz pivoting: I. S. Duff, A. M. Erisman and J. K. Reid, *Direct Methods for Sparse Matrices*, ch. 7; from
memory.)
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

Entries = dict[tuple[int, int], Any]
THRESHOLD = 0.15  # a pivot is at least this part of the largest entry left in its column


@dataclass(frozen=True, slots=True)
class Factors:
    """L and U of one block: multipliers below the pivots, entries right of them, and the pivots' reciprocals."""

    lower: Entries
    upper: Entries
    reciprocal: list[Any]
    pivots: list[Any]


class Elimination:
    """Order of pivots of one square block.

    Attributes
    ----------
    pivots : tuple of (int, int)
        Row and column of each pivot, in order.
    """

    def __init__(self, reference: Mapping[tuple[int, int], float], size: int) -> None:
        self.size = size
        self.pivots = _choose(dict(reference), size)

    def factor(self, entries: Mapping[tuple[int, int], Any]) -> Factors:
        """Factor the block; entries that are missing are zero."""
        left = dict(entries)
        done = Factors({}, {}, [], [])
        rows = set(range(self.size))
        for row, col in self.pivots:
            rows.discard(row)
            pivot = left.pop((row, col))
            done.pivots.append(pivot)
            done.reciprocal.append(1.0 / pivot)
            right = [(j, left.pop((row, j))) for j in range(self.size) if (row, j) in left]
            done.upper.update({(row, j): v for j, v in right})
            for i in [i for i in sorted(rows) if (i, col) in left]:
                factor = left.pop((i, col)) * done.reciprocal[-1]
                done.lower[i, row] = factor
                for j, v in right:
                    left[i, j] = left[i, j] - factor * v if (i, j) in left else -(factor * v)
        return done

    def solve(self, factors: Factors, rhs: Sequence[Any]) -> list[Any]:
        """Solve J x = rhs; missing right-hand sides are the number 0.0."""
        y = list(rhs)
        for row, _ in self.pivots:
            for (i, r), factor in factors.lower.items():
                if r == row and not _is_zero(y[row]):
                    y[i] = y[i] - factor * y[row]
        x: list[Any] = [0.0] * self.size
        for (row, col), reciprocal in zip(reversed(self.pivots), reversed(factors.reciprocal), strict=True):
            total = y[row]
            for (r, j), v in factors.upper.items():
                if r == row and not _is_zero(x[j]):
                    total = total - v * x[j]
            x[col] = total * reciprocal
        return x


def _is_zero(x: Any) -> bool:
    return isinstance(x, float) and x == 0.0


def _choose(left: dict[tuple[int, int], float], size: int) -> tuple[tuple[int, int], ...]:
    """Pivots by Markowitz count with a threshold, on the numbers of the reference position."""
    pivots: list[tuple[int, int]] = []
    for _ in range(size):
        row, col = _best(left)
        pivots.append((row, col))
        pivot = left[row, col]
        across = [(j, v) for (r, j), v in left.items() if r == row and j != col]
        down = [(i, v) for (i, c), v in left.items() if c == col and i != row]
        left = {k: v for k, v in left.items() if k[0] != row and k[1] != col}
        for i, factor in down:
            for j, v in across:
                left[i, j] = left.get((i, j), 0.0) - factor / pivot * v
    return tuple(pivots)


def _best(left: Mapping[tuple[int, int], float]) -> tuple[int, int]:
    in_row: dict[int, int] = {}
    largest: dict[int, float] = {}
    in_col: dict[int, int] = {}
    for (i, j), v in left.items():
        in_row[i] = in_row.get(i, 0) + 1
        in_col[j] = in_col.get(j, 0) + 1
        largest[j] = max(largest.get(j, 0.0), abs(v))
    fit = [k for k, v in left.items() if v and abs(v) >= THRESHOLD * largest[k[1]]]
    return min(fit, key=lambda k: ((in_row[k[0]] - 1) * (in_col[k[1]] - 1), -abs(left[k]), k))
