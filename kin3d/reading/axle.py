"""One axle of a car file: its points, its layout and whether the two fit each other."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from kin3d.errors import LayoutError
from kin3d.linkage.car import Axle, AxleName, Bar, Side, Spring, Torsion
from kin3d.linkage.layout import WHEEL_AXIS, Linkage
from kin3d.linkage.resolve import resolve
from kin3d.reading.finding_log import FindingLog
from kin3d.reading.inboard import attached, inboard, tell_misfits
from kin3d.reading.layouts import LayoutChoice
from kin3d.reading.meshes import mesh_files
from kin3d.reading.model import AXLE_NEEDS, AxleKeys
from kin3d.reading.points import PointScan
from kin3d.reading.shared import shared_errors
from kin3d.reading.tables import FileFrame, check_side, file_frame, scan_file

_Direction = tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class AxleSource:
    """What the car file says of one axle: name, raw table, checked keys, layout, the file's folder."""

    name: AxleName
    raw: Mapping[str, Any]
    keys: AxleKeys
    chosen: LayoutChoice
    folder: Path

    def where(self, key: str) -> str:
        """Return the place of a key of this axle."""
        return f"[{self.name}] {key}"


def read_axle(source: AxleSource, log: FindingLog) -> Axle | None:
    """Return the axle, or None when something it cannot do without is missing or wrong."""
    keys, layout = source.keys, source.chosen.layout
    for key, meaning in AXLE_NEEDS.items():
        if key not in source.raw:
            log.error("key-missing", f"is missing; give {meaning}", source.where(key))
    refused = frozenset(k for k in source.raw if getattr(keys, k, None) is None)
    frame = file_frame(source.name, keys, refused, log)
    main, linkage = _read_points("points", source, frame, log)
    other, other_linkage = _read_points("other_points", source, frame, log)
    if linkage and other_linkage and linkage.points != other_linkage.points:
        _tell_difference(linkage, other_linkage, source, log)
    rack_axis = _rack_axis(source, frame, log)
    meshes = mesh_files(source.name, keys.meshes, frame, source.folder, log)
    tell_misfits(source.name, keys, keys.spring is not None, layout, linkage, log)
    if linkage:
        _tell_unused(linkage, source, log)
    if main is None or main.table is None or layout is None or keys.side is None or not linkage:
        return None
    _tell_wheel_axis(main, source, log)
    return Axle(
        name=source.name,
        points=main.table,
        side=keys.side,
        layout=layout,
        loaded_radius_mm=keys.loaded_radius_mm,
        rod_on=source.chosen.given.get("rod_on"),
        camber_deg=keys.camber_deg or 0.0,
        toe_deg=keys.toe_deg or 0.0,
        rack_axis=rack_axis,
        spring=Spring(**keys.spring.model_dump()) if keys.spring else None,
        torsion=Torsion(**keys.torsion.model_dump()) if keys.torsion else None,
        bar=Bar(**keys.bar.model_dump()) if keys.bar else None,
        other_points=other.table if other else None,
        layout_keys=source.chosen.given,
        **inboard(keys, frame.rotation),
        shared_errors=shared_errors(source.name, keys.shared_error, main.places, log),
        meshes=meshes,
    )


def _read_points(
    key: str, source: AxleSource, frame: FileFrame, log: FindingLog
) -> tuple[PointScan | None, Linkage | None]:
    """Read one point file, check its side and make its linkage; all that is wrong goes to `log`."""
    name = getattr(source.keys, key)
    if name is None:
        return None, None
    side = _side(key, source.keys.side)
    scan = scan_file(source.folder / name, source.where(key), source.keys, frame, source.chosen.layout, log, side)
    if scan.table is not None and side is not None and (frame.known or name.lower().endswith(".dxf")):
        check_side(scan.table, side, source.where("side" if key == "points" else key), log)
    return scan, _linkage(scan, source, str(source.folder / name), log)


def _side(key: str, side: Side | None) -> Side | None:
    if side is None or key == "points":
        return side
    return "right" if side == "left" else "left"


def _linkage(scan: PointScan, source: AxleSource, file: str, log: FindingLog) -> Linkage | None:
    if source.chosen.layout is None or not scan.places:
        return None
    try:
        given, extra = source.chosen.given, attached(source.keys)
        return resolve(source.chosen.layout, scan.places, given, file, scan.places, extra)
    except LayoutError as err:
        log.adopt(err.findings)
        return None


def _tell_difference(main: Linkage, other: Linkage, source: AxleSource, log: FindingLog) -> None:
    lone = sorted(set(main.points) ^ set(other.points))
    text = f"the two sides must have the same points; only one of them has {', '.join(lone)}"
    log.error("sides-differ", text, source.where("other_points"))


def _rack_axis(source: AxleSource, frame: FileFrame, log: FindingLog) -> _Direction:
    """Return the rack's unit direction in the vehicle frame; to the left unless the car file says else."""
    given = source.keys.rack_axis
    if given is None:
        return (0.0, 1.0, 0.0)
    length = float(np.linalg.norm(given))
    if length == 0.0:
        log.error("rack-axis-zero", "has no direction: all three are 0", source.where("rack_axis"))
        return (0.0, 1.0, 0.0)
    if frame.rotation is None:
        if source.keys.axes is None and "axes" not in source.raw:
            text = "is in the axes of the points' file; say in axes what they are"
            log.error("axes-missing", text, source.where("rack_axis"))
        return (0.0, 1.0, 0.0)
    x, y, z = (frame.rotation @ np.array(given) / length + 0.0).tolist()
    return (x, y, z)


def _tell_unused(linkage: Linkage, source: AxleSource, log: FindingLog) -> None:
    """Warn of springs that the linkage has no place for."""
    if source.keys.spring and linkage.spring is None:
        text = "is not used: without a rod (rod_on) this layout has no spring"
        log.warn("spring-unused", text, f"[{source.name}.spring]")
    if source.keys.torsion and linkage.rocker is None:
        text = "is not used: without a rod (rod_on) this layout has no rocker"
        log.warn("torsion-unused", text, f"[{source.name}.torsion]")


def _tell_wheel_axis(scan: PointScan, source: AxleSource, log: FindingLog) -> None:
    """Say which of wheel_axis and static angles is used, and what is assumed where neither is given."""
    given = [k for k in ("camber_deg", "toe_deg") if getattr(source.keys, k) is not None]
    if WHEEL_AXIS in scan.places and given:
        text = f"is not used: {scan.places[WHEEL_AXIS]} gives wheel_axis, and that is used"
        log.warn("angles-unused", text, source.where(", ".join(given)))
    elif WHEEL_AXIS not in scan.places:
        for key in ("camber_deg", "toe_deg"):
            if key not in source.raw:
                text = "is missing, and the table has no wheel_axis"
                log.note("angle-assumed", text, f"{key} = 0", source.where(key))
