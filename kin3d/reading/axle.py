"""One axle of a car file: its point files in their unit and axes, its layout, and whether they fit each other."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from math import cos, hypot, radians
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from kin3d.errors import Finding, Kin3dError, LayoutError, Severity
from kin3d.frames import VEHICLE_AXES, parse_axes
from kin3d.linkage.car import Axle, PointTable
from kin3d.linkage.keys import AXLE_NEEDS, AxleKeys, AxleTable, in_axes
from kin3d.linkage.layout import WHEEL_AXIS, WHEEL_CENTRE, Linkage
from kin3d.linkage.misfits import misfits
from kin3d.linkage.names import AxleName, Side
from kin3d.linkage.record import changed, known_keys, of_values
from kin3d.linkage.resolve import resolve
from kin3d.reading.kinds import way_out
from kin3d.reading.layouts import LayoutChoice
from kin3d.reading.meshes import ENDINGS
from kin3d.reading.points import PointScan, scan_points_csv
from kin3d.reading.solids import read_solids
from kin3d.reading.text import FindingLog
from kin3d.units import known_lengths, length_factor

if TYPE_CHECKING:
    from kin3d.reading.photo_records import CarPhotos

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


@dataclass(frozen=True, slots=True)
class AxleSource:
    """What the car file says of one axle: name, raw table, checked keys, layout, the file's folder."""

    name: AxleName
    raw: Mapping[str, Any]
    keys: AxleTable
    chosen: LayoutChoice
    folder: Path

    def where(self, key: str) -> str:
        """Return the place of a key of this axle."""
        return f"[{self.name}] {key}"


def read_axle(source: AxleSource, log: FindingLog) -> Axle | None:
    """Return the axle, or None when something it cannot do without is missing or wrong."""
    keys, layout = source.keys, source.chosen.layout
    photographed = _is_photographs(keys.points)
    for key, meaning in AXLE_NEEDS.items():
        if key not in source.raw and not (photographed and key == "side"):
            log.error("key-missing", f"is missing; give {meaning}", source.where(key))
    frame = _file_frame(source, log)
    main, linkage = _read_points("points", source, frame, log)
    other, other_linkage = _read_points("other_points", source, frame, log, main)
    if linkage and other_linkage and linkage.points != other_linkage.points:
        _tell_difference(linkage, other_linkage, source, log)
    _check_rack_axis(source, frame, log)
    _check_meshes(source, log)
    solids = read_solids(keys.solids, source.name, source.folder, keys.units, log)
    keys = changed(keys, keys.own_sigmas, solids=solids) if solids else keys
    for finding in misfits(source.name, keys, layout, linkage, main.places if main else ()):
        log.error(finding.code, finding.text, finding.place)
    if linkage:
        _tell_unused(linkage, source, log)
    if main is None or main.table is None or layout is None or not linkage:
        return None
    side = main.table.own_side or keys.side
    if side is None:
        return None
    _tell_wheel_axis(main, source, log)
    data = in_axes(keys, np.eye(3) if frame.rotation is None else frame.rotation, source.folder)
    axle = of_values(
        Axle,  # of values that are checked
        name=source.name,
        points=main.table,
        side=side,
        layout=layout,
        other_points=other.table if other else None,
        layout_keys=source.chosen.given,
        units=keys.units,
        axes=keys.axes,
        origin=keys.origin,
        **{name: getattr(data, name) for name in known_keys(AxleKeys) if name in data.given},
    )
    return changed(axle, data.own_sigmas)


def _read_points(
    key: str, source: AxleSource, frame: FileFrame, log: FindingLog, first: PointScan | None = None
) -> tuple[PointScan | None, Linkage | None]:
    """Read one point file, check its side and make its linkage; all that is wrong goes to `log`."""
    name = getattr(source.keys, key)
    if name is None:
        return None, None
    side = _side(key, source.keys.side)
    scan = _scan_file(source.folder / name, source.where(key), source, frame, log, side)
    if scan.table is None or not scan.table.pending:
        scan = _from_origin(scan, source, frame, log)
    if scan.table is not None and side is not None and (frame.known or name.lower().endswith(".dxf")):
        _check_side(scan.table, side, source.where("side" if key == "points" else key), log)
    return scan, _linkage(scan, first, source, str(source.folder / name), log)


def _from_origin(scan: PointScan, source: AxleSource, frame: FileFrame, log: FindingLog) -> PointScan:
    """The points from the vehicle's origin, where the file says that it lies elsewhere."""
    origin = source.keys.origin
    if origin is None or scan.table is None or not any(origin):
        return scan
    if frame.factor_mm is None or frame.rotation is None:
        text = "is in the axes and the unit of the points' file; say in axes and units what they are"
        log.error("axes-missing", text, source.where("origin"))
        return scan
    shift = frame.factor_mm * (frame.rotation @ np.array(origin))
    return replace(scan, table=replace(scan.table, xyz_mm=scan.table.xyz_mm - shift + 0.0))


def _side(key: str, side: Side | None) -> Side | None:
    if side is None or key == "points":
        return side
    return "right" if side == "left" else "left"


def _linkage(
    scan: PointScan, first: PointScan | None, source: AxleSource, file: str, log: FindingLog
) -> Linkage | None:
    layout = source.chosen.layout
    if layout is None or not scan.places:
        return None
    # points that stand once in the car are in the first table only
    once = layout.across.points & set(first.places) if first else frozenset()
    for point in sorted(once & set(scan.places)):
        text = f'point "{point}" stands once in the car and is in the table of points; take it out here'
        log.error("point-once", text, scan.places[point])
    try:
        given, extra = source.chosen.given, source.keys.attached()
        return resolve(layout, (*scan.places, *once), given, file, scan.places, extra)
    except LayoutError as err:
        log.adopt(err.findings)
        return None


def _tell_difference(main: Linkage, other: Linkage, source: AxleSource, log: FindingLog) -> None:
    lone = sorted(set(main.points) ^ set(other.points))
    text = f"the two sides must have the same points; only one of them has {', '.join(lone)}"
    log.error("sides-differ", text, source.where("other_points"))


def _check_rack_axis(source: AxleSource, frame: FileFrame, log: FindingLog) -> None:
    """Refuse a rack's direction whose axes are not known."""
    if "rack_axis" not in source.keys.given or not any(source.keys.rack_axis):
        return
    if _is_photographs(source.keys.points):
        return  # points from photographs stand in the vehicle frame
    if frame.rotation is None and source.keys.axes is None and "axes" not in source.raw:
        text = "is in the axes of the points' file; say in axes what they are"
        log.error("axes-missing", text, source.where("rack_axis"))


def _check_meshes(source: AxleSource, log: FindingLog) -> None:
    """Refuse meshes that are not there or of another kind; they are read by whoever shows them."""
    for body, path in source.keys.meshes or ():
        where = f"[{source.name}.meshes] {body}"
        if path is None:
            continue
        if path.suffix.lower() not in ENDINGS:
            log.error("mesh-kind", f'"{path}" is not a mesh; expected a file ending in {" or ".join(ENDINGS)}', where)
        elif not (source.folder / path).is_file():
            log.error("file-missing", f'"{path}" is not there; the path is relative to the car file', where)


def _tell_unused(linkage: Linkage, source: AxleSource, log: FindingLog) -> None:
    """Warn of springs that the linkage has no place for, and of a choice that is none."""
    if source.keys.spring and linkage.spring is None:
        text = "is not used: without a rod (rod_on) this layout has no spring"
        log.warn("spring-unused", text, f"[{source.name}.spring]")
    if source.keys.torsion and linkage.rocker is None:
        text = "is not used: without a rod (rod_on) this layout has no rocker"
        log.warn("torsion-unused", text, f"[{source.name}.torsion]")
    if "steering_axis_holds" in source.keys.given and linkage.steering_axis is not None:
        text = f'is not used: layout "{linkage.layout}" names the ball joints of the steering axis'
        log.warn("axis-unused", text, source.where("steering_axis_holds"))


def _tell_wheel_axis(scan: PointScan, source: AxleSource, log: FindingLog) -> None:
    """Say which of wheel_axis and static angles is used, and what is assumed where neither is given."""
    given = [k for k in ("camber_deg", "toe_deg") if k in source.keys.given]
    if WHEEL_AXIS in scan.places and given:
        text = f"is not used: {scan.places[WHEEL_AXIS]} gives wheel_axis, and that is used"
        log.warn("angles-unused", text, source.where(", ".join(given)))
    elif WHEEL_AXIS not in scan.places:
        for key in ("camber_deg", "toe_deg"):
            if key not in source.raw:
                text = "is missing, and the table has no wheel_axis"
                log.note("angle-assumed", text, f"{key} = 0", source.where(key))


def _file_frame(source: AxleSource, log: FindingLog) -> FileFrame:
    """Return unit and axes as the car file says; for a table both must be there, nothing is guessed."""
    keys = source.keys
    factor, rotation = None, None
    try:
        factor = None if keys.units is None else length_factor(keys.units)
    except Kin3dError as err:
        for finding in err.findings:
            log.error(finding.code, finding.text, source.where("units"))
    try:
        rotation = None if keys.axes is None else parse_axes(keys.axes)
    except Kin3dError as err:
        for finding in err.findings:
            log.error(finding.code, finding.text, source.where("axes"))
    if keys.points is not None and not _is_drawing(keys.points) and not _is_photographs(keys.points):
        _demand(source, log)
    return FileFrame(factor, rotation)


def _demand(source: AxleSource, log: FindingLog) -> None:
    keys, raw = source.keys, source.raw  # a key that is there and was refused is not missing
    if keys.units is None and "units" not in raw:
        known = ", ".join(known_lengths())
        text = f"is missing and never guessed; give the length unit of {keys.points}: {known}"
        log.error("units-missing", text, source.where("units"))
    if keys.axes is None and "axes" not in raw:
        text = f'is missing and never guessed; say what x, y and z are in {keys.points}, e.g. "{VEHICLE_AXES}"'
        log.error("axes-missing", text, source.where("axes"))


def _is_drawing(name: str) -> bool:
    return name.lower().endswith(".dxf")


def _is_photographs(name: str | None) -> bool:
    return name is not None and name.lower().endswith(".toml")


def _scan_file(
    path: Path, where: str, source: AxleSource, frame: FileFrame, log: FindingLog, side: Side | None
) -> PointScan:
    """Read a point file by its ending; its findings go to `log`, what was found is returned.

    `side` tells the corners apart in a drawing that shows both.
    """
    if _is_drawing(path.name):
        scan = _scan_drawing(path, source, frame, side)
    elif _is_photographs(path.name):
        scan = _scan_photographs(path, where, source)
    elif path.suffix.lower() in _TABLES:
        rotation = np.eye(3) if frame.rotation is None else frame.rotation
        scan = scan_points_csv(path, frame.factor_mm or 1.0, rotation)
    else:
        text = (
            f'is "{path.name}"; a point table ({", ".join(_TABLES)}), a drawing (.dxf) or a file of photographs '
            "(.photos.toml) is expected"
        )
        log.error("points-kind", text + way_out(path), where)
        scan = PointScan({}, None, ())
    log.adopt(scan.findings)
    return scan


def _scan_drawing(path: Path, source: AxleSource, frame: FileFrame, side: Side | None) -> PointScan:
    from kin3d.reading.dxf import read_drawing_points

    keys, layout = source.keys, source.chosen.layout
    datum = None
    if keys.origin is not None and frame.factor_mm is not None and frame.rotation is not None:
        datum = frame.factor_mm * (frame.rotation @ np.array(keys.origin))
    try:
        table = read_drawing_points(path, units=keys.units, axes=keys.axes, layout=layout, side=side, datum_mm=datum)
    except Kin3dError as err:
        return PointScan({}, None, err.findings)
    return PointScan(dict(zip(table.names, table.places, strict=True)), table, table.findings)


def _scan_photographs(path: Path, where: str, source: AxleSource) -> PointScan:
    """The description of what photographs show; it becomes points where it can be adjusted."""
    # imported where it is needed, for the start of every command without photographs
    from kin3d.reading.photo_records import PhotoPoints
    from kin3d.reading.photographs import read_photographs

    log = FindingLog(str(path))
    if where != source.where("points"):
        text = "points of the other side cannot be photographs: those of the one side show both; leave it out"
        log.error("photographs-other", text)
        return PointScan({}, None, log.findings)
    try:
        found = read_photographs(path)
    except Kin3dError as err:
        return PointScan({}, None, err.findings)
    _check_photographs(found, source, log)
    if log.failed:  # what is said twice and differs would be told of every point
        return PointScan({}, None, log.findings)
    table = PhotoPoints.of(found)
    return PointScan(dict(zip(table.names, table.places, strict=True)), table, log.findings)


def _check_photographs(found: CarPhotos, source: AxleSource, log: FindingLog) -> None:
    """Axle, side and layout are said by the photographs; the car file may not say otherwise."""
    layout, side = source.chosen.layout, source.keys.side
    said = {
        "axle": (found.axle, source.name),
        "side": (found.side, side or found.side),
        "layout": (found.layout.name, found.layout.name if layout is None else layout.name),
    }
    for key in found.layout.keys():  # noqa: SIM118
        own, theirs = found.layout_keys.get(key, ""), source.chosen.given.get(key) or ""
        if own != theirs:
            words = [f'"{w}"' if w else "not given" for w in (own, theirs)]
            text = f"is {words[0]}, and in [{source.name}] of the car file {words[1]}; make them agree"
            log.error(f"{key}-differs", text, key)
    for key, (own, theirs) in said.items():
        if own != theirs:
            text = f'is "{own}", and [{source.name}] of the car file has "{theirs}"; make them agree'
            log.error(f"{key}-differs", text, key)
    if source.keys.origin is not None and any(source.keys.origin):
        text = "cannot go with photographs: their points are measured from the front axle and the ground; leave it out"
        log.error("origin-photographs", text, source.where("origin"))
    assumed = sum(f.severity is Severity.NOTE for f in found.findings)
    log.adopt(f for f in found.findings if f.severity is not Severity.NOTE)
    if assumed:
        text = f"does not give {assumed} figures"
        log.note("assumed", text, "what kin3d locate shows for each")


def _check_side(table: PointTable, side: Side, key: str, log: FindingLog) -> None:
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
