"""The records of a comparison: each car with its curves, each pair with what changed, all together."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kin3d.errors import Finding
from kin3d.linkage.car import AxleName, Side
from kin3d.studies.attribution import Attribution
from kin3d.studies.corner_model import CornerModel
from kin3d.studies.fit import Fit
from kin3d.studies.point_changes import Planes, PointChange
from kin3d.studies.significance import Line
from kin3d.studies.tolerance import Tolerance

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Entry:
    """One car of a comparison.

    Attributes
    ----------
    label : str
        ``A``, ``B``, …
    fit : Fit
        The car as compared.
    corner : CornerModel
    tolerance : Tolerance
        Its curves over travel, with uncertainty where points carry deviations.
    planes : Planes
    """

    label: str
    fit: Fit
    corner: CornerModel
    tolerance: Tolerance
    planes: Planes

    @property
    def title(self) -> str:
        """The car's title."""
        return self.fit.car.title

    @property
    def known(self) -> bool:
        """Whether its points carry deviations."""
        return self.tolerance.uncertainty.known


@dataclass(frozen=True, slots=True)
class Pair:
    """The first car and one other.

    Attributes
    ----------
    a, b : Entry
    moves : tuple of PointChange
    lone : tuple of str
        Points that only one of the two has.
    lines : tuple of Line
        Every measure in the design position, its rate and its range.
    attribution : Attribution
    not_compared : dict of str to str
        Measures that one of the cars lacks, and why.
    cautions : tuple of str
    """

    a: Entry
    b: Entry
    moves: tuple[PointChange, ...]
    lone: tuple[str, ...]
    lines: tuple[Line, ...]
    attribution: Attribution
    not_compared: dict[str, str]
    cautions: tuple[str, ...]

    def line(self, measure: str, kind: str) -> Line:
        """The line of a measure and kind of figure."""
        return next(x for x in self.lines if x.measure.name == measure and x.kind == kind)


@dataclass(frozen=True, slots=True)
class Comparison:
    """Corners of two or more cars, each against the first.

    Attributes
    ----------
    axle, side : str
    travel_mm : ndarray, shape (travel,)
        Positions that all cars reach.
    entries : tuple of Entry
    pairs : tuple of Pair
    threshold : float
    findings : tuple of Finding
    """

    axle: AxleName
    side: Side
    travel_mm: Array
    entries: tuple[Entry, ...]
    pairs: tuple[Pair, ...]
    threshold: float
    findings: tuple[Finding, ...]
