"""Units, axes and the side in the file change nothing in the result."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

import kin3d
from tests.car_files import point_table
from tests.laws.cars import CORNERS, MODELS, car

# axes of the file: rows give the file's x, y, z in the vehicle frame (own table, independent of the reader)
FRAMES = {
    "x forward, y left, z up": np.eye(3),
    "x rearward, y right, z up": np.diag([-1.0, -1.0, 1.0]),
    "x forward, y right, z down": np.diag([1.0, -1.0, -1.0]),
    "x left, y up, z forward": np.array([[0.0, 1.0, 0.0], [0.0, 0.0, 1.0], [1.0, 0.0, 0.0]]),
    "x up, y rearward, z right": np.array([[0.0, 0.0, 1.0], [-1.0, 0.0, 0.0], [0.0, -1.0, 0.0]]),
}
UNITS = {"mm": 1.0, "cm": 10.0, "m": 1000.0, "in": 25.4}
TRAVEL = [-30.0, 0.0, 30.0]


def rewritten(tmp_path, name, axle, frame, unit, mirrored, origin=None):
    """The same corner with its table in another frame, unit, origin and (mirrored) for the other side."""
    read = car(name)
    source = (MODELS / name / "car.toml").read_text("utf-8")
    table = getattr(read, axle).points
    flip = np.array([1.0, -1.0, 1.0]) if mirrored else np.ones(3)
    rows = (table.xyz_mm * flip) @ FRAMES[frame].T / UNITS[unit] + np.array(origin or [0.0, 0.0, 0.0])
    (tmp_path / "table.csv").write_text(point_table(dict(zip(table.names, rows, strict=True))), "utf-8")
    own = getattr(read, axle)
    side = {"left": "right", "right": "left"}[own.side] if mirrored else own.side
    head, _, tail = source.partition(f"[{axle}]\n")
    lines = tail.splitlines()
    if origin:
        lines.insert(0, f"origin = {origin}")
    for k, line in enumerate(lines):
        key = line.partition("=")[0].strip()
        new = {"points": "table.csv", "units": unit, "axes": frame, "side": side}.get(key)
        if line.startswith("["):
            break
        if new:
            lines[k] = f'{key} = "{new}"'
    for other in (MODELS / name).glob("*"):
        if other.suffix in (".csv", ".toml", ".dxf") and other.name != "car.toml":
            (tmp_path / other.name).write_bytes(other.read_bytes())
    (tmp_path / "car.toml").write_text(f"{head}[{axle}]\n" + "\n".join(lines) + "\n", "utf-8")
    return kin3d.load(tmp_path / "car.toml")


@pytest.mark.parametrize("mirrored", [False, True])
@pytest.mark.parametrize(("frame", "unit"), [*((f, "mm") for f in FRAMES), *((next(iter(FRAMES)), u) for u in UNITS)])
@pytest.mark.parametrize(("name", "axle"), [CORNERS[0], CORNERS[4]])
def test_the_same_corner_in_another_frame(tmp_path, name, axle, frame, unit, mirrored):
    mine = kin3d.sweep(car(name), axle, TRAVEL, [-5.0, 5.0]).dataset()
    again = kin3d.sweep(rewritten(tmp_path, name, axle, frame, unit, mirrored), axle, TRAVEL, [-5.0, 5.0]).dataset()
    for variable in mine.data_vars:
        assert_allclose(again[variable].values, mine[variable].values, rtol=1e-8, atol=1e-8, err_msg=str(variable))


@pytest.mark.parametrize(("frame", "unit"), [("x forward, y left, z up", "mm"), ("x up, y rearward, z right", "in")])
def test_the_same_corner_from_another_origin(tmp_path, frame, unit):
    name, axle = CORNERS[0]
    origin = [1250.0, -431.5, 88.25]  # in the table's own axes and unit
    mine = kin3d.sweep(car(name), axle, TRAVEL).dataset()
    moved = rewritten(tmp_path, name, axle, frame, unit, False, origin)
    assert_allclose(getattr(moved, axle).points.xyz_mm, getattr(car(name), axle).points.xyz_mm, rtol=0, atol=1e-9)
    again = kin3d.sweep(moved, axle, TRAVEL).dataset()
    for variable in mine.data_vars:
        assert_allclose(again[variable].values, mine[variable].values, rtol=1e-8, atol=1e-8, err_msg=str(variable))
    assert not [f for f in moved.findings if "implausible" in f.code]
