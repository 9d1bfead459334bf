"""Meshes from STL, OBJ and GLB files, for looks only: read once, moved with their bodies."""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from kin3d.errors import Finding, ReadingError
from kin3d.linkage.car import MeshFile
from kin3d.writing.files import note_read
from kin3d_viewer.geometry import Mesh
from kin3d_viewer.primitives import Solid

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
        found = trimesh.load_mesh(file, process=True)
        note_read(mesh.path)
    except (OSError, ValueError) as error:
        raise ReadingError(Finding("mesh-unreadable", f"cannot be read as a mesh: {error}", file)) from None
    triangles = np.asarray(getattr(found, "faces", np.empty((0, 3))), dtype=np.int64)
    if not len(triangles) or len(triangles) > MOST_TRIANGLES:
        text = f"has {len(triangles):,} triangles; expected from 1 to {MOST_TRIANGLES:,}"
        raise ReadingError(Finding("mesh-size", text, file))
    turn = np.array(mesh.to_mm)
    corners = ((np.asarray(found.vertices) - np.array(mesh.origin)) @ turn.T)[triangles]
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
