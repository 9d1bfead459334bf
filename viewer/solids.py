"""Meshes from STL, OBJ and GLB files, for looks only: read once, moved with their bodies."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path

import numpy as np

from kin3d.errors import Finding, ReadingError
from kin3d_viewer.geometry import Mesh
from kin3d_viewer.primitives import Solid

KINDS = (".stl", ".obj", ".glb", ".gltf", ".ply")
MOST_TRIANGLES = 400_000  # more than this is slow to move in software


@lru_cache(maxsize=32)
def read_solid(file: str) -> Mesh:
    """Read a mesh file; its coordinates are taken as mm in the vehicle frame, design position.

    Raises
    ------
    ReadingError
        A file that is missing, of another kind, empty, or too large, with what is expected.
    """
    import trimesh

    if Path(file).suffix.lower() not in KINDS:
        raise ReadingError(
            Finding("mesh-kind", f"is not a mesh that can be shown; expected one of {', '.join(KINDS)}", file)
        )
    try:
        found = trimesh.load(file, force="mesh", process=True)
    except (OSError, ValueError) as error:
        raise ReadingError(Finding("mesh-unreadable", f"cannot be read as a mesh: {error}", file)) from None
    triangles = np.asarray(getattr(found, "faces", np.empty((0, 3))), dtype=np.int64)
    if not len(triangles) or len(triangles) > MOST_TRIANGLES:
        text = f"has {len(triangles):,} triangles; expected from 1 to {MOST_TRIANGLES:,}"
        raise ReadingError(Finding("mesh-size", text, file))
    corners = np.asarray(found.vertices)[triangles]
    normals = np.repeat(np.asarray(found.face_normals), 3, axis=0)
    return Mesh(corners.reshape(-1, 3), normals, np.arange(3 * len(triangles)).reshape(-1, 3))


def solid_surface(item: Solid) -> Mesh:
    """A mesh where its body is now."""
    mesh = read_solid(item.mesh)
    turned = Mesh(mesh.points @ item.turn.T + item.shift, mesh.normals @ item.turn.T, mesh.triangles)
    if np.linalg.det(item.turn) > 0:
        return turned
    return Mesh(turned.points, turned.normals, turned.triangles[:, ::-1])
