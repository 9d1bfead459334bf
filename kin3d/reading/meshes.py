"""Mesh files that an axle names for looks: found here, read by whoever shows them."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from kin3d.linkage.car import MeshFile
from kin3d.reading.finding_log import FindingLog
from kin3d.reading.model import MeshKeys
from kin3d.reading.tables import FileFrame

KINDS = (".stl", ".obj", ".glb", ".ply")


def mesh_files(
    axle: str, keys: MeshKeys | None, frame: FileFrame, folder: Path, log: FindingLog
) -> dict[str, MeshFile]:
    """Mesh files by the body that they show; every file that is not there or of another kind is told.

    Their coordinates are in the unit and axes of the axle's points; without these in mm in the vehicle frame.
    """
    out: dict[str, MeshFile] = {}
    for body, name in (keys.model_dump() if keys else {}).items():
        if name is None:
            continue
        path, where = folder / name, f"[{axle}.meshes] {body}"
        if path.suffix.lower() not in KINDS:
            log.error("mesh-kind", f'"{name}" is not a mesh; expected a file ending in {" or ".join(KINDS)}', where)
        elif not path.is_file():
            log.error("file-missing", f'"{name}" is not there; the path is relative to the car file', where)
        else:
            out[body] = MeshFile(path, _to_mm(frame))
    return out


def _to_mm(frame: FileFrame) -> tuple[tuple[float, float, float], ...]:
    turn = np.eye(3) if frame.rotation is None else frame.rotation
    rows = (turn * (frame.factor_mm or 1.0)).tolist()
    return tuple((x, y, z) for x, y, z in rows)
