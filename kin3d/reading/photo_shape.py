"""Where an adjustment of photographs starts from: a template's points, or the layout's own shape to the car's size."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from kin3d.errors import Kin3dError
from kin3d.linkage.layout import WHEEL_CENTRE
from kin3d.linkage.names import AxleName
from kin3d.reading.points import scan_points_csv
from kin3d.reading.text import FindingLog

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


def own_shape(layout: str, radius_mm: float, half_track_mm: float, x_mm: float) -> dict[str, Array] | None:
    """A layout's own shape, left side, vehicle frame, mm; None for a layout that has none."""
    shape = _SHAPES.get(layout)
    if shape is None:
        return None
    size = np.array([radius_mm, half_track_mm, radius_mm])
    return {n: np.array(v) * size + [x_mm, 0.0, 0.0] for n, v in shape.items()}


def template_points(path: Path, axle: AxleName, where: str, log: FindingLog) -> Mapping[str, Array] | None:
    """Points of a template, left side, mm: a point table in mm and the vehicle frame, or an axle of a car file."""
    if path.suffix.lower() == ".toml":
        from kin3d.reading.car import read_car

        try:
            car = read_car(path)
        except Kin3dError as err:
            log.adopt(err.findings)
            return None
        found = car.front if axle == "front" else car.rear
        if found is None:
            log.error("template-axle", f'"{path.name}" has no {axle} axle; give a car file that has it', where)
            return None
        table = found.points
    else:
        scan = scan_points_csv(path, 1.0, np.eye(3))
        log.adopt(scan.findings)
        if scan.table is None:
            return None
        table = scan.table
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
