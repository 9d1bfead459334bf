"""Which points moved between two cars, by how much, in which direction; and how the wishbones' planes turned."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kin3d.linkage.layout import WHEEL_AXIS
from kin3d.studies.corner_model import CornerModel
from kin3d.studies.groups import GROUPS, groups_of
from kin3d.studies.planes import WishbonePlane, mutual_deg, wishbone_planes

Array = NDArray[np.float64]
STILL_MM = 1e-6  # a point that moved less than this did not move
_WORDS = (("forward", "rearward"), ("outboard", "inboard"), ("up", "down"))
MINOR = 0.2  # a component that is a smaller part of the movement is not put into words


@dataclass(frozen=True, slots=True)
class PointChange:
    """One point in two cars.

    Attributes
    ----------
    point, group : str
    a, b : ndarray, shape (3,)
        Places in the vehicle frame, mm.
    sigma_mm : ndarray, shape (3,)
        Standard deviation of the difference, both cars' own deviations together (shared errors left out).
    side : float
        +1 on the left, −1 on the right.
    """

    point: str
    group: str
    a: Array
    b: Array
    sigma_mm: Array
    side: float

    @property
    def change(self) -> Array:
        """From a to b, mm, shape (3,)."""
        out: Array = self.b - self.a
        return out

    @property
    def distance_mm(self) -> float:
        """Length of the way."""
        return float(np.linalg.norm(self.change))

    @property
    def direction(self) -> str:
        """In words, largest component first: ``"up, inboard"``; ``"-"`` for a point that stayed."""
        if self.distance_mm < STILL_MM:
            return "-"
        turned = self.change * np.array([1.0, self.side, 1.0])
        order = [k for k in np.argsort(-np.abs(turned), kind="stable") if abs(turned[k]) >= MINOR * self.distance_mm]
        return ", ".join(_WORDS[k][0 if turned[k] > 0.0 else 1] for k in order)


def point_changes(a: CornerModel, b: CornerModel) -> tuple[tuple[PointChange, ...], tuple[str, ...]]:
    """Points of the table that both corners have, in groups, and the names of those that only one has."""
    ours, theirs = _places(a), _places(b)
    groups = groups_of(a.model.linkage, dict(zip(a.model.linkage.points, a.design, strict=True)))
    both = [p for p in ours if p in theirs]
    found = [
        PointChange(p, groups[p], ours[p][0], theirs[p][0], np.hypot(ours[p][1], theirs[p][1]), a.sign) for p in both
    ]
    lone = tuple(p for p in (*ours, *theirs) if (p in ours) != (p in theirs))
    return tuple(sorted(found, key=lambda m: GROUPS.index(m.group))), lone


def _places(side: CornerModel) -> dict[str, tuple[Array, Array]]:
    """Place on this side of the car and deviation of each point of the table, by name."""
    index = [side.model.linkage.index(p) for p in side.names]
    rows = zip(side.names, side.design[index], side.sigma_mm, strict=True)
    return {p: (at, sigma) for p, at, sigma in rows if p != WHEEL_AXIS}


@dataclass(frozen=True, slots=True)
class Planes:
    """Planes of a corner's wishbones and the angle between the first two; empty where the upright hangs on links."""

    planes: tuple[WishbonePlane, ...]
    mutual_deg: float


def planes_of(side: CornerModel) -> Planes:
    """Planes of the wishbones of a corner in the design position."""
    at = dict(zip(side.model.linkage.points, side.design, strict=True))
    found = wishbone_planes(side.model.linkage, at, side.sign)
    return Planes(found, mutual_deg(found[0], found[1]) if len(found) >= 2 else float("nan"))
