"""First order: values with exact derivatives along every source of uncertainty, and the variances that follow."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kin3d.measures.table import Measure
from kin3d.studies.corner_model import CornerModel
from kin3d.studies.derive import derive
from kin3d.studies.uncertainty import Uncertainty

Array = NDArray[np.float64]
NOTHING = 1e-10  # a deviation that is a smaller part of its value is rounding


@dataclass(frozen=True, slots=True)
class FirstOrder:
    """Values with their derivatives along every source of uncertainty.

    Attributes
    ----------
    value : ndarray, shape (measures, travel)
    slope : ndarray, shape (measures, sources, travel)
        Change of the measure for one standard deviation of each source.
    rate : ndarray, shape (measures,)
        Derivative along travel in the design position, per mm.
    rate_slope : ndarray, shape (measures, sources)
    start, start_slope : ndarray, shapes (measures,) and (measures, sources)
        Values and changes in the design position.
    status : ndarray of int8, shape (travel,)
    """

    value: Array
    slope: Array
    rate: Array
    rate_slope: Array
    start: Array
    start_slope: Array
    status: NDArray[np.int8]

    @property
    def sigma(self) -> Array:
        """Standard deviation of every value, shape (measures, travel)."""
        out: Array = np.sqrt((self.slope**2).sum(axis=1))
        return out

    @property
    def share(self) -> Array:
        """Part of each variance that every source causes, shape (measures, sources, travel).

        Adds up to 1; 0 all through where the points do not matter to the measure.
        """
        return _shares(self.slope, self.value)

    @property
    def start_share(self) -> Array:
        """The same in the design position, shape (measures, sources)."""
        return _shares(self.start_slope, self.start)


def _shares(slope: Array, value: Array) -> Array:
    square = slope**2
    total = square.sum(axis=1)
    matters = total > (NOTHING * (1.0 + np.abs(value))) ** 2
    out: Array = np.where(matters[:, None], square / np.where(matters, total, 1.0)[:, None], 0.0)
    return out


def first_order(side: CornerModel, uncertainty: Uncertainty, travel: Array, measures: Sequence[Measure]) -> FirstOrder:
    """Values and exact derivatives along the sources, over travel and in the design position."""
    variants = side.variants(side.design)
    lanes = side.model.kernel.lanes
    found = derive(side, variants, lanes(variants, travel), measures, seeds=uncertainty.seeds)
    start = derive(side, variants, lanes(variants, np.zeros(1)), measures, rates=True, seeds=uncertainty.seeds)
    slopes = (len(measures), len(uncertainty.sources))
    return FirstOrder(
        value=found.value,
        slope=found.slope.reshape(*slopes, len(travel)),
        rate=start.rate[:, 0],
        rate_slope=start.rate_slope.reshape(slopes),
        start=start.value[:, 0],
        start_slope=start.slope.reshape(slopes),
        status=found.status,
    )
