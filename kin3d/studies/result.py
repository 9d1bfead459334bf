"""The record that every sweep returns: drives, sides, measures, status; plain arrays, labelled on request."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from kin3d.errors import Finding
from kin3d.linkage.design import SIDES
from kin3d.linkage.names import AxleName
from kin3d.measures.entry import Measure
from kin3d.solve.status import Status

if TYPE_CHECKING:
    import xarray

Array = NDArray[np.float64]

# drives by name: what they are, for tables, plots and datasets; the unit stands in the name
DRIVES = {
    "travel_mm": "Wheel travel, bump positive",
    "rack_mm": "Rack displacement, left positive",
    "heave_mm": "Heave, bump on both sides positive",
    "roll_deg": "Body roll, left side up positive",
    "pitch_deg": "Body pitch, nose down positive",
}


@dataclass(frozen=True, slots=True)
class SweepResult:
    """What a sweep found, as plain arrays.

    Attributes
    ----------
    title, axle : str
    drives : dict of str to ndarray
        Values of each drive by its name (`DRIVES`), in the order of the arrays' axes.
    values : dict of str to ndarray, shape (*drives, 2)
        Each measure by name; the last axis is left, right. NaN where a position has a status other than OK, or where
        the measure has no value there (a finding says so).
    status : ndarray of int8, shape (*drives, 2)
    measures : tuple of Measure
        The measures in `values`, in order.
    left_out : dict of str to str
        Measures without the data they need, and what is missing.
    findings : tuple of Finding
        Limits met, measures without value.
    stepped : int
        Positions that needed continuation in steps.
    closure_mm : float
        Largest error of a length over all solved positions.
    """

    title: str
    axle: AxleName
    drives: dict[str, Array]
    values: dict[str, Array]
    status: NDArray[np.int8]
    measures: tuple[Measure, ...]
    left_out: dict[str, str]
    findings: tuple[Finding, ...]
    stepped: int
    closure_mm: float

    @property
    def complete(self) -> bool:
        """Whether every position was reached."""
        return bool((self.status == Status.OK).all())

    def driven(self) -> tuple[str, ...]:
        """Drives with more than one value; the first drive when none has."""
        several = tuple(n for n, v in self.drives.items() if len(v) > 1)
        return several or tuple(self.drives)[:1]

    def dataset(self) -> xarray.Dataset:
        """The result as an `xarray.Dataset` with the drives and ``side`` as dimensions.

        Every variable carries ``units``, ``long_name``, ``definition`` and ``sign``; ``status`` carries the meaning of
        its values, ``attrs["notes"]`` what was left out and why.
        """
        import xarray

        dims = (*self.drives, "side")
        variables: dict[str, object] = {
            m.name: (
                dims,
                self.values[m.name],
                {"units": m.unit, "long_name": m.label, "definition": m.definition, "sign": m.sign},
            )
            for m in self.measures
        }
        meaning = "; ".join(f"{int(s)} = {s.sentence}" for s in Status)
        variables["status"] = (dims, self.status, {"units": "1", "long_name": "Status", "definition": meaning})
        coordinates: dict[str, object] = {
            name: (name, v, {"units": name.rpartition("_")[2], "long_name": DRIVES[name]})
            for name, v in self.drives.items()
        }
        coordinates["side"] = ("side", list(SIDES))
        return xarray.Dataset(variables, coordinates, self._attributes())

    def _attributes(self) -> dict[str, str]:
        notes = [f"{name}: left out, {reason}" for name, reason in self.left_out.items()]
        notes += [str(f) for f in self.findings]
        return {"title": self.title, "axle": self.axle, "notes": "\n".join(notes)}
