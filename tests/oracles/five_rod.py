"""A corner as five rods: the upright as a rotation matrix and a place, many positions at once.

Another formulation than natural coordinates: six unknowns (a small turn and a shift, applied to the last
iterate), five rod lengths and the height of the wheel centre. A wishbone is two rods to one ball joint.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]
Points = dict[str, Array]

DOUBLE_WISHBONE = (
    ("lower_front", "lower_outer"),
    ("lower_rear", "lower_outer"),
    ("upper_front", "upper_outer"),
    ("upper_rear", "upper_outer"),
    ("tie_inner", "tie_outer"),
)


@dataclass(frozen=True)
class Pose:
    """Rotation matrices (n, 3, 3) and shifts (n, 3): a point x of the upright goes to R (x - c) + c + t."""

    turn: Array
    shift: Array
    centre: Array

    def carry(self, point: ArrayLike) -> Array:
        """Places of a point of the upright, shape (n, 3)."""
        return self.turn @ (np.asarray(point) - self.centre) + self.centre + self.shift

    def rotate(self, vector: ArrayLike) -> Array:
        """A direction fixed in the upright, shape (n, 3)."""
        return self.turn @ np.asarray(vector)


def exponential(vectors: Array) -> Array:
    """Rotation matrices of rotation vectors, shape (n, 3) -> (n, 3, 3)."""
    angle = np.linalg.norm(vectors, axis=-1)
    zero = np.zeros_like(angle)
    x, y, z = np.moveaxis(vectors, -1, 0)
    cross = np.stack([zero, -z, y, z, zero, -x, -y, x, zero], -1).reshape(*angle.shape, 3, 3)
    first = np.sinc(angle / np.pi)[..., None, None]
    second = 0.5 * np.sinc(0.5 * angle / np.pi)[..., None, None] ** 2
    return np.eye(3) + first * cross + second * (cross @ cross)


def solve(
    points: Points,
    travel: ArrayLike,
    rack: ArrayLike = 0.0,
    rods: tuple[tuple[str, str], ...] = DOUBLE_WISHBONE,
    rack_axis: ArrayLike = (0.0, 1.0, 0.0),
    steps: int = 20,
) -> Pose:
    """Positions of the upright at heights `travel` of the wheel centre and rack displacements (mm).

    The drives grow from the design position in `steps` equal parts with a full Newton solve at each, so that
    no other branch is jumped to.
    """
    travel, rack = np.broadcast_arrays(np.asarray(travel, float), np.asarray(rack, float))
    centre = points["wheel_centre"]
    pose = Pose(np.tile(np.eye(3), (travel.size, 1, 1)), np.zeros((travel.size, 3)), centre)
    inner = np.array([points[i] for i, _ in rods])
    outer = np.array([points[o] for _, o in rods])
    moves = np.array([np.asarray(rack_axis, float) if i == "tie_inner" else np.zeros(3) for i, _ in rods])
    lengths = np.linalg.norm(outer - inner, axis=1)
    for part in np.linspace(0.0, 1.0, steps + 1)[1:]:
        ends = inner + moves * (part * rack.ravel())[:, None, None]
        pose = _newton(pose, ends, outer, lengths, part * travel.ravel())
    return pose


def _newton(pose: Pose, inner: Array, outer: Array, lengths: Array, height: Array) -> Pose:
    for _ in range(30):
        arm = np.einsum("nij,kj->nki", pose.turn, outer - pose.centre)
        rod = arm + pose.centre + pose.shift[:, None, :] - inner
        size = np.linalg.norm(rod, axis=-1)
        unit = rod / size[..., None]
        error = np.concatenate([size - lengths, pose.shift[:, 2:] - height[:, None]], axis=1)
        jacobian = np.zeros((len(height), 6, 6))
        jacobian[:, :5, :3] = np.cross(arm, unit)
        jacobian[:, :5, 3:] = unit
        jacobian[:, 5, 5] = 1.0
        step = np.linalg.solve(jacobian, -error[..., None])[..., 0]
        pose = Pose(exponential(step[:, :3]) @ pose.turn, pose.shift + step[:, 3:], pose.centre)
        if np.abs(error).max() < 1e-11 and np.abs(step).max() < 1e-10:
            return pose
    raise AssertionError(f"the five-rod reference does not close: {np.abs(error).max():.1e} mm")


def camber_deg(spin: Array) -> Array:
    """Inclination of the wheel, top outboard positive, of unit spin axes that point outboard."""
    return -np.degrees(np.arcsin(spin[..., 2]))


def toe_deg(spin: Array, side: int = 1) -> Array:
    """Toe-in of unit spin axes that point outboard; `side` +1 left, -1 right."""
    return np.degrees(np.arctan2(spin[..., 0], side * spin[..., 1]))


def spin_from_angles(camber: float, toe: float, side: int = 1) -> Array:
    """Unit spin axis of static camber and toe in degrees, outboard."""
    c, t = np.radians([camber, toe])
    return np.array([np.cos(c) * np.sin(t), side * np.cos(c) * np.cos(t), -np.sin(c)])
