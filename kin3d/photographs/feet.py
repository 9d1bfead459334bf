"""Where on its projected curve the foot of a mark is: legs are straight, rims are circles, both through a camera.

A curve is base + c · first + s · second: on a leg c is the part of the way to its far end and s is 0, on a rim they are
cosine and sine of the angle. In the camera's frame this stays so, and everything along it is worked out there.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kin3d.photographs.camera import Cameras

Array = NDArray[np.float64]
Index = NDArray[np.intp]
MOST_STEPS = 60
ON_FOOT = 1e-10  # of the curve's own parameter; a miss changes by the square of it
TRIES = 24  # places along a curve from which the nearest is a start


@dataclass(frozen=True, slots=True)
class MarkCurves:
    """Curves of marks in the frames of their cameras; made by `MarkCurves.of`.

    Attributes
    ----------
    legs : ndarray of bool, shape (n,)
    base, first, second : ndarray, shape (n, 3)
        mm, camera frame.
    f, bend : ndarray, shape (n,)
    centre : ndarray, shape (n, 2)
        Principal points, px.
    """

    legs: NDArray[np.bool_]
    base: Array
    first: Array
    second: Array
    f: Array
    bend: Array
    centre: Array

    @staticmethod
    def of(
        cameras: Cameras, photo: Index, legs: NDArray[np.bool_], base: Array, first: Array, second: Array
    ) -> MarkCurves:
        """Bring curves in the car's frame before their cameras."""
        view = cameras.seen(photo, base)
        turn = cameras.turn[photo]
        ways = [(turn @ way[..., None])[..., 0] for way in (first, second)]
        return MarkCurves(legs, view.place, ways[0], ways[1], view.f, view.bend, view.centre)

    def at(self, foot: Array) -> tuple[Array, Array]:
        """Pixels at places along the curves, and their change along them, shapes (n, 2)."""
        cos, sin = np.cos(foot), np.sin(foot)
        c, s = np.where(self.legs, foot, cos)[:, None], np.where(self.legs, 0.0, sin)[:, None]
        by_c, by_s = np.where(self.legs, 1.0, -sin)[:, None], np.where(self.legs, 0.0, cos)[:, None]
        place = self.base + c * self.first + s * self.second
        way = by_c * self.first + by_s * self.second
        z = place[:, 2:]
        flat = place[:, :2] / z
        change = (way[:, :2] - flat * way[:, 2:]) / z
        grown = 1.0 + self.bend * (flat**2).sum(axis=-1)
        turned = 2.0 * self.bend * (flat * change).sum(axis=-1)
        pixels = self.centre + (self.f * grown)[:, None] * flat
        return pixels, self.f[:, None] * (grown[:, None] * change + turned[:, None] * flat)

    def feet(self, pixels: Array, start: Array | None) -> Array:
        """The foot of each mark to rounding, by Newton's method; without a start from the nearest of some places."""
        foot = self._nearest(pixels) if start is None else start
        flat = self.base[:, :2] / self.base[:, 2:]
        middle = self.centre + (self.f * (1.0 + self.bend * (flat**2).sum(axis=-1)))[:, None] * flat
        longest = np.where(self.legs, 0.5, 0.3)
        for _ in range(MOST_STEPS):
            there, along = self.at(foot)
            off = there - pixels
            speed = (along**2).sum(axis=-1)
            # a rim curves towards its middle, nearly by as much as it is away from it
            bend = np.where(self.legs, 0.0, (off * (middle - there)).sum(axis=-1))
            step = -(off * along).sum(axis=-1) / np.maximum(speed + bend, 0.3 * speed)
            foot = foot + np.clip(step, -longest, longest)
            if np.abs(step).max() < ON_FOOT:
                break
        return foot

    def _nearest(self, pixels: Array) -> Array:
        parts = np.linspace(0.0, 1.0, TRIES)[:, None]
        angles = np.linspace(0.0, 2.0 * np.pi, TRIES + 1)[:-1, None]
        guesses = np.where(self.legs, parts, angles)
        away = np.array([((self.at(g)[0] - pixels) ** 2).sum(axis=-1) for g in guesses])
        found: Array = guesses[np.argmin(away, axis=0), np.arange(len(pixels))]
        return found
