"""Where an adjustment of photographs starts from: a template's points, or the layout's own shape to the car's size."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from kin3d.errors import Kin3dError
from kin3d.frames import parse_axes
from kin3d.linkage.layout import WHEEL_CENTRE
from kin3d.linkage.names import AxleName
from kin3d.reading.points import scan_points_csv
from kin3d.reading.text import FindingLog, read_toml
from kin3d.units import length_factor

Array = NDArray[np.float64]

# x in loaded radii (forward of the wheel centre), y in half tracks, z in loaded radii: the usual look of a
# single-seater's double wishbones, invented
_SHAPES: dict[str, dict[str, tuple[float, float, float]]] = {
    "double wishbone": {
        "lower_front": (0.58, 0.33, 0.5),
        "lower_rear": (-0.7, 0.32, 0.51),
        "lower_outer": (0.01, 0.955, 0.58),
        "upper_front": (0.45, 0.37, 1.19),
        "upper_rear": (-0.62, 0.365, 1.18),
        "upper_outer": (-0.06, 0.915, 1.44),
        "tie_inner": (0.24, 0.34, 0.72),
        "tie_outer": (0.27, 0.96, 0.86),
        "wheel_centre": (0.0, 1.0, 1.0),
    }
}


_PUSH_ROD = {
    "rod_inner": (0.0, 0.39, 1.85), "rocker_axis_1": (-0.2, 0.36, 1.79), "rocker_axis_2": (-0.2, 0.39, 1.91),
    "spring_outer": (-0.12, 0.3, 2.04), "spring_inner": (-1.15, 0.27, 2.0),
}  # fmt: skip
_PULL_ROD = {
    "rod_inner": (0.0, 0.42, 0.3), "rocker_axis_1": (0.08, 0.38, 0.44), "rocker_axis_2": (-0.08, 0.38, 0.44),
    "spring_outer": (0.0, 0.4, 0.75), "spring_inner": (0.0, 0.1, 0.73),
}  # fmt: skip
# a push-rod's rocker on top of the tub and its spring along the car; a pull-rod's low at its side, the spring across
_RODS: dict[tuple[str, str], dict[str, tuple[float, float, float]]] = {
    ("double wishbone", "lower arm"): {"rod_outer": (0.01, 0.89, 0.66), **_PUSH_ROD},
    ("double wishbone", "upright"): {"rod_outer": (0.01, 0.93, 0.7), **_PUSH_ROD},
    ("double wishbone", "upper arm"): {"rod_outer": (-0.06, 0.87, 1.38), **_PULL_ROD},
}


def own_shape(
    layout: str, rod_on: str | None, radius_mm: float, half_track_mm: float, x_mm: float
) -> dict[str, Array] | None:
    """A layout's own shape, left side, vehicle frame, mm, with a rod on the body that is named; None if it has none."""
    shape = _SHAPES.get(layout)
    if shape is None:
        return None
    shape = {**shape, **_RODS.get((layout, rod_on or ""), {})}
    size = np.array([radius_mm, half_track_mm, radius_mm])
    return {n: np.array(v) * size + [x_mm, 0.0, 0.0] for n, v in shape.items()}


def template_points(path: Path, axle: AxleName, where: str, log: FindingLog) -> Mapping[str, Array] | None:
    """Points of a template, left side, mm: a point table in mm and the vehicle frame, or an axle of a car file."""
    found = _of_car(path, axle, where, log) if path.suffix.lower() == ".toml" else (path, 1.0, np.eye(3), np.zeros(3))
    if found is None:
        return None
    file, factor, rotation, origin = found
    scan = scan_points_csv(file, factor, rotation)
    log.adopt(scan.findings)
    if scan.table is None:
        return None
    table = replace(scan.table, xyz_mm=scan.table.xyz_mm - factor * rotation @ origin)
    if WHEEL_CENTRE not in table:
        log.error("template-wheel", f'"{path.name}" has no wheel_centre; a template needs one', where)
        return None
    flip = np.array([1.0, 1.0 if table[WHEEL_CENTRE][1] > 0.0 else -1.0, 1.0])
    if not 150.0 < float(table[WHEEL_CENTRE][2]) < 600.0 or not 300.0 < abs(float(table[WHEEL_CENTRE][1])) < 1500.0:
        x, y, z = table[WHEEL_CENTRE]
        text = (
            f'"{path.name}" has its wheel_centre at ({x:g}, {y:g}, {z:g}); a table in mm, x forward, y left, z up from '
            "the ground is expected; for other units or axes name its car file in place of the table"
        )
        log.error("template-frame", text, where)
        return None
    return {n: table[n] * flip for n in table.names}


def _of_car(path: Path, axle: AxleName, where: str, log: FindingLog) -> tuple[Path, float, Array, Array] | None:
    """The point table of an axle of a car file, with mm per unit, rotation into the vehicle frame, and its origin."""
    own = FindingLog(str(path))
    data = read_toml(path, own, "a car file with [front] or [rear] is expected")
    log.adopt(own.findings)
    if data is None:
        return None
    keys = data.get(axle)
    name = keys.get("points") if isinstance(keys, dict) else None
    if not isinstance(keys, dict) or not isinstance(name, str) or not name.lower().endswith((".csv", ".txt", ".tsv")):
        text = f'"{path.name}" names no point table for the {axle} axle; name a table, or a car file that names one'
        log.error("template-axle", text, where)
        return None
    try:
        turn, factor = parse_axes(str(keys.get("axes", ""))), length_factor(str(keys.get("units", "")))
        return path.parent / name, factor, turn, np.array(keys.get("origin", [0.0] * 3), dtype=float)
    except Kin3dError as err:
        log.adopt(replace(f, place=f.place or str(path)) for f in err.findings)
        return None
