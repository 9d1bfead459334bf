"""What is asked of cars in positions, and what comes of it: measures with exact derivatives."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from kin3d.measures.entry import Measure
from kin3d.studies.car_stands import CarStands

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class AskedMeasures:
    """Measures that are asked of cars in positions, and along what their derivatives.

    Attributes
    ----------
    measures : sequence of Measure
    rates : bool
        Whether derivatives along the drive are wanted too.
    seeds : ndarray, shape (directions, rows, 3), optional
        Directions of change of design coordinates (vehicle frame), mm per unit of each; rows as the cars have them.
    figures : mapping of str to ndarray, shape (cars,)
        Figures of the car file in each car, by the key that measures name and in its unit; default those of the file.
    figure_seeds : mapping of str to ndarray, shape (directions,)
        Change of figures along the same directions as `seeds`.
    rack_axes : ndarray, shape (parts, 3), optional
        Directions of the racks (vehicle frame), others than the parts' own.
    stands : CarStands, optional
        In turns: how the cars stand, in place of how the one that is asked does.
    recorded : bool
        Whether measures of a corner come from a tape however few lanes there are: where many calls are to give the
        same bits.
    """

    measures: Sequence[Measure] = ()
    rates: bool = False
    seeds: Array | None = None
    figures: Mapping[str, Array] = field(default_factory=dict)
    figure_seeds: Mapping[str, Array] = field(default_factory=dict)
    rack_axes: Array | None = None
    stands: CarStands | None = None
    recorded: bool = False

    @property
    def directions(self) -> int:
        """How many directions of change there are."""
        return 0 if self.seeds is None else len(self.seeds)


@dataclass(frozen=True, slots=True)
class Derived:
    """Measures over lanes: all positions of the first car, then of the next.

    Attributes
    ----------
    value : ndarray, shape (measures, lanes)
        In each measure's unit; NaN where a lane is not solved.
    rate : ndarray, shape (measures, lanes)
        Derivative along the drive, per unit of it; empty unless asked for.
    slope : ndarray, shape (measures, directions, lanes)
        Derivative along each direction, per unit of it; empty without directions.
    rate_slope : ndarray, shape (measures, directions, lanes)
        Derivative of `rate` along each direction.
    status : ndarray of int8, shape (lanes,)
    """

    value: Array
    rate: Array
    slope: Array
    rate_slope: Array
    status: NDArray[np.int8]

    @staticmethod
    def unfilled(asked: AskedMeasures, status: NDArray[np.int8]) -> Derived:
        """Arrays of what is asked, to be filled in."""
        count, directions, lanes = len(asked.measures), asked.directions, len(status)
        return Derived(
            value=np.empty((count, lanes)),
            rate=np.empty((count if asked.rates else 0, lanes)),
            slope=np.empty((count if directions else 0, directions, lanes)),
            rate_slope=np.empty((count if asked.rates and directions else 0, directions, lanes)),
            status=status,
        )
