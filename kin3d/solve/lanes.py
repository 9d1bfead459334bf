"""Variants and lanes: which linkages in which positions, as flat arrays, and what became of each position."""

from __future__ import annotations

from collections.abc import Collection, Hashable, Mapping, Sequence
from dataclasses import dataclass, field
from enum import IntEnum
from typing import Any

import numpy as np
from numpy.typing import NDArray

from kin3d.solve.drives import RACK, RIGHT, TRAVEL

Array = NDArray[np.float64]
ARM_MM = 100.0  # an angle counts as what it moves at the end of such an arm


@dataclass(frozen=True, slots=True)
class Variants:
    """Design coordinates of one or many variants, with what is computed once for each.

    Attributes
    ----------
    design : ndarray, shape (variants, points, 3)
        Design coordinates, mm, vehicle frame.
    rack_axis : ndarray, shape (variants, 3)
        Unit direction in which the rack moves its points.
    uniforms : ndarray, shape (uniform nodes, variants)
        Lengths and offsets that the programs need.
    inverse_lengths : ndarray, shape (rows, variants)
        What makes a residual an error of length.
    start : ndarray, shape (unknowns, variants)
        Unknown coordinates in the design position.
    determinants : ndarray, shape (blocks, variants)
        det J of each block in the design position.
    """

    design: Array
    rack_axis: Array
    uniforms: Array
    inverse_lengths: Array
    start: Array
    determinants: Array

    @property
    def count(self) -> int:
        """Number of variants."""
        return len(self.design)

    def numbers(self, points: Sequence[str]) -> dict[Hashable, Array]:
        """Inputs of a tape that a variant has, shape (variants,): ``("P", point, axis)`` and ``("rack", axis)``."""
        out: dict[Hashable, Array] = {("P", p, k): self.design[:, i, k] for i, p in enumerate(points) for k in range(3)}
        return out | {("rack", k): self.rack_axis[:, k] for k in range(3)}

    def per_lane(self, array: Array, lanes: Lanes) -> Array:
        """Spread an array of shape (…, variants) over lanes: (…, 1) for a single variant, else (…, lanes)."""
        return array if self.count == 1 else array[..., lanes.variant]


@dataclass(frozen=True, slots=True)
class Lanes:
    """Which positions: for each lane its variant, travel (mm) and rack (mm); three arrays of one shape (lanes,).

    Attributes
    ----------
    more : mapping of str to ndarray, shape (lanes,)
        Other drives by name, mm or rad; 0 where they are not named. ``"travel_right"`` is the travel of the right wheel
        where both sides are one system and `travel` is the left one's; without it both are alike.
    """

    variant: NDArray[np.intp]
    travel: Array
    rack: Array
    more: Mapping[str, Array] = field(default_factory=dict)

    @property
    def count(self) -> int:
        """Number of lanes."""
        return len(self.travel)

    def take(self, which: Any) -> Lanes:
        """The lanes of an index or mask."""
        more = {name: x[which] for name, x in self.more.items()}
        return Lanes(self.variant[which], self.travel[which], self.rack[which], more)

    def part(self, share: Array) -> Lanes:
        """The same variants with each drive at a share of its value, shape (lanes,)."""
        more = {name: x * share for name, x in self.more.items()}
        return Lanes(self.variant, self.travel * share, self.rack * share, more)

    def drive(self, name: str) -> Array:
        """Where a drive stands, shape (lanes,)."""
        if name in (TRAVEL, RIGHT, RACK):
            return self.rack if name == RACK else (self.more.get(name, self.travel) if name == RIGHT else self.travel)
        return self.more.get(name, np.zeros(self.count))

    @property
    def travels(self) -> Array:
        """Travel of the left and of the right wheel, shape (2, n), of lanes that are all left ones, then right ones."""
        half = self.count // 2
        return np.stack([self.travel[:half], self.drive(RIGHT)[half:]])

    @property
    def straight(self) -> NDArray[np.bool_]:
        """Lanes in which nothing moves but the travel, of both wheels alike."""
        out = np.asarray(self.rack == 0.0)
        for name, x in self.more.items():
            out = out & (x == (self.travel if name == RIGHT else 0.0))
        return out

    def way(self, turning: Collection[str] = ()) -> Array:
        """Length of the straight way from the design position: the most a drive moves, mm; `turning` are angles."""
        out = np.maximum(np.abs(self.travel), np.abs(self.rack))
        for name, x in self.more.items():
            out = np.maximum(out, np.abs(x) * (ARM_MM if name in turning else 1.0))
        return np.asarray(out)


class Status(IntEnum):
    """Outcome of one position; everything but OK leaves the position without values (NaN)."""

    OK = 0
    LIMIT = 1
    UNSOLVED = 2

    @property
    def sentence(self) -> str:
        """What it means and what to do."""
        return _SENTENCES[self]


_SENTENCES = {
    Status.OK: "solved",
    Status.LIMIT: "out of reach: the linkage comes to the end of its travel before this position",
    Status.UNSOLVED: "the iteration did not close the linkage here; ask for smaller steps or look at the points",
}


@dataclass(frozen=True, slots=True)
class Solved:
    """Solved lanes.

    Attributes
    ----------
    q : ndarray, shape (unknowns, lanes)
        Unknown coordinates in block order; NaN where the status is not OK.
    status : ndarray of int8, shape (lanes,)
        `Status` values.
    error_mm : ndarray, shape (lanes,)
        Largest error of a length after closing.
    stepped : int
        Lanes that a single step from the design position did not reach, and that were stepped there.
    limits : dict of int to tuple of float
        For each lane that ran into a limit the travel and rack to which it came, and its other drives in their order.
    in_line : dict of int to str
        For each of these the names of the bodies in line there.
    units : mapping of str to str
        Units of the layout's own drives.
    """

    q: Array
    status: NDArray[np.int8]
    error_mm: Array
    stepped: int
    limits: dict[int, tuple[float, ...]]
    in_line: dict[int, str]
    units: Mapping[str, str] = field(default_factory=dict)

    def take(self, which: Any) -> Solved:
        """The lanes of a slice, index or mask; limits are those of the whole and are left out."""
        return Solved(self.q[:, which], self.status[which], self.error_mm[which], self.stepped, {}, {})


def pair_lanes(
    travel: Array,
    rack: Array,
    more: Mapping[str, Array] | None = None,
    *,
    joined: bool = False,
    variant: NDArray[np.intp] | None = None,
    variants: int = 2,
) -> Lanes:
    """Lanes of an axle, all left ones, then all right ones.

    Parameters
    ----------
    travel : ndarray, shape (2, n)
        Of the left and of the right wheel.
    rack : ndarray, shape (n,)
    more : mapping of str to ndarray, shape (n,), optional
        Other drives.
    joined : bool
        Whether both sides are one system: both lanes of a position have both travels then.
    variant : ndarray of int, shape (n,), optional
        Which car each position is of, where there are several.
    variants : int
        Number of variants: all left corners, then all right ones.
    """
    count = len(rack)
    both = np.asarray(travel, dtype=float)
    others = {name: np.tile(x, 2) for name, x in (more or {}).items()}
    if joined:
        if not np.array_equal(both[0], both[1]):  # both alike are told by one travel, and a long sweep is faster so
            others[RIGHT] = np.tile(both[1], 2)
        both = both[[0, 0]]
    which = np.repeat(np.arange(2), count) * (variants // 2)
    if variant is not None:
        which = which + np.tile(variant, 2)
    return Lanes(which, both.reshape(-1), np.tile(rack, 2), others)
