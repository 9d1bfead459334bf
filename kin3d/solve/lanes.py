"""Variants and lanes: which linkages in which positions, as flat arrays."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


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

    def per_lane(self, array: Array, lanes: Lanes) -> Array:
        """Spread an array of shape (…, variants) over lanes: (…, 1) for a single variant, else (…, lanes)."""
        return array if self.count == 1 else array[..., lanes.variant]


@dataclass(frozen=True, slots=True)
class Lanes:
    """Which positions: for each lane its variant, travel (mm) and rack (mm); three arrays of one shape (lanes,)."""

    variant: NDArray[np.intp]
    travel: Array
    rack: Array

    @property
    def count(self) -> int:
        """Number of lanes."""
        return len(self.travel)

    def take(self, which: Any) -> Lanes:
        """The lanes of an index or mask."""
        return Lanes(self.variant[which], self.travel[which], self.rack[which])

    def part(self, share: Array) -> Lanes:
        """The same variants with each drive at a share of its value, shape (lanes,)."""
        return Lanes(self.variant, self.travel * share, self.rack * share)


def pair_lanes(travel: Array, rack: Array) -> Lanes:
    """Lanes of an axle, all left ones, then all right ones: travel of shape (2, n), rack of shape (n,)."""
    count = len(rack)
    return Lanes(np.repeat(np.arange(2), count), np.asarray(travel, dtype=float).reshape(-1), np.tile(rack, 2))
