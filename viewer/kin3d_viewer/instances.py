"""Primitives as unit meshes with a turn, a size and a place: what a page moves without being sent every vertex."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from kin3d_viewer.geometry import Mesh, coil_mesh, cylinder_mesh, joint_mesh, turned, tyre_mesh
from kin3d_viewer.primitives import Array, Ball, Coil, Primitive, Rod, Wheel

UNIT_COIL_MM = 200.0  # length at which a coil's wire is round


@dataclass(frozen=True, slots=True, eq=False)
class Instance:
    """A unit mesh in the scene: place = turn @ (size * vertex) + shift; mm, vehicle frame."""

    mesh: str
    turn: Array
    size: Array
    shift: Array

    def matrix(self) -> Array:
        """As a matrix of three rows and four columns."""
        return np.column_stack([self.turn * self.size, self.shift])


def instance(item: Primitive) -> Instance | None:
    """The instance of a primitive; None for those that are triangles or strokes of their own."""
    if isinstance(item, Rod):
        turn, length = _along(item.start, item.end)
        return Instance("cylinder", turn, np.array([item.radius_mm, item.radius_mm, length]), item.start)
    if isinstance(item, Ball):
        return Instance(item.shape, np.eye(3), np.full(3, item.radius_mm), item.centre)
    if isinstance(item, Coil):
        turn, length = _along(item.start, item.end)
        return Instance(f"coil {item.turns}", turn, np.array([1.0, 1.0, length / UNIT_COIL_MM]), item.start)
    if isinstance(item, Wheel):
        name = f"tyre {item.width_mm / item.radius_mm:.3f}"
        return Instance(name, turned(item.axis), np.full(3, item.radius_mm), item.centre)
    return None


def unit_mesh(name: str) -> Mesh:
    """The unit mesh of an instance's name."""
    kind, _, rest = name.partition(" ")
    if kind == "cylinder":
        return cylinder_mesh()
    if kind == "coil":
        return coil_mesh(24.0, UNIT_COIL_MM, int(rest), 10, 5)
    return tyre_mesh(float(rest)) if kind == "tyre" else joint_mesh(kind)


def _along(start: Array, end: Array) -> tuple[Array, float]:
    way = end - start
    length = float(np.linalg.norm(way))
    return turned(way / length if length > 0 else np.array([0.0, 0.0, 1.0])), length
