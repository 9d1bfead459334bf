"""From primitives to triangles and strokes: plain arrays that windows, pictures, GLB and pages are all made from."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache, singledispatch
from math import sqrt

import numpy as np
from numpy.typing import NDArray

from kin3d_viewer.primitives import Array, Ball, Coil, Line, Plate, Primitive, Rod, Sheet, Wheel
from kin3d_viewer.style import ROLES

AROUND = 18  # sides of a round bar
WIRE_MM = 3.6  # radius of a spring's wire
GRID_MM = 100.0  # spacing of the lines on the ground
LIFT_MM = 0.6  # grid over the ground, so that the two do not fight for the same depth


@dataclass(frozen=True, slots=True, eq=False)
class Mesh:
    """Triangles: points (n, 3) mm, unit normals (n, 3), triangles (m, 3) of point numbers."""

    points: Array
    normals: Array
    triangles: NDArray[np.int64]


EMPTY = Mesh(np.empty((0, 3)), np.empty((0, 3)), np.empty((0, 3), dtype=np.int64))


def turned(along: Array) -> Array:
    """A rotation, shape (3, 3), whose third column is the unit vector `along`."""
    x, y, z = (float(c) for c in along)  # by hand: thousands are made for a page, and numpy is slow on three numbers
    u, v, w = (-y, x, 0.0) if abs(z) < 0.9 else (0.0, -z, y)
    size = sqrt(u * u + v * v + w * w)
    u, v, w = u / size, v / size, w / size
    return np.array([[u, y * w - z * v, x], [v, z * u - x * w, y], [w, x * v - y * u, z]])


def _direction(start: Array, end: Array) -> tuple[Array, float]:
    way = end - start
    length = float(np.linalg.norm(way))
    return (way / length if length > 0 else np.array([0.0, 0.0, 1.0])), length


@singledispatch
def surface(_item: Primitive) -> Mesh:
    """Triangles of a primitive; none for lines and labels."""
    return EMPTY


@surface.register
def _(item: Rod) -> Mesh:
    along, length = _direction(item.start, item.end)
    unit, turn = cylinder_mesh(), turned(along)
    size = np.array([item.radius_mm, item.radius_mm, length])
    return Mesh((unit.points * size) @ turn.T + item.start, unit.normals @ turn.T, unit.triangles)


@surface.register
def _(item: Ball) -> Mesh:
    unit = joint_mesh(item.shape)
    return Mesh(unit.points * item.radius_mm + item.centre, unit.normals, unit.triangles)


@surface.register
def _(item: Plate) -> Mesh:
    return _flat(_fan(item.corners))


@surface.register
def _(item: Sheet) -> Mesh:
    return _flat(_fan(item.corners))


def _fan(places: Array) -> Array:
    """Triangles that share the first of several places, shape (m, 3, 3)."""
    return np.array([(places[0], places[k], places[k + 1]) for k in range(1, len(places) - 1)])


def corners(item: Primitive) -> Array:
    """Corners of a primitive's triangles, three for each, shape (n, 3); their normals are not asked."""
    if isinstance(item, Plate | Sheet):
        return _fan(item.corners).reshape(-1, 3)
    faces = surface(item)
    return faces.points[faces.triangles].reshape(-1, 3)


@surface.register
def _(item: Wheel) -> Mesh:
    unit, turn = tyre_mesh(item.width_mm / item.radius_mm), turned(item.axis)
    return Mesh((unit.points * item.radius_mm) @ turn.T + item.centre, unit.normals @ turn.T, unit.triangles)


@surface.register
def _(item: Coil) -> Mesh:
    along, length = _direction(item.start, item.end)
    turn = turned(along)
    unit = coil_mesh(item.radius_mm, length, item.turns)
    return Mesh(unit.points @ turn.T + item.start, unit.normals @ turn.T, unit.triangles)


@singledispatch
def strokes(_item: Primitive) -> list[Array]:
    """Polylines of a primitive, each of shape (k, 3); none for solid ones."""
    return []


@strokes.register
def _(item: Line) -> list[Array]:
    return dashed(item.places, ROLES[item.role].dash)


@strokes.register
def _(item: Sheet) -> list[Array]:
    a, b, _, d = item.corners
    up = np.cross(b - a, d - a)
    up *= LIFT_MM / np.linalg.norm(up) * (1.0 if up[2] > 0 else -1.0)
    out = []
    for start, side, other in ((a, b - a, d - a), (a, d - a, b - a)):
        number = max(1, round(float(np.linalg.norm(side)) / GRID_MM))
        out += [np.array([start, start + other]) + k / number * side + up for k in range(number + 1)]
    return out


@strokes.register
def _(item: Wheel) -> list[Array]:
    turn = turned(item.axis)
    angle = np.linspace(0.0, 2.0 * np.pi, 73)
    ring = np.column_stack([np.cos(angle), np.sin(angle), np.zeros_like(angle)])
    out = []
    for share, at in ((0.93, 0.5), (0.93, -0.5), (0.62, 0.44)):
        local = ring * share * item.radius_mm + np.array([0.0, 0.0, at * item.width_mm])
        out.append(local @ turn.T + item.centre)
    return out


def dashed(places: Array, pattern: tuple[float, ...]) -> list[Array]:
    """Cut a polyline into strokes of the pattern's lengths (stroke, gap, stroke, …), mm; whole without a pattern."""
    if not pattern:
        return [places]
    along = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(places, axis=0), axis=1))])
    out: list[Array] = []
    at, turn = 0.0, 0
    while at < along[-1] and len(out) < 2000:
        end = min(at + pattern[turn % len(pattern)], along[-1])
        if turn % 2 == 0:
            inside = along[(along > at) & (along < end)]
            wanted = np.concatenate([[at], inside, [end]])
            out.append(np.column_stack([np.interp(wanted, along, places[:, k]) for k in range(3)]))
        at, turn = end, turn + 1
    return out


def _flat(corners: Array) -> Mesh:
    """Separate triangles, shape (m, 3, 3), each with its own normal."""
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    size = np.linalg.norm(normal, axis=1, keepdims=True)
    normal = np.where(size > 0, normal / np.where(size > 0, size, 1.0), np.array([0.0, 0.0, 1.0]))
    count = len(corners)
    return Mesh(corners.reshape(-1, 3), np.repeat(normal, 3, axis=0), np.arange(3 * count).reshape(-1, 3))


def _grid(rows: int, around: int) -> NDArray[np.int64]:
    """Triangles of a tube of `rows` rings with `around` points each."""
    i, j = np.meshgrid(np.arange(rows - 1), np.arange(around), indexing="ij")
    a, b = i * around + j, i * around + (j + 1) % around
    c, d = a + around, b + around
    found: NDArray[np.int64] = np.stack([np.stack([a, b, d], -1), np.stack([a, d, c], -1)], 2).reshape(-1, 3)
    return found


def coil_mesh(radius: float, length: float, turns: int, steps: int = 20, around: int = 8) -> Mesh:
    """A spring about z from 0 to `length`, with `steps` pieces a turn and `around` sides of the wire."""
    angle = np.linspace(0.0, 2.0 * np.pi * turns, steps * turns + 1)
    outward = np.column_stack([np.cos(angle), np.sin(angle), np.zeros_like(angle)])
    middle = radius * outward + np.outer(angle / angle[-1] * length, [0.0, 0.0, 1.0])
    side = np.linspace(0.0, 2.0 * np.pi, around, endpoint=False)
    normals = np.cos(side)[None, :, None] * outward[:, None] + np.sin(side)[None, :, None] * np.array([0.0, 0.0, 1.0])
    points = middle[:, None] + WIRE_MM * normals
    return Mesh(points.reshape(-1, 3), normals.reshape(-1, 3), _grid(len(angle), around))


@lru_cache(maxsize=1)
def cylinder_mesh() -> Mesh:
    """Radius 1 about z from 0 to 1, closed."""
    angle = np.linspace(0.0, 2.0 * np.pi, AROUND, endpoint=False)
    ring = np.column_stack([np.cos(angle), np.sin(angle), np.zeros(AROUND)])
    up = np.array([0.0, 0.0, 1.0])
    wall = np.vstack([ring, ring + up])
    fan = np.array([(0, k, k + 1) for k in range(1, AROUND - 1)])
    points = np.vstack([wall, ring, ring + up])
    normals = np.vstack([ring, ring, np.tile(-up, (AROUND, 1)), np.tile(up, (AROUND, 1))])
    triangles = np.vstack([_grid(2, AROUND), fan[:, ::-1] + 2 * AROUND, fan + 3 * AROUND])
    return Mesh(points, normals, triangles)


@lru_cache
def joint_mesh(shape: str) -> Mesh:
    """Unit solids by the name of a joint's shape."""
    if shape == "ball":
        return _sphere(14, 20)
    if shape == "cube":
        return _box(np.array([0.85, 0.85, 0.85]))
    if shape == "diamond":
        tips = 1.35 * np.vstack([np.eye(3), -np.eye(3)])
        faces = [(0, 1, 2), (1, 3, 2), (3, 4, 2), (4, 0, 2), (1, 0, 5), (3, 1, 5), (4, 3, 5), (0, 4, 5)]
        return _flat(tips[np.array(faces)])
    bars = [_box(np.where(np.arange(3) == k, 1.5, 0.28)) for k in range(3)]
    return joined(bars)


def _box(half: Array) -> Mesh:
    faces = []
    for k in range(3):
        for sign in (1.0, -1.0):
            n = np.zeros(3)
            n[k] = sign
            u, v = np.roll(n, 1) * sign, np.roll(n, 2)
            a, b, c, d = (half * (n + s * u + t * v) for s, t in ((-1, -1), (1, -1), (1, 1), (-1, 1)))
            faces += [(a, b, c), (a, c, d)]
    return _flat(np.array(faces))


def _sphere(rows: int, around: int) -> Mesh:
    polar = np.linspace(0.0, np.pi, rows)
    turn = np.linspace(0.0, 2.0 * np.pi, around, endpoint=False)
    points = np.stack(
        [
            np.sin(polar)[:, None] * np.cos(turn),
            np.sin(polar)[:, None] * np.sin(turn),
            np.repeat(np.cos(polar)[:, None], around, 1),
        ],
        axis=-1,
    ).reshape(-1, 3)
    return Mesh(points, points, _grid(rows, around)[:, ::-1])


@lru_cache
def tyre_mesh(width: float) -> Mesh:
    """A tyre of radius 1 about z: tread, rounded shoulders, walls down to the rim."""
    half = 0.5 * width
    # a rounded shoulder from the wall to the tread, mirrored
    bend = np.linspace(0.0, 0.5 * np.pi, 7)
    shoulder = np.column_stack([0.90 + 0.10 * np.sin(bend), -0.34 - 0.16 * np.cos(bend)])
    outer = np.vstack([[(0.62, -0.44), (0.78, -0.49)], shoulder])
    crown = np.array([(1.0, -0.2), (1.0, 0.2)])  # the tread is arched, so that its edge stays over the ground in camber
    shoulder_drop = np.where(outer[:, :1] > 0.85, [[0.985, 1.0]], [[1.0, 1.0]])
    profile = np.vstack([outer * shoulder_drop, crown, (outer * shoulder_drop)[::-1] * [1.0, -1.0]])
    slope = np.gradient(profile * [1.0, 2.0 * half], axis=0)
    outward = np.column_stack([slope[:, 1], -slope[:, 0]])
    outward /= np.linalg.norm(outward, axis=1, keepdims=True)
    turn = np.linspace(0.0, 2.0 * np.pi, 72, endpoint=False)
    circle = np.column_stack([np.cos(turn), np.sin(turn)])

    def swept(radial: Array, axial: Array) -> Array:
        flat = radial[:, None, None] * circle
        return np.concatenate([flat, np.repeat(axial[:, None, None], 72, 1)], axis=-1).reshape(-1, 3)

    points = swept(profile[:, 0], profile[:, 1] * 2.0 * half)
    return Mesh(points, swept(outward[:, 0], outward[:, 1]), _grid(len(profile), 72))


def joined(meshes: list[Mesh]) -> Mesh:
    """Several meshes as one."""
    if not meshes:
        return EMPTY
    starts = np.cumsum([0] + [len(m.points) for m in meshes[:-1]])
    return Mesh(
        np.concatenate([m.points for m in meshes]),
        np.concatenate([m.normals for m in meshes]),
        np.concatenate([m.triangles + s for m, s in zip(meshes, starts, strict=True)]),
    )
