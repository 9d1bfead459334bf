"""Results as labelled arrays (xarray), with units and long names."""

from __future__ import annotations

from typing import TYPE_CHECKING

from kin3d.solve.status import Status
from kin3d.studies.model import SIDES

if TYPE_CHECKING:
    import xarray

    from kin3d.studies.sweep import SweepResult


def to_dataset(result: SweepResult) -> xarray.Dataset:
    """A sweep as an `xarray.Dataset` with dimensions travel_mm, rack_mm and side.

    Every variable carries ``units``, ``long_name``, ``definition`` and ``sign``; ``status`` carries the meaning of its values.
    """
    import xarray

    dims = ("travel_mm", "rack_mm", "side")
    variables = {
        m.name: (
            dims,
            result.values[m.name],
            {"units": m.unit, "long_name": m.label, "definition": m.definition, "sign": m.sign},
        )
        for m in result.measures
    }
    meaning = "; ".join(f"{int(s)} = {s.sentence}" for s in Status)
    variables["status"] = (dims, result.status, {"units": "1", "long_name": "Status", "definition": meaning})
    coordinates = {
        "travel_mm": ("travel_mm", result.travel_mm, {"units": "mm", "long_name": "Wheel travel, bump positive"}),
        "rack_mm": ("rack_mm", result.rack_mm, {"units": "mm", "long_name": "Rack displacement, left positive"}),
        "side": ("side", list(SIDES)),
    }
    notes = [f"{name}: left out, {reason}" for name, reason in result.left_out.items()]
    notes += [str(f) for f in result.findings]
    attributes = {"title": result.title, "axle": result.axle, "notes": "\n".join(notes)}
    return xarray.Dataset(variables, coordinates, attributes)
