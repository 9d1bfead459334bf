"""Measures with their derivatives along every source of doubt: what all figures of first order are made of."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from kin3d.measures.entry import Measure
from kin3d.studies.case import CaseModel
from kin3d.studies.derived import AskedMeasures
from kin3d.studies.uncertainty import Uncertainty

Array = NDArray[np.float64]
NOTHING = 1e-10  # a deviation that is a smaller part of its value is rounding


@dataclass(frozen=True, slots=True)
class FirstOrder:
    """Values with their derivatives along every source of uncertainty.

    Attributes
    ----------
    value : ndarray, shape (measures, positions)
    slope : ndarray, shape (measures, sources, positions)
        Change of the measure for one standard deviation of each source.
    rate : ndarray, shape (measures,)
        Derivative along the drive at its origin, per unit of it.
    rate_slope : ndarray, shape (measures, sources)
    start, start_slope : ndarray, shapes (measures,) and (measures, sources)
        Values and changes there.
    status : ndarray of int8, shape (positions,)
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
        """Standard deviation of every value, shape (measures, positions)."""
        out: Array = np.sqrt((self.slope**2).sum(axis=1))
        return out

    @property
    def share(self) -> Array:
        """Part of each variance that every source causes, shape (measures, sources, positions).

        Adds up to 1; 0 all through where the points do not matter to the measure.
        """
        return _shares(self.slope, self.value)

    @property
    def start_share(self) -> Array:
        """The same at the drive's origin, shape (measures, sources)."""
        return _shares(self.start_slope, self.start)


def _shares(slope: Array, value: Array) -> Array:
    square = slope**2
    total = square.sum(axis=1)
    matters = total > (NOTHING * (1.0 + np.abs(value))) ** 2
    out: Array = np.where(matters[:, None], square / np.where(matters, total, 1.0)[:, None], 0.0)
    return out


def first_order(model: CaseModel, uncertainty: Uncertainty, at: Array, measures: Sequence[Measure]) -> FirstOrder:
    """Values and exact derivatives along every source of error, over the drive and at its origin."""
    ways, figures, parts = _ways(uncertainty)
    designs, origin = model.design[None], np.full(1, model.case.origin)
    asked = AskedMeasures(measures, seeds=ways, figure_seeds=figures)
    start = model.derive(designs, origin, replace(asked, rates=True))
    found = start
    if not np.array_equal(at, origin):
        found = model.derive(designs, at, asked)
    along = (len(measures), len(ways))
    return FirstOrder(
        value=found.value,
        slope=_over_sources(parts, found.slope.reshape(*along, len(at))),
        rate=start.rate[:, 0],
        rate_slope=_over_sources(parts, start.rate_slope.reshape(along)),
        start=start.value[:, 0],
        start_slope=_over_sources(parts, start.slope.reshape(along)),
        status=found.status,
    )


def _ways(uncertainty: Uncertainty) -> tuple[Array, dict[str, Array], Array | None]:
    """Directions to derive along (coordinates, figures), and how much of each is in every source.

    None in place of the last: the directions are the sources themselves. Where there are more sources than coordinates
    and figures that they move, as with the marks of photographs, the derivatives along those say all.
    """
    seeds, figures = uncertainty.seeds, uncertainty.figure_seeds
    flat = np.column_stack([seeds.reshape(len(seeds), seeds[0].size if len(seeds) else 0), *figures.values()])
    moved = np.flatnonzero(flat.any(axis=0))
    if len(flat) <= len(moved):
        return seeds, figures, None
    ways = np.eye(flat.shape[1])[moved]
    coordinates, others = np.split(ways, [flat.shape[1] - len(figures)], axis=1)
    return coordinates.reshape(-1, *seeds.shape[1:]), dict(zip(figures, others.T, strict=True)), flat[:, moved]


def _over_sources(parts: Array | None, slope: Array) -> Array:
    """Slopes along directions as slopes along sources, shape (measures, sources, …)."""
    return slope if parts is None else np.moveaxis(np.tensordot(parts, slope, axes=(1, 1)), 1, 0)
