"""Meshes from STL, OBJ and GLB files, for looks only: read once, moved with their bodies."""

from __future__ import annotations

import io
import warnings
from functools import lru_cache

import numpy as np

from kin3d.errors import Finding, ReadingError
from kin3d.linkage.car import MeshFile
from kin3d.writing.files import read_file
from kin3d_viewer.geometry import Mesh
from kin3d_viewer.primitives import Solid

MOST_BYTES = 100_000_000  # of a file
FARTHEST = 1e7  # of a corner, in the unit of the file
MOST_TRIANGLES = 400_000  # more than this is slow to move in software


@lru_cache(maxsize=32)
def read_solid(mesh: MeshFile) -> Mesh:
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
            corners_there = np.asarray(getattr(found, "vertices", np.empty((0, 3))), dtype=float)
    except (Exception, RecursionError) as error:  # noqa: BLE001 - a damaged file makes the library fail in any way
        text = f"cannot be read as a mesh: it is damaged or of another kind ({type(error).__name__})"
        raise ReadingError(Finding("mesh-unreadable", text, file)) from None
    if not len(triangles) or len(triangles) > MOST_TRIANGLES:
        text = f"has {len(triangles):,} triangles; expected from 1 to {MOST_TRIANGLES:,}"
        raise ReadingError(Finding("mesh-size", text, file))
    if not np.isfinite(corners_there).all() or np.abs(corners_there).max() > FARTHEST:
        text = f"has corners that are no numbers or farther than {FARTHEST:g} from its origin"
        raise ReadingError(Finding("mesh-size", text, file))
    turn = np.array(mesh.to_mm)
    corners = ((corners_there - np.array(mesh.origin)) @ turn.T)[triangles]
    normals = np.repeat(np.asarray(found.face_normals) @ turn.T, 3, axis=0)
    normals /= np.maximum(np.linalg.norm(normals, axis=1, keepdims=True), 1e-12)
    return Mesh(corners.reshape(-1, 3), normals, np.arange(3 * len(triangles)).reshape(-1, 3))


def solid_surface(item: Solid) -> Mesh:
    """A mesh where its body is now."""
    mesh = read_solid(item.mesh)
    turned = Mesh(mesh.points @ item.turn.T + item.shift, mesh.normals @ item.turn.T, mesh.triangles)
    if np.linalg.det(item.turn) > 0:
        return turned
    return Mesh(turned.points, turned.normals, turned.triangles[:, ::-1])
