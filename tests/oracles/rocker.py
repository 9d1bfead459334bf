"""Points carried by an arm, and the rocker that a rod drives: in closed form, many positions at once.

The rod's inner end goes on a circle and stands at a fixed distance from the outer end, so that
P cos g + Q sin g = K (the RSSR loop); the branch is the one of the design position.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


def frame(a: Array, b: Array, c: Array) -> Array:
    """Orthonormal frames (n, 3, 3), columns e1, e2, e3, of triangles a, b, c."""
    e1 = (b - a) / np.linalg.norm(b - a, axis=-1, keepdims=True)
    up = np.cross(e1, c - a)
    e3 = up / np.linalg.norm(up, axis=-1, keepdims=True)
    return np.stack([e1, np.cross(e3, e1), e3], axis=-1)


def carried(design: tuple[Array, Array, Array], now: tuple[Array, Array, Array], point: Array) -> Array:
    """Places (n, 3) of a point that was at `point` when its body's triangle, now `now`, was `design`."""
    local = frame(*design).T @ (point - design[0])
    a, b, c = np.broadcast_arrays(*now)
    return a + frame(a, b, c) @ local


def turn_about(base: Array, axis: Array, angle: Array, point: Array) -> Array:
    """Places (n, 3) of a point turned by `angle` (n,) about the unit axis through `base`."""
    foot = base + axis * ((point - base) @ axis)
    radial, normal = point - foot, np.cross(axis, point - foot)
    return foot + np.cos(angle)[:, None] * radial + np.sin(angle)[:, None] * normal


def rocker_angle(base: Array, end: Array, rod_inner: Array, rod_outer: Array, rod_design: Array) -> Array:
    """Turn of the rocker from design about base -> end (right hand), rad, shape (n,).

    Parameters
    ----------
    base, end, rod_inner : ndarray, shape (3,)
        Two points of the pivot line and the rod's inner end, design position.
    rod_outer : ndarray, shape (n, 3)
        The rod's outer end in every position.
    rod_design : ndarray, shape (3,)
        The rod's outer end in the design position.
    """
    axis = (end - base) / np.linalg.norm(end - base)
    foot = base + axis * ((rod_inner - base) @ axis)
    radial, normal = rod_inner - foot, np.cross(axis, rod_inner - foot)
    length2 = np.sum((rod_inner - rod_design) ** 2)

    def terms(outer: Array) -> tuple[Array, Array]:
        gap = outer - foot
        p, q = 2.0 * gap @ radial, 2.0 * gap @ normal
        rest = np.sum(gap * gap, axis=-1) + radial @ radial - length2
        return np.arctan2(q, p), np.arccos(rest / np.hypot(p, q))

    middle, spread = terms(rod_design[None, :])
    sign = 1.0 if abs(np.angle(np.exp(1j * (middle + spread)))[0]) < 1e-6 else -1.0
    middle, spread = terms(rod_outer)
    return np.angle(np.exp(1j * (middle + sign * spread)))
