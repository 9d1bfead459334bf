"""Gaps of meshes: rigid bodies moved with the linkage, distances by a collision library (extra ``solids``).

A tube against a mesh is its axis as a triangle without area, less its radius; a solid of revolution is turned into
facets. A gap is exact for the triangles; where they cross it is 0 for the surfaces, less the tube's radius.
"""

from __future__ import annotations

from importlib import import_module
from typing import Any

import numpy as np
from numpy.typing import NDArray

from kin3d.errors import Finding, RequestError, Severity
from kin3d.linkage.design import MIRROR, SIDES
from kin3d.linkage.layout import CHASSIS, WHEEL_AXIS, WHEEL_CENTRE
from kin3d.measures.gaps import MeshSolid, ShapePair, SolidShape, TubeSolid, TurnedSolid, shapes_of
from kin3d.reading.meshes import MeshData, read_mesh
from kin3d.solve.model import AxleModel
from kin3d.spatial.distances import Profile

Array = NDArray[np.float64]
FACETS = 180  # of a solid of revolution: a chord misses a radius of 300 mm by 0.05 mm
LARGEST, SMALLEST = 20.0, 0.01  # of a part against the span of the corner's points


class MeshGaps:
    """Meshes of one side, ready to be moved.

    Parameters
    ----------
    model : AxleModel
    side : int
        0 left, 1 right. Meshes are of the given side; on the other one they are mirrored, save the chassis.

    Raises
    ------
    RequestError
        When the collision library is not installed.
    ReadingError
        For a mesh that cannot be read.
    """

    def __init__(self, model: AxleModel, side: int) -> None:
        self.fcl = _library()
        self.model, self.side = model, side
        self.design = model.variants.design[side]
        self.made: dict[str, Any] = {}

    def gaps(self, pair: ShapePair, at: Array, ok: NDArray[np.bool_]) -> tuple[Array, Array, Array]:
        """Gap and nearest places of a pair over lanes; NaN where a lane is not solved.

        Parameters
        ----------
        at : ndarray, shape (lanes, points, 3)
        ok : ndarray of bool, shape (lanes,)

        Returns
        -------
        gap : ndarray, shape (lanes,)
        first, second : ndarray, shape (3, lanes)
        """
        gap = np.full(len(at), np.nan)
        near = np.full((2, 3, len(at)), np.nan)
        motions = [self._motion(s, at) for s in pair]
        request = self.fcl.DistanceRequest(enable_nearest_points=True)
        for k in np.flatnonzero(ok).tolist():
            objects = [self._object(s, m, at, k) for s, m in zip(pair, motions, strict=True)]
            result = self.fcl.DistanceResult()
            apart = max(0.0, float(self.fcl.distance(*objects, request, result)))
            gap[k] = apart - pair[0].radius - pair[1].radius
            near[:, :, k] = result.nearest_points if apart > 0.0 else [self._met(objects)] * 2
        return gap, near[0], near[1]

    def _met(self, objects: list[Any]) -> Array:
        """A place at which two surfaces cross."""
        result = self.fcl.CollisionResult()
        self.fcl.collide(*objects, self.fcl.CollisionRequest(enable_contact=True), result)
        return np.asarray(result.contacts[0].pos) if result.contacts else np.full(3, np.nan)

    def _object(self, shape: SolidShape, motion: tuple[Array, Array] | None, at: Array, k: int) -> Any:
        if isinstance(shape, TubeSolid):
            a, b = (at[k, self.model.linkage.index(p)] for p in shape.points)
            flat = self._hull(np.array([a, b, 0.5 * (a + b)]), np.array([[0, 1, 2]]))
            return self.fcl.CollisionObject(flat, self.fcl.Transform())
        if shape.name not in self.made:
            self.made[shape.name] = self._build(shape)
        assert motion is not None
        return self.fcl.CollisionObject(self.made[shape.name], self.fcl.Transform(motion[0][k], motion[1][k]))

    def _build(self, shape: SolidShape) -> Any:
        if isinstance(shape, TurnedSolid):
            return self._hull(*turned_mesh(shape.profile))
        assert isinstance(shape, MeshSolid)
        mesh = read_mesh(shape.file)
        mirrored = SIDES[self.side] != self.model.axle.side and shape.rides != CHASSIS
        return self._hull(mesh.points * MIRROR if mirrored else mesh.points, mesh.triangles)

    def _hull(self, points: Array, triangles: NDArray[np.int64]) -> Any:
        model = self.fcl.BVHModel()
        model.beginModel(len(points), len(triangles))
        model.addSubModel(points, triangles)
        model.endModel()
        return model

    def _motion(self, shape: SolidShape, at: Array) -> tuple[Array, Array] | None:
        """Turn (lanes, 3, 3) and shift (lanes, 3) from where the solid was built."""
        if isinstance(shape, TubeSolid):
            return None
        linkage = self.model.linkage
        if isinstance(shape, TurnedSolid):
            centre = at[:, linkage.index(WHEEL_CENTRE)]
            return _about_axis(at[:, linkage.index(WHEEL_AXIS)] - centre), centre
        if shape.rides == CHASSIS:
            return np.broadcast_to(np.eye(3), (len(at), 3, 3)), np.zeros((len(at), 3))
        rows = [linkage.index(p) for p in base_of(self.model, shape.rides)]
        return rigid_motion(self.design[rows], at[:, rows])


def _library() -> Any:
    try:
        return import_module("fcl")
    except ImportError:
        text = "solids with a mesh need the package python-fcl; install kin3d with the extra solids"
        raise RequestError(Finding("package-missing", text)) from None


def rigid_motion(then: Array, now: Array) -> tuple[Array, Array]:
    """Turn and shift that take three points (3, 3) to where they are now (lanes, 3, 3)."""

    def frame(p: Array) -> Array:
        e1, e2 = p[..., 1, :] - p[..., 0, :], p[..., 2, :] - p[..., 0, :]
        e3 = np.cross(e1, e2)
        e1 = e1 / np.linalg.norm(e1, axis=-1, keepdims=True)
        e3 = e3 / np.linalg.norm(e3, axis=-1, keepdims=True)
        return np.stack([e1, np.cross(e3, e1), e3], axis=-1)

    turn = frame(now) @ frame(then).T
    return turn, now.mean(axis=-2) - turn @ then.mean(axis=0)


def _about_axis(axis: Array) -> Array:
    """Frames whose third direction is the given one, shape (lanes, 3, 3)."""
    z = axis / np.linalg.norm(axis, axis=-1, keepdims=True)
    x = np.cross(np.array([1.0, 0.0, 0.0]), z)
    x = x / np.linalg.norm(x, axis=-1, keepdims=True)
    return np.stack([x, np.cross(z, x), z], axis=-1)


def turned_mesh(profile: Profile, facets: int = FACETS) -> tuple[Array, NDArray[np.int64]]:
    """A profile turned about z: width along z; corners on the surface, so that chords lie inside of it."""
    angles = 2.0 * np.pi * np.arange(facets) / facets
    w, r = profile.corners.T
    ring = np.stack([np.cos(angles), np.sin(angles)], axis=-1)
    points = np.concatenate(
        [np.column_stack([radius * ring, np.full(facets, width)]) for width, radius in zip(w, r, strict=True)]
    )
    k = np.arange(facets)
    following = (k + 1) % facets
    faces = []
    for row in range(len(w) - 1):
        a, b, c, d = (x + row * facets for x in (k, following, k + facets, following + facets))
        faces += [np.column_stack([a, b, c]), np.column_stack([b, d, c])]
    return points, np.concatenate(faces).astype(np.int64)


def base_of(model: AxleModel, body: str) -> tuple[str, ...]:
    """Three points of a body that span it."""
    if body == model.linkage.wheel_body:
        return tuple(model.kernel.wheel_base)
    points = [p for p in model.linkage.bodies[body] if p in model.linkage.points]
    at = {p: model.variants.design[0][model.linkage.index(p)] for p in points}
    first, second = max(
        ((p, q) for p in points for q in points), key=lambda pq: float(np.linalg.norm(at[pq[1]] - at[pq[0]]))
    )
    line = at[second] - at[first]
    third = max(points, key=lambda p: float(np.linalg.norm(np.cross(line, at[p] - at[first]))))
    return first, second, third


def mesh_findings(model: AxleModel) -> tuple[Finding, ...]:
    """What is odd about meshes: errors for a size that cannot be, warnings for open and inverted ones.

    Raises
    ------
    ReadingError
        For a mesh that cannot be read.
    RequestError
        For one of a wrong size, with the unit that would fit.
    """
    design = model.variants.design[0]
    span = float(np.linalg.norm(np.ptp(design, axis=0)))
    wrong, out = [], []
    for shape in shapes_of(model.axle):
        if not isinstance(shape, MeshSolid):
            continue
        mesh = read_mesh(shape.file)
        place = f'[{model.axle.name}.solids."{shape.name}"] {shape.file.path.name}'
        size = float(np.linalg.norm(np.ptp(mesh.points, axis=0)))
        if not SMALLEST < size / span < LARGEST:
            wrong.append(Finding("mesh-unit", _size_text(size, span), place))
        out += _surface(mesh, place)
    if wrong:
        raise RequestError(wrong)
    return tuple(out)


def _size_text(size: float, span: float) -> str:
    fitting = [u for u, f in (("m", 1e3), ("in", 25.4), ("mm", 1e-3), ("mm", 1 / 25.4)) if 0.05 < size * f / span < 8.0]
    hint = f'; with units = "{fitting[0]}" it would fit' if fitting else ""
    return f"is {size:.3g} mm across, where the points of the corner span {span:.0f} mm: is its unit another?{hint}"


def _surface(mesh: MeshData, place: str) -> list[Finding]:
    if not mesh.closed:
        text = "is open: some edges have one triangle; gaps are to its surface, and what lies inside is not noticed"
        return [Finding("mesh-open", text, place, Severity.WARNING)]
    if mesh.inverted:
        text = "is inverted: its normals point inwards; gaps do not depend on that"
        return [Finding("mesh-inverted", text, place, Severity.NOTE)]
    return []
