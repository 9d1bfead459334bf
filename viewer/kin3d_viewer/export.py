"""The scene as a file: GLB for other programs, a page that opens offline and moves."""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np

from kin3d.writing.files import MARK, write_file
from kin3d_viewer.geometry import Mesh, joined, strokes, surface
from kin3d_viewer.level import Level
from kin3d_viewer.page import page
from kin3d_viewer.pictures import PictureOptions
from kin3d_viewer.primitives import Array, Primitive, Rod, Solid
from kin3d_viewer.scene import visible
from kin3d_viewer.session import Session
from kin3d_viewer.solids import solid_surface
from kin3d_viewer.style import ROLES

STROKE_MM = 1.6  # radius of lines, which GLB viewers would else draw a pixel wide
# glTF: metres, y up, z forward, x to the left
TO_GLTF = 0.001 * np.array([[0.0, 1.0, 0.0], [0.0, 0.0, 1.0], [1.0, 0.0, 0.0]])


def write_scene(session: Session, file: Path, options: PictureOptions) -> str:
    """Write the scene; returns a sentence about it.

    A ``.glb`` holds the present position, one named node a primitive, in metres with y up and z forward. A ``.html``
    holds the sweep, with curves; it needs no network.
    """
    if file.suffix.lower() == ".html":
        write_file(file, page(session, options))
    else:
        scene = session.scene(options.layers)
        write_file(file, glb(visible(scene, set(options.layers)), scene.level))
    return f"Scene written to {file} ({file.stat().st_size / 1000.0:.0f} kB)"


def glb(items: list[Primitive], level: Level | None = None) -> bytes:
    """Primitives as a binary glTF scene, in which the ground lies level."""
    import trimesh

    scene = trimesh.Scene()
    for item in items:
        mesh = joined([solid_surface(item) if isinstance(item, Solid) else surface(item), *_tubes(item)])
        if len(mesh.points):
            mesh = mesh if level is None else Mesh(level.seen(mesh.points), mesh.normals @ level.turn, mesh.triangles)
            scene.add_geometry(_shown(mesh, item.role), node_name=item.name, geom_name=item.name)
    def signed(tree: dict[str, Any]) -> None:
        tree["asset"]["generator"] = MARK

    found: bytes = scene.export(file_type="glb", tree_postprocessor=signed)
    return found


def _shown(mesh: Mesh, role: str) -> Any:
    import trimesh

    look = ROLES[role]
    colour = [int(look.colour[k : k + 2], 16) for k in (1, 3, 5)]
    material = trimesh.visual.material.PBRMaterial(
        name=role,
        baseColorFactor=[*colour, round(255 * look.opacity)],
        metallicFactor=0.1,
        roughnessFactor=0.6,
        alphaMode="BLEND" if look.opacity < 1.0 else "OPAQUE",
        doubleSided=True,
    )
    return trimesh.Trimesh(
        vertices=mesh.points @ TO_GLTF.T,
        faces=mesh.triangles,
        vertex_normals=mesh.normals @ (1000.0 * TO_GLTF.T),
        visual=trimesh.visual.TextureVisuals(material=material),
        process=False,
    )


def _tubes(item: Primitive) -> list[Mesh]:
    """Strokes as thin bars; the grid of the ground and the edges of wheels stay away."""
    if item.role == "ground" or item.role.endswith("wheel"):
        return []
    pairs: list[tuple[Array, Array]] = [(a, b) for s in strokes(item) for a, b in pairwise(s)]
    return [surface(Rod("", item.role, a, b, STROKE_MM)) for a, b in pairs]
