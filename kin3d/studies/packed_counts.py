"""Counts of classes in a sixth of their bytes: most classes are empty, and few of a piece's samples fall into one."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Any, Protocol, TypeVar

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True, slots=True)
class PackedCounts:
    """Of each row of counts the classes from the first to the last that has any, in numbers as small as hold them.

    Attributes
    ----------
    spans : ndarray of int, shape (rows, 3)
        First class, the one after the last, and bytes of a number.
    data : ndarray of uint8
        All numbers, row by row.
    """

    spans: NDArray[np.intp]
    data: NDArray[np.uint8]

    @staticmethod
    def of(counts: NDArray[np.int32]) -> PackedCounts:
        """Of counts, shape (rows, columns, classes), none below 0."""
        spans = np.zeros((len(counts), 3), dtype=np.intp)
        data = [np.empty(0, dtype=np.uint8)]
        for span, row in zip(spans, counts, strict=True):
            most = row.max(axis=0)
            there = np.flatnonzero(most)
            if there.size:
                kind = np.min_scalar_type(most.max())
                span[:] = there[0], there[-1] + 1, kind.itemsize
                data.append(row[:, span[0] : span[1]].astype(kind).reshape(-1).view(np.uint8))
        return PackedCounts(spans, np.concatenate(data))

    def add_to(self, counts: NDArray[np.int32]) -> None:
        """Put them into counts of the same shape, in place."""
        begin = 0
        for row, (first, end, size) in zip(counts, self.spans, strict=True):
            if size:
                into = row[:, first:end]
                stop = begin + into.size * size
                into += self.data[begin:stop].view(f"u{size}").reshape(into.shape)
                begin = stop


def add_counts(total: NDArray[np.int32], counts: NDArray[np.int32] | PackedCounts) -> None:
    """Put counts, as they are or packed, into a total, in place."""
    if isinstance(counts, PackedCounts):
        counts.add_to(total)
    else:
        total += counts


class Summed(Protocol):
    """What pieces add up to."""

    def pack(self) -> None:
        """Make it small, as it is sent."""
        ...

    def add(self, other: Any, /) -> None:
        """Put a piece in, in place."""


P = TypeVar("P")
S = TypeVar("S", bound=Summed)


def packing(counts: Callable[[P], S]) -> Callable[[P], S]:
    """Work on pieces whose results are packed, as another process sends them."""

    def packed(piece: P) -> S:
        found = counts(piece)
        found.pack()
        return found

    return packed


def sum_of(total: S, parts: Sequence[slice], found: Iterable[S], progress: Callable[[int, int], None] | None) -> S:
    """A total with what was found of each part of the samples, in order; `progress`: samples done, and in all."""
    for part, one in zip(parts, found, strict=True):
        total.add(one)
        if progress:
            progress(part.stop, parts[-1].stop)
    return total
