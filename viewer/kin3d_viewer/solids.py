"""Meshes of the car file as surfaces, for looks: moved with their bodies."""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from kin3d.linkage.car import MeshFile
from kin3d.reading.meshes import read_mesh
from kin3d_viewer.geometry import Mesh
from kin3d_viewer.primitives import Solid


@lru_cache(maxsize=32)
def read_solid(mesh: MeshFile) -> Mesh:
    """A mesh file as a surface with flat faces; mm in the vehicle frame, design position.

    Raises
    ------
    ReadingError
        A file that cannot be read, is empty or too large, with what is expected.
    """
    found = read_mesh(mesh)
    corners = found.points[found.triangles]
    return Mesh(
        corners.reshape(-1, 3), np.repeat(found.normals, 3, axis=0), np.arange(3 * len(corners)).reshape(-1, 3)
    )


def solid_surface(item: Solid) -> Mesh:
    """A mesh where its body is now."""
    mesh = read_solid(item.mesh)
    turned = Mesh(mesh.points @ item.turn.T + item.shift, mesh.normals @ item.turn.T, mesh.triangles)
    if np.linalg.det(item.turn) > 0:
        return turned
    return Mesh(turned.points, turned.normals, turned.triangles[:, ::-1])
