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
from kin3d.studies.case import Case, CaseModel, case_of
from kin3d.studies.corner_case import model_of
from kin3d.studies.corner_model import AXES, points_of_tables
from kin3d.studies.derived import AskedMeasures
from kin3d.studies.force_names import refuse_unknown_forces
from kin3d.studies.groups import GROUPS, groups_of
from kin3d.studies.one_corner import said_beside
from kin3d.studies.registry import left_out_sentences, need_some, shown
from kin3d.writing.result import Result
from kin3d.writing.tables import Table

if TYPE_CHECKING:
    import xarray

Array = NDArray[np.float64]
MOST = 6  # coordinates shown for each measure


@dataclass(frozen=True, slots=True, repr=False)
class Sensitivity(Result):
    """Measures in one position and what each coordinate does to them.

    Attributes
    ----------
    title : str
    case : Case
        Of which axle, on what drive, and the position.
    side : {"left", "right"}
        Whose wheel's figures they are.
    measures : tuple of Measure
    points : tuple of str
        Points of the table, in the order of `groups.GROUPS`; of several tables with the axle's name before them, and
        the side's where it has its own.
    value, rate : ndarray, shape (measures,)
        Each measure and its derivative along the drive, per unit of it.
    slope : ndarray, shape (measures, points, 3)
        Change of the measure per mm of each coordinate, vehicle frame (on a side that mirrors the other, of the
        coordinates as the table gives them). On the ground a table for both sides moves both.
    rate_slope : ndarray, shape (measures, points, 3)
        Change of the derivative along the drive per mm of each coordinate.
    left_out : dict of str to str
    chosen : bool
        Whether the measures were asked for by name: then all of them are shown.
    most : int
        Coordinates shown for each measure.
    findings : tuple of Finding
        Whose figures they are where the other side has points of its own; a spring that is slack there.
    """

    kind = "sensitivity"
    title: str
    case: Case
    side: Side
    measures: tuple[Measure, ...]
    points: tuple[str, ...]
    value: Array
    rate: Array
    slope: Array
    rate_slope: Array
    left_out: dict[str, str]
    chosen: bool = False
    most: int = MOST
    findings: tuple[Finding, ...] = ()

    @property
    def axle(self) -> AxleName:
        """Which axle."""
        return self.case.axle

    @property
    def has_rates(self) -> bool:
        """Whether there are derivatives along the drive; none along the loads of a settled car."""
        return self.case.drive.name != "loads"

    @property
    def place(self) -> str:
        """The position in words."""
        drive, value = self.case.drive, float(self.case.at[0])
        held = self.case.told_held()
        if not held and not value and drive.name in ("travel", "heave"):
            return "design position"
        return ", ".join([drive.place(value), *held])

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

        per, drive = ("measure", "point", "axis"), self.case.drive
        return xarray.Dataset(
            {
                "value": ("measure", self.value, {"long_name": "Value in the position"}),
                "rate": ("measure", self.rate, {"long_name": f"Derivative along the drive, per {drive.unit}"}),
                "slope": (per, self.slope, {"long_name": "Change of the value per mm of a coordinate"}),
                "rate_slope": (per, self.rate_slope, {"long_name": "Change of the derivative per mm of a coordinate"}),
            },
            {
                "measure": [m.name for m in self.measures],
                "unit": ("measure", [m.unit for m in self.measures]),
                "point": list(self.points),
                "axis": list(AXES),
            },
            {"title": self.title, "axle": self.axle, "side": self.side, drive.column: float(self.case.at[0])},
        )


def sensitivity(
    car: Car,
    axle: AxleName = "front",
    measures: Sequence[str] | None = None,
    *,
    travel: float | None = None,
    heave: float | None = None,
    roll: float | None = None,
    pitch: float | None = None,
    lateral: float | None = None,
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
    travel : float, mm
        Wheel travel of the position; bump positive. Default 0. Measures that need both wheels on the ground take it as
        heave.
    heave, roll, pitch : float, mm or deg, optional
        In place of travel, of wheels on the ground, as `kin3d.sweep` has them. The gradient is along the first of them.
    lateral : float, g, optional
        In their place: the car as it settles under that acceleration; its attitude is held.
    rack : float, mm
        Rack displacement of the position; to the left positive.
    side : {"left", "right"}, optional
        Default the side that the points were given for.
    most : int
        Coordinates that tables show for each measure.

    Returns
    -------
    Sensitivity
        Change of every measure, and of its gradient over the drive, per mm of each coordinate.

    Raises
    ------
    RequestError
        When the linkage does not reach the position, or a measure or axle is not known.
    """
    drives = {"heave": heave, "roll": roll, "pitch": pitch, "lateral": lateral}
    refuse_unknown_forces([car], axle, measures)
    case = case_of(axle, travel, [0.0], measures, side, **drives, rack=rack, cases=car.cases)
    model = model_of(case, car)
    there, left_out = model.available(case.chosen(measures))
    need_some(there, left_out)
    names, seeds = _coordinates(model)
    found = model.derive(model.design[None], case.at, AskedMeasures(there, rates=True, seeds=seeds))
    if found.status[0] != Status.OK:
        where = ", ".join([case.drive.place(float(case.at[0])), f"rack {rack:+g} mm"])
        text = f"{where}: {Status(int(found.status[0])).sentence}"
        raise RequestError(Finding("out-of-reach", text))
    shape = (len(there), len(names), 3)
    return Sensitivity(
        title=car.title,
        case=case,
        side=model.corner.side,
        measures=there,
        points=names,
        value=found.value[:, 0],
        rate=found.rate[:, 0],
        slope=found.slope.reshape(shape),
        rate_slope=found.rate_slope.reshape(shape),
        left_out=left_out,
        chosen=measures is not None,
        most=most,
        findings=said_beside(case, car, [m.name for m in there]),
    )


def _coordinates(model: CaseModel) -> tuple[tuple[str, ...], Array]:
    """Names of the tables' points in the order of their groups, and how a mm of each coordinate moves all corners.

    Directions are the axes of the first point, then of the next, shape (directions, rows, 3).
    """
    parts = model.parts
    groups = [groups_of(p.model.linkage, p.design) for p in parts]
    found = sorted(points_of_tables(parts), key=lambda p: (p.corner // 2, GROUPS.index(groups[p.corner][p.name])))
    heads = [f"{p.model.axle.name} " if len(parts) > 2 else "" for p in parts]
    return tuple(f"{heads[p.corner]}{p.told}" for p in found), np.concatenate([p.directions for p in found])
