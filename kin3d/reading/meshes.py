"""Meshes from STL, OBJ, PLY and GLB files: read once, from the bytes alone, in mm and the vehicle frame."""

from __future__ import annotations

import io
import re
import warnings
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from kin3d.errors import Finding, ReadingError
from kin3d.linkage.car import MeshFile
from kin3d.writing.files import read_file

Array = NDArray[np.float64]
ENDINGS = (".stl", ".obj", ".glb", ".ply")
MOST_BYTES = 100_000_000  # of a file
FARTHEST = 1e7  # of a corner, in the unit of the file
MOST_TRIANGLES = 400_000  # more than this is slow to move in software


@dataclass(frozen=True, slots=True, eq=False)
class MeshData:
    """Triangles of a part.

    Attributes
    ----------
    points : ndarray, shape (points, 3)
        mm, vehicle frame, design position.
    triangles : ndarray of int, shape (triangles, 3)
    normals : ndarray, shape (triangles, 3)
        As the order of the file's corners gives them.
    closed : bool
        Whether every edge has two triangles.
    inverted : bool
        Whether its normals point inwards, where it is closed.
    """

    points: Array
    triangles: NDArray[np.int64]
    normals: Array
    closed: bool
    inverted: bool


@lru_cache(maxsize=32)
def read_mesh(mesh: MeshFile) -> MeshData:
    """Read a mesh file, once; mm in the vehicle frame, design position.

    Raises
    ------
    ReadingError
        A file that cannot be read, is empty or too large, with what is expected.
    """
    import trimesh

    file = str(mesh.path)
    try:
        raw = read_file(mesh.path, MOST_BYTES)
    except OSError as error:
        text = f"cannot be opened: {error.strerror or error}"
        raise ReadingError(Finding("mesh-unreadable", text, file)) from None
    claims = _claims_too_much(raw, mesh.path.suffix.lower())
    if claims:
        raise ReadingError(Finding("mesh-size", claims, file))
    try:
        # from the bytes alone: a mesh that names other files (materials, buffers) gets none of them
        with np.errstate(all="ignore"), warnings.catch_warnings():
            warnings.simplefilter("ignore")
            found = trimesh.load_mesh(io.BytesIO(raw), file_type=mesh.path.suffix.lower()[1:], process=True)
            triangles = np.asarray(getattr(found, "faces", np.empty((0, 3))), dtype=np.int64)
            corners = np.asarray(getattr(found, "vertices", np.empty((0, 3))), dtype=float)
            closed = bool(len(triangles) and found.is_watertight)
            inverted = closed and float(found.volume) < 0.0
    except (Exception, RecursionError) as error:  # noqa: BLE001 - a damaged file makes the library fail in any way
        text = f"cannot be read as a mesh: it is damaged or of another kind ({type(error).__name__})"
        raise ReadingError(Finding("mesh-unreadable", text, file)) from None
    if not len(triangles) or not len(corners):
        text = "has no triangles, or none whose corners are numbers; a mesh with triangles is expected"
        raise ReadingError(Finding("mesh-size", text, file))
    if len(triangles) > MOST_TRIANGLES:
        text = f"has {len(triangles):,} triangles; {MOST_TRIANGLES:,} at most are expected: write it coarser"
        raise ReadingError(Finding("mesh-size", text, file))
    if not np.isfinite(corners).all() or np.abs(corners).max() > FARTHEST:
        text = f"has corners that are no numbers or farther than {FARTHEST:g} from its origin"
        raise ReadingError(Finding("mesh-size", text, file))
    turn = np.array(mesh.to_mm)
    normals = np.asarray(found.face_normals) @ turn.T
    normals /= np.maximum(np.linalg.norm(normals, axis=1, keepdims=True), 1e-12)
    return MeshData((corners - np.array(mesh.origin)) @ turn.T, triangles, normals, closed, inverted)


def _claims_too_much(raw: bytes, ending: str) -> str:
    """What is said of a file whose head tells of more than the file can have; empty where it does not.

    A reader that trusts such a head takes gigabytes for a file of a few hundred bytes.
    """
    claimed, room = 0, len(raw)
    if ending == ".stl" and len(raw) >= 84 and not raw[:5].lower().startswith(b"solid"):
        claimed, room = int.from_bytes(raw[80:84], "little"), (len(raw) - 84) // 50
    elif ending == ".ply":
        head = raw[: raw.find(b"end_header")]
        claimed = sum(map(int, re.findall(rb"^element\s+\w+\s+(\d{1,18})", head, flags=re.M)))
    elif ending == ".glb" and raw[:4] == b"glTF":
        size = int.from_bytes(raw[12:16], "little")
        import json

        try:
            accessors = json.loads(raw[20 : 20 + size]).get("accessors", [])
            claimed = max((int(a.get("count", 0)) for a in accessors), default=0)
        except (ValueError, AttributeError, TypeError, RecursionError):
            return ""  # the library says what it cannot read
    if claimed <= room:
        return ""
    return f"its head tells of {claimed:,} parts, for which it is too short: it is cut off or damaged"
