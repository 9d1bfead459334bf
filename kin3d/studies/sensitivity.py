"""What a millimetre does: exact derivative of every measure, and of its gradient, with respect to every coordinate."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from os import PathLike
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from kin3d.errors import Finding, RequestError
from kin3d.linkage.car import Car
from kin3d.linkage.names import AxleName, Side
from kin3d.measures.entry import Measure
from kin3d.solve.lanes import Status
from kin3d.studies import sensitivity_view as view
from kin3d.studies.corner_model import AXES, CornerModel, derive
from kin3d.studies.force_names import refuse_unknown_forces
from kin3d.studies.groups import GROUPS, groups_of
from kin3d.studies.registry import left_out_sentences, shown
from kin3d.studies.sweep import chosen_measures
from kin3d.writing.result import Result
from kin3d.writing.tables import Table

if TYPE_CHECKING:
    import xarray

Array = NDArray[np.float64]
MOST = 6  # coordinates shown for each measure


@dataclass(frozen=True, slots=True, repr=False)
class Sensitivity(Result):
    """Measures of one corner in one position and what each coordinate does to them.

    Attributes
    ----------
    title, axle, side : str
    travel_mm, rack_mm : float
        The position.
    measures : tuple of Measure
    points : tuple of str
        Points of the table, in the order of `groups.GROUPS`.
    value, rate : ndarray, shape (measures,)
        Each measure and its derivative along travel, per mm.
    slope : ndarray, shape (measures, points, 3)
        Change of the measure per mm of each coordinate, vehicle frame (on a side that mirrors the other, of the
        coordinates as the table gives them).
    rate_slope : ndarray, shape (measures, points, 3)
        Change of the derivative along travel per mm of each coordinate.
    left_out : dict of str to str
    chosen : bool
        Whether the measures were asked for by name: then all of them are shown.
    most : int
        Coordinates shown for each measure.
    """

    kind = "sensitivity"
    title: str
    axle: AxleName
    side: Side
    travel_mm: float
    rack_mm: float
    measures: tuple[Measure, ...]
    points: tuple[str, ...]
    value: Array
    rate: Array
    slope: Array
    rate_slope: Array
    left_out: dict[str, str]
    chosen: bool = False
    most: int = MOST

    @property
    def place(self) -> str:
        """The position in words."""
        rack = f", rack {self.rack_mm:+g} mm" if self.rack_mm else ""
        return (f"travel {self.travel_mm:+g} mm" if self.travel_mm or rack else "design position") + rack

    def row(self, measure: str) -> int:
        """Row of a measure in every array."""
        return [m.name for m in self.measures].index(measure)

    def summary(self) -> str:
        """Car, axle, position, and how much there is."""
        count = f"{len(self.measures)} measures by {3 * len(self.points)} coordinates"
        return f"{self.title}, {self.axle} axle, {self.side} side, {self.place}: {count}"

    def tables(self, measures: Sequence[str] | None = None) -> tuple[Table, ...]:
        """The coordinates of each measure that matter most: change per mm of its value and of its gradient."""
        return (view.strongest_table(self, shown(self.measures, measures, self.chosen), self.most),)

    def records(self) -> tuple[Table, ...]:
        """``sensitivities``: a row a measure and coordinate."""
        return (view.sensitivity_record(self),)

    def notes(self) -> tuple[str, ...]:
        """Measures that were left out."""
        return tuple(left_out_sentences(self.left_out))

    def plot(self, path: str | PathLike[str], measures: Sequence[str] | None = None) -> None:
        """Draw a heat map: a row a coordinate, a column a measure."""
        view.draw_heat_map(self, shown(self.measures, measures, self.chosen), Path(path))

    def dataset(self) -> xarray.Dataset:
        """The result with dimensions measure, point and axis."""
        import xarray

        per = ("measure", "point", "axis")
        return xarray.Dataset(
            {
                "value": ("measure", self.value, {"long_name": "Value in the position"}),
                "rate": ("measure", self.rate, {"long_name": "Derivative along travel, per mm"}),
                "slope": (per, self.slope, {"long_name": "Change of the value per mm of a coordinate"}),
                "rate_slope": (per, self.rate_slope, {"long_name": "Change of the derivative per mm of a coordinate"}),
            },
            {
                "measure": [m.name for m in self.measures],
                "unit": ("measure", [m.unit for m in self.measures]),
                "point": list(self.points),
                "axis": list(AXES),
            },
            {"title": self.title, "axle": self.axle, "side": self.side, "travel_mm": self.travel_mm},
        )


def sensitivity(
    car: Car,
    axle: AxleName = "front",
    measures: Sequence[str] | None = None,
    *,
    at: float = 0.0,
    rack: float = 0.0,
    side: Side | None = None,
    most: int = MOST,
) -> Sensitivity:
    """Derive every measure with respect to every coordinate of the point table.

    Parameters
    ----------
    car : Car
    axle : {"front", "rear"}
    measures : sequence of str, optional
        Names; default all that there is data for.
    at : float, mm
        Wheel travel of the position; bump positive.
    rack : float, mm
        Rack displacement of the position; to the left positive.
    side : {"left", "right"}, optional
        Default the side that the points were given for.
    most : int
        Coordinates that tables show for each measure.

    Returns
    -------
    Sensitivity
        Change of every measure, and of its gradient over travel, per mm of each coordinate.

    Raises
    ------
    RequestError
        When the linkage does not reach the position, or a measure or axle is not known.
    """
    refuse_unknown_forces([car], axle, measures)
    corner = CornerModel.of(car, axle, side)
    there, left_out = corner.available(chosen_measures(axle, measures))
    variants = corner.variants(corner.design)
    lanes = corner.model.kernel.lanes(variants, np.array([at]), rack)
    seeds = corner.seeds.reshape(-1, *corner.design.shape)
    found = derive(corner, variants, lanes, there, rates=True, seeds=seeds)
    if found.status[0] != Status.OK:
        text = f"travel {at:+g} mm, rack {rack:+g} mm: {Status(int(found.status[0])).sentence}"
        raise RequestError(Finding("out-of-reach", text))
    shape = (len(there), len(corner.names), 3)
    order = _grouped(corner)
    return Sensitivity(
        title=car.title,
        axle=axle,
        side=corner.side,
        travel_mm=at,
        rack_mm=rack,
        measures=there,
        points=tuple(corner.names[k] for k in order),
        value=found.value[:, 0],
        rate=found.rate[:, 0],
        slope=found.slope.reshape(shape)[:, order],
        rate_slope=found.rate_slope.reshape(shape)[:, order],
        left_out=left_out,
        chosen=measures is not None,
        most=most,
    )


def _grouped(corner: CornerModel) -> list[int]:
    """Rows of the points in the order of their groups."""
    linkage = corner.model.linkage
    groups = groups_of(linkage, dict(zip(linkage.points, corner.design, strict=True)))
    return sorted(range(len(corner.names)), key=lambda k: GROUPS.index(groups[corner.names[k]]))
