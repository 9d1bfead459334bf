"""The camera: where a point of the car falls in a picture, with exact derivatives.

A photograph's numbers, in this order (`CAMERA`): turn (three, a rotation vector in the camera's frame, added by
multiplication), the pixels where the reference point falls (two, without distortion), the logarithm of mm per px there,
the logarithm of the focal length in px, the principal point (two), and k₁ over the half diagonal. With the distance
itself as a number a long lens of unknown focal length stalls; with mm per px it does not.

The camera's frame: x to the right, y down, z forward, as u and v in the picture.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Index = NDArray[np.intp]
CAMERA = (
    "turn x", "turn y", "turn z", "place u", "place v", "scale", "focal length", "centre u", "centre v", "distortion",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Cameras:
    """All photographs' cameras.

    Attributes
    ----------
    turn : ndarray, shape (photographs, 3, 3)
        Rotation from the car's frame into the camera's.
    numbers : ndarray, shape (photographs, 10)
        In the order of `CAMERA`; the first three are 0, `turn` holds what they add to.
    reference : ndarray, shape (photographs, 3)
        The reference point in the car's frame, mm.
    half_px : ndarray, shape (photographs,)
        Half the picture's diagonal.
    """

    turn: Array
    numbers: Array
    reference: Array
    half_px: Array

    def seen(self, which: Index, points: Array) -> CameraPoints:
        """Points of the car as cameras see them.

        Parameters
        ----------
        which : ndarray of int, shape (n,)
            The photograph of each point.
        points : ndarray, shape (n, 3)
            Car frame, mm.
        """
        u0, v0, scale, log_f, cx, cy, k1 = self.numbers[which, 3:].T
        f, per_px = np.exp(log_f), np.exp(scale)
        turned = (self.turn[which] @ (points - self.reference[which])[..., None])[..., 0]
        place = turned + per_px[:, None] * np.stack([u0 - cx, v0 - cy, f], axis=-1)
        centre, unit = np.stack([cx, cy], axis=-1), (f / self.half_px[which]) ** 2
        return CameraPoints(which, turned, place, f, per_px, centre, k1, unit)

    def centres(self) -> Array:
        """Where the cameras stand in the car's frame, shape (photographs, 3), mm."""
        u0, v0, scale, log_f, cx, cy, _ = self.numbers[:, 3:].T
        shift = np.exp(scale)[:, None] * np.stack([u0 - cx, v0 - cy, np.exp(log_f)], axis=-1)
        out: Array = self.reference - (shift[:, None] @ self.turn)[:, 0]
        return out


@dataclass(frozen=True, slots=True)
class CameraPoints:
    """Points in cameras' frames and what is needed to project and to derive them; made by `Cameras.seen`.

    Distortion grows a place (x, y) of the picture plane at distance 1 by 1 + k1·unit·(x² + y²).
    """

    which: Index
    turned: Array
    place: Array
    f: Array
    per_px: Array
    centre: Array
    k1: Array
    unit: Array

    @property
    def bend(self) -> Array:
        """Distortion over x² + y²."""
        return self.k1 * self.unit

    @property
    def behind(self) -> NDArray[np.bool_]:
        """Points that do not lie before the camera: their pixels mean nothing."""
        return self.place[:, 2] <= 1.0

    @property
    def pixels(self) -> Array:
        """Where they fall, shape (n, 2), px."""
        flat = self.place[:, :2] / self.place[:, 2:]
        grown = 1.0 + self.bend * (flat**2).sum(axis=-1)
        out: Array = self.centre + (self.f * grown)[:, None] * flat
        return out

    def by_place(self, turn: Array) -> Array:
        """Change of pixels along the car's frame, shape (n, 2, 3), px per mm; `turn` as in `Cameras`."""
        return self._by_camera_place() @ turn[self.which]

    def _by_camera_place(self) -> Array:
        z = self.place[:, 2]
        flat = self.place[:, :2] / z[:, None]
        square = (flat**2).sum(axis=-1)
        slope = np.einsum("n,ni,nj->nij", 2.0 * self.bend, flat, flat)
        slope[:, [0, 1], [0, 1]] += (1.0 + self.bend * square)[:, None]
        slope *= self.f[:, None, None]  # change of pixels along the flat coordinates
        out = np.empty((len(z), 2, 3))
        out[:, :, :2] = slope / z[:, None, None]
        out[:, :, 2] = -(slope @ flat[..., None])[..., 0] / z[:, None]
        return out

    def by_camera(self) -> Array:
        """Change of pixels along the camera's own numbers, shape (n, 2, 10)."""
        by_place = self._by_camera_place()
        flat = self.place[:, :2] / self.place[:, 2:]
        square = (flat**2).sum(axis=-1)
        bent = self.bend * square
        out = np.empty((len(flat), 2, 10))
        x, y, z = self.turned.T
        out[:, :, 0] = by_place[:, :, 2] * y[:, None] - by_place[:, :, 1] * z[:, None]
        out[:, :, 1] = by_place[:, :, 0] * z[:, None] - by_place[:, :, 2] * x[:, None]
        out[:, :, 2] = by_place[:, :, 1] * x[:, None] - by_place[:, :, 0] * y[:, None]
        out[:, :, 3:5] = by_place[:, :, :2] * self.per_px[:, None, None]
        out[:, :, 5] = (by_place @ (self.place - self.turned)[..., None])[..., 0]
        out[:, :, 6] = by_place[:, :, 2] * (self.per_px * self.f)[:, None]
        out[:, :, 6] += (self.f * (1.0 + 3.0 * bent))[:, None] * flat
        out[:, :, 7:9] = np.eye(2) - out[:, :, 3:5]
        out[:, :, 9] = (self.f * self.unit * square)[:, None] * flat
        return out


def straight_on(axes: tuple[tuple[int, float], tuple[int, float]]) -> Array:
    """Return the turn of a camera that sees two axes of the car, with their signs, to the right and up."""
    right, up = (sign * np.eye(3)[k] for k, sign in axes)
    return np.array([right, -up, np.cross(right, -up)])


def rotation_vector(turn: Array) -> Array:
    """Return the rotation vector, rad, of a rotation matrix."""
    skew = 0.5 * np.array([turn[2, 1] - turn[1, 2], turn[0, 2] - turn[2, 0], turn[1, 0] - turn[0, 1]])
    sine, cosine = float(np.linalg.norm(skew)), 0.5 * (float(np.trace(turn)) - 1.0)
    if sine > 1e-9:
        return np.asarray(skew * (np.arctan2(sine, cosine) / sine))
    if cosine > 0.0:
        return skew
    k = int(np.argmax(np.diag(turn)))  # half a turn: the axis is a column of turn + 1
    column = turn[:, k] + np.eye(3)[k]
    return np.asarray(np.pi * column / np.linalg.norm(column))
