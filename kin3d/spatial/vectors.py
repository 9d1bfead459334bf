"""Vectors as tuples of three numbers, where a number is a float, an array over lanes, a `Jet` or a tape node.

One way of writing the maths serves positions, derivatives and the recording of the solver's tape, because
nothing here asks what a component is: it only adds, subtracts and multiplies.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from typing import Any

Number = Any  # float | NDArray[np.float64] | Jet | Node: whatever has + - * /
Vec = tuple[Number, Number, Number]


def vector(parts: Iterable[Number]) -> Vec:
    """Three numbers as a vector."""
    x, y, z = parts
    return x, y, z


def add(a: Vec, b: Vec) -> Vec:
    """Sum of two vectors."""
    return a[0] + b[0], a[1] + b[1], a[2] + b[2]


def sub(a: Vec, b: Vec) -> Vec:
    """Vector from b to a."""
    return a[0] - b[0], a[1] - b[1], a[2] - b[2]


def scale(k: Number, a: Vec) -> Vec:
    """Vector times number."""
    return k * a[0], k * a[1], k * a[2]


def dot(a: Vec, b: Vec) -> Number:
    """Scalar product."""
    return a[0] * b[0] + a[1] * b[1] + a[2] * b[2]


def cross(a: Vec, b: Vec) -> Vec:
    """Vector product, right hand."""
    return a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]


class SeenPlaces(Mapping[str, Vec]):
    """Places by point, each turned into another kind of place when it is first asked for: few of a corner's are."""

    def __init__(self, places: Mapping[str, Vec], see: Callable[[Vec], Vec]) -> None:
        self._places, self._see = places, see
        self._seen: dict[str, Vec] = {}

    def __getitem__(self, point: str) -> Vec:
        if point not in self._seen:
            self._seen[point] = self._see(self._places[point])
        return self._seen[point]

    def __iter__(self) -> Iterator[str]:
        return iter(self._places)

    def __len__(self) -> int:
        return len(self._places)
