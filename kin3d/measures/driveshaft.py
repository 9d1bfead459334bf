"""Measures of a drive shaft between two joints: its plunge, and the angles at which the joints work."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from kin3d.linkage.keys import Driveshaft
from kin3d.measures.corner import Corner, length
from kin3d.measures.entry import Measure
from kin3d.spatial.jets import atan2, size
from kin3d.spatial.vectors import Number, Vec, cross, dot, sub

_INNER = "angle between the shaft and the axis of its inner joint (inner_axis; across the car where it is not given)"
_OUTER = "angle between the shaft and the wheel's spin axis"


def _given(corner: Corner) -> Driveshaft:
    found: Driveshaft | None = corner.axle.driveshaft
    if found is None:
        raise ValueError("no drive shaft is given")
    return found


def shaft(corner: Corner) -> Vec:
    """From the inner to the outer joint."""
    inner, outer = (corner.place(p) for p in _given(corner).points)
    return sub(outer, inner)


def plunge(corner: Corner) -> Number:
    """Length of the shaft beyond that of the design position."""
    inner, outer = (corner.motion.design[p] for p in _given(corner).points)
    return length(shaft(corner)) - length(sub(outer, inner))


def _between(a: Vec, b: Vec) -> Number:
    """Angle between two lines, 0 to 90 deg, rad."""
    along = dot(a, b)
    return atan2(length(cross(a, b)), size(along))


def inner_angle(corner: Corner) -> Number:
    """Angle of the inner joint."""
    x, y, z = _given(corner).inner_axis or (0.0, 1.0, 0.0)
    # given for the side of the point table; the other side's is its mirror image
    side = corner.sign if corner.axle.side == "left" else -corner.sign
    return _between(shaft(corner), (x, y * side, z))


def outer_angle(corner: Corner) -> Number:
    """Angle of the outer joint."""
    return _between(shaft(corner), corner.spin)


def _measure(
    name: str, label: str, unit: str, sign: str, definition: str, function: Callable[[Corner], Any], *uses: str
) -> Measure:
    return Measure(
        name=name,
        label=label,
        unit=unit,
        sign=sign,
        definition=definition,
        source="own definition",
        function=function,
        needs=("axle.driveshaft",),
        silent=True,
        uses=uses,
        group="drive shaft",
    )


MEASURES = (
    _measure(
        "driveshaft_plunge_mm",
        "Plunge of the drive shaft",
        "mm",
        "longer than in design: positive",
        "distance of the two joints beyond that of the design position",
        plunge,
    ),
    _measure("driveshaft_inner_deg", "Inner joint angle", "deg", "without sign", _INNER, inner_angle, "axle.side"),
    _measure("driveshaft_outer_deg", "Outer joint angle", "deg", "without sign", _OUTER, outer_angle),
)
