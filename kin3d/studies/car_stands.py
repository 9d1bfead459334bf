"""How cars stand on the ground where that is no drive of its own: as they have settled in a turn, with derivatives."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kin3d.spatial.jets import Algebra
from kin3d.spatial.vectors import Number

Array = NDArray[np.float64]
STANDS = ("heave", "roll", "pitch")  # how an axle stands: mm, deg, deg, of the points' frame over the ground


@dataclass(frozen=True, slots=True)
class CarStands:
    """How cars stand in positions that are no drives of their own: heave (mm), roll and pitch (deg), the last axis.

    Attributes
    ----------
    stands, rates : ndarray, shape (cars, positions, 3)
        And their derivatives along the case's drive, per unit.
    seeds, rate_seeds : ndarray, shape (directions, positions, 3), or None
        What both change by along directions of change.
    """

    stands: Array
    rates: Array
    seeds: Array | None = None
    rate_seeds: Array | None = None

    def numbers(self, outer: Algebra, part: slice) -> list[Number]:
        """Heave (mm), roll and pitch (rad) in some lanes, car after car: numbers, or jets of drive and directions."""
        units = (1.0, np.pi / 180.0, np.pi / 180.0)
        cars = len(self.stands)
        out: list[Number] = []
        for k, unit in enumerate(units):
            jet = outer.constant(unit * self.stands[..., k].ravel()[part])
            rows = [((1, 0), self.rates[..., k].ravel())]
            for monomial, seed in (((0, 1), self.seeds), ((1, 1), self.rate_seeds)):
                if seed is not None:
                    rows.append((monomial, np.tile(seed[..., k], cars)))
            for monomial, row in rows:
                if monomial in outer.index and row.any():
                    jet.coefficients[outer.index[monomial]] = unit * row[..., part]
            out.append(jet if outer.degree else jet.value)
        return out
