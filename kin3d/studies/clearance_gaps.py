"""Gaps of one corner over positions, with where a wanted gap is used up and how sure the least ones are."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

from kin3d.linkage.names import AxleName, Side
from kin3d.measures.gaps import ShapePair

Array = NDArray[np.float64]
UNITS = {"travel": "mm", "heave": "mm", "roll": "deg", "pitch": "deg", "rack": "mm"}
SAME_MM = 1e-6  # gaps that differ by less are one


def drive_words(name: str, value: float) -> str:
    """A drive with its value and unit: ``rack −30 mm``."""
    return f"{name} {f'{value:+g}'.replace('-', '−') if value else '0'} {UNITS[name]}"


@dataclass(frozen=True, slots=True)
class GapLimit:
    """Where along a drive, the others at 0, a pair has the wanted gap for the last time.

    Attributes
    ----------
    row : int
        Of the pair.
    drive : str
    end : float
        To which the drive was followed, mm or deg.
    at : float
        0: less than wanted in the design position already.
    """

    row: int
    drive: str
    end: float
    at: float


@dataclass(frozen=True, slots=True)
class GapDoubt:
    """How sure a least gap is.

    Attributes
    ----------
    sigma_mm : float
        First order; NaN where no deviation is known or the solids cross.
    names : tuple of str
        Coordinates of the table: ``"tie_outer x"``.
    slope : ndarray, shape (coordinates,)
        Change of the gap per mm of each.
    """

    sigma_mm: float
    names: tuple[str, ...]
    slope: Array


@dataclass(frozen=True, slots=True)
class AxleClearance:
    """Gaps of one corner over positions.

    Attributes
    ----------
    axle, side : str
    pairs : tuple of pairs of solids
    drives : mapping of str to ndarray, shape (lanes,)
        mm, roll in degrees.
    ok : ndarray of bool, shape (lanes,)
        Where the position was reached.
    gap : ndarray, shape (pairs, lanes)
        mm; NaN where it was not.
    first, second : ndarray, shape (pairs, 3, lanes)
        Nearest places on the first solid (its axis where it is a tube) and on the second, mm, vehicle frame.
    design : ndarray, shape (pairs,)
        Gap in the design position.
    touching : ndarray of bool, shape (pairs,)
        Which pairs touch there: they are joined, or drawn so, and no contact is told of them.
    limits : tuple of GapLimit
    at : ndarray, shape (lanes, points, 3)
        Places of all points.
    points : tuple of str
    doubts : mapping of int to GapDoubt
        By row.
    """

    axle: AxleName
    side: Side
    pairs: tuple[ShapePair, ...]
    drives: Mapping[str, Array]
    ok: NDArray[np.bool_]
    gap: Array
    first: Array
    second: Array
    design: Array
    touching: NDArray[np.bool_]
    limits: tuple[GapLimit, ...]
    at: Array
    points: tuple[str, ...]
    doubts: Mapping[int, GapDoubt] = field(default_factory=dict)

    def with_doubts(self, doubts: Mapping[int, GapDoubt]) -> AxleClearance:
        """The same with what is known of how sure its least gaps are."""
        return replace(self, doubts=doubts)

    def worst(self, row: int) -> int:
        """Lane in which a pair has its least gap; of several the one with the drives nearest to 0."""
        gap = np.where(self.ok, self.gap[row], np.inf)
        way = np.sum([np.abs(v) for v in self.drives.values()], axis=0)
        return int(np.where(gap <= gap.min() + SAME_MM, way, np.inf).argmin())

    def still(self, row: int) -> bool:
        """Whether a gap does not change: it is next to a joint."""
        return float(np.ptp(self.gap[row, self.ok])) <= SAME_MM

    def least(self, row: int) -> float:
        """Least gap of a pair, mm."""
        return float(self.gap[row, self.worst(row)])

    def rows(self) -> list[int]:
        """Pairs that do not touch in the design position: the nearest first, then those whose gap does not change."""
        return sorted(np.flatnonzero(~self.touching).tolist(), key=lambda r: (self.still(r), self.least(r)))

    def place(self, lane: int) -> str:
        """A position in words."""
        said = [drive_words(n, float(v[lane])) for n, v in self.drives.items() if v[lane]]
        return ", ".join(said) or "the design position"

    def contact_chance(self, row: int) -> float | None:
        """Chance that a pair touches where it is nearest; None where the deviation is not known."""
        doubt = self.doubts.get(row)
        if doubt is None or not np.isfinite(doubt.sigma_mm):
            return 1.0 if self.least(row) <= 0.0 else None
        return NormalDist().cdf(-self.least(row) / max(doubt.sigma_mm, 1e-12))
