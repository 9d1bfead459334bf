"""Meshes from STL, OBJ, PLY and GLB files: read once, from the bytes alone, in mm and the vehicle frame."""

from __future__ import annotations

import io
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
    if not len(triangles) or len(triangles) > MOST_TRIANGLES:
        text = f"has {len(triangles):,} triangles; expected from 1 to {MOST_TRIANGLES:,}"
        raise ReadingError(Finding("mesh-size", text, file))
    if not np.isfinite(corners).all() or np.abs(corners).max() > FARTHEST:
        text = f"has corners that are no numbers or farther than {FARTHEST:g} from its origin"
        raise ReadingError(Finding("mesh-size", text, file))
    turn = np.array(mesh.to_mm)
    normals = np.asarray(found.face_normals) @ turn.T
    normals /= np.maximum(np.linalg.norm(normals, axis=1, keepdims=True), 1e-12)
    return MeshData((corners - np.array(mesh.origin)) @ turn.T, triangles, normals, closed, inverted)
