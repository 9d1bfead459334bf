"""The point files of an axle: which reader takes them, in which unit and axes, and on which side they lie."""

from __future__ import annotations

from dataclasses import dataclass
from math import cos, hypot, radians
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from kin3d.errors import Finding, Kin3dError
from kin3d.frames import VEHICLE_AXES, parse_axes
from kin3d.linkage.car import PointTable, Side
from kin3d.linkage.layout import WHEEL_AXIS, WHEEL_CENTRE, Layout
from kin3d.reading.finding_log import FindingLog
from kin3d.reading.model import AxleKeys
from kin3d.reading.points import PointScan, scan_points_csv
from kin3d.units import known_lengths, length_factor

_TABLES = (".csv", ".txt", ".tsv")


@dataclass(frozen=True, slots=True)
class FileFrame:
    """Unit and axes of an axle's files; None where they are missing or wrong."""

    factor_mm: float | None
    rotation: NDArray[np.float64] | None

    @property
    def known(self) -> bool:
        """Whether coordinates can be brought into the vehicle frame."""
        return self.factor_mm is not None and self.rotation is not None


def file_frame(axle: str, keys: AxleKeys, reported: frozenset[str], log: FindingLog) -> FileFrame:
    """Return unit and axes as the car file says; for a table both must be there, nothing is guessed.

    `reported` are the keys whose value was already refused.
    """
    factor, rotation = None, None
    try:
        factor = None if keys.units is None else length_factor(keys.units)
    except Kin3dError as err:
        for finding in err.findings:
            log.error(finding.code, finding.text, f"[{axle}] units")
    try:
        rotation = None if keys.axes is None else parse_axes(keys.axes)
    except Kin3dError as err:
        for finding in err.findings:
            log.error(finding.code, finding.text, f"[{axle}] axes")
    if keys.points is not None and not _is_drawing(keys.points):
        _demand(axle, keys, reported, log)
    return FileFrame(factor, rotation)


def _demand(axle: str, keys: AxleKeys, reported: frozenset[str], log: FindingLog) -> None:
    if keys.units is None and "units" not in reported:
        known = ", ".join(known_lengths())
        text = f"is missing and never guessed; give the length unit of {keys.points}: {known}"
        log.error("units-missing", text, f"[{axle}] units")
    if keys.axes is None and "axes" not in reported:
        text = f'is missing and never guessed; say what x, y and z are in {keys.points}, e.g. "{VEHICLE_AXES}"'
        log.error("axes-missing", text, f"[{axle}] axes")


def _is_drawing(name: str) -> bool:
    return name.lower().endswith(".dxf")


def scan_file(
    path: Path,
    where: str,
    keys: AxleKeys,
    frame: FileFrame,
    layout: Layout | None,
    log: FindingLog,
    side: Side | None = None,
) -> PointScan:
    """Read a point file by its ending; its findings go to `log`, what was found is returned.

    `side` tells the corners apart in a drawing that shows both.
    """
    if _is_drawing(path.name):
        scan = _scan_drawing(path, keys, layout, side)
    elif path.suffix.lower() in _TABLES:
        rotation = np.eye(3) if frame.rotation is None else frame.rotation
        scan = scan_points_csv(path, frame.factor_mm or 1.0, rotation)
    else:
        text = f'is "{path.name}"; a point table ({", ".join(_TABLES)}) or a drawing (.dxf) is expected'
        log.error("points-kind", text, where)
        scan = PointScan({}, None, ())
    log.adopt(scan.findings)
    return scan


def _scan_drawing(path: Path, keys: AxleKeys, layout: Layout | None, side: Side | None) -> PointScan:
    from kin3d.reading.dxf import read_drawing_points

    try:
        table = read_drawing_points(path, units=keys.units, axes=keys.axes, layout=layout, side=side)
    except Kin3dError as err:
        return PointScan({}, None, err.findings)
    return PointScan(dict(zip(table.names, table.places, strict=True)), table, table.findings)


def check_side(table: PointTable, side: Side, key: str, log: FindingLog) -> None:
    """Refuse points that lie on the other side of the car, and a wheel axis that does not point outboard."""
    if WHEEL_CENTRE not in table:
        return
    sign = 1.0 if side == "left" else -1.0
    y_mm = float(table[WHEEL_CENTRE][1])
    if sign * y_mm <= 0.0:
        found = "in the middle plane" if y_mm == 0.0 else f"on the {'right' if y_mm < 0.0 else 'left'}"
        text = (
            f"wheel_centre is at y = {y_mm:g} mm in the vehicle frame, {found}, and {key} asks for "
            f"the {side}; mend the side, the axes or the point"
        )
        log.adopt([Finding("side-wrong", text, table.places[table.names.index(WHEEL_CENTRE)])])
    elif WHEEL_AXIS in table and sign * (float(table[WHEEL_AXIS][1]) - y_mm) <= 0.0:
        text = "wheel_axis is not outboard of wheel_centre; give a point of the spin axis outside of it"
        log.adopt([Finding("wheel-axis-inboard", text, table.places[table.names.index(WHEEL_AXIS)])])
    elif WHEEL_AXIS in table and _askew(table[WHEEL_AXIS] - table[WHEEL_CENTRE]):
        text = "wheel_axis is more than 45° off the line straight outboard of wheel_centre; look at its coordinates"
        log.adopt([Finding("wheel-axis-askew", text, table.places[table.names.index(WHEEL_AXIS)])])


def _askew(axis: NDArray[np.float64]) -> bool:
    """Whether an axis is farther from y than the 45° that camber and toe may be."""
    return bool(abs(axis[1]) < cos(radians(45.0)) * hypot(*axis))
