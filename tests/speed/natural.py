"""Two plain rivals on natural coordinates: stacked `np.linalg.solve`, and SciPy's `root` position by position.

Unknown are the joints of the upright (nine coordinates) and then the rod's inner end (three); equations are squared
lengths and the height of the wheel centre. Every position starts from the design position.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import root

Array = NDArray[np.float64]
UPRIGHT = ("lower_outer", "upper_outer", "tie_outer")
RODS = (
    ("lower_front", 0),
    ("lower_rear", 0),
    ("upper_front", 1),
    ("upper_rear", 1),
    ("tie_inner", 2),
)
PAIRS = ((0, 1), (1, 2), (2, 0))


class Corner:
    """Residual and Jacobian of a corner whose rod stands on the lower arm, over stacked positions."""

    def __init__(self, points: dict[str, Array]) -> None:
        self.p = points
        self.design = np.array([points[n] for n in UPRIGHT])
        self.ends = np.array([points[n] for n, _ in RODS])
        self.of = np.array([k for _, k in RODS])
        self.rods2 = np.sum((self.design[self.of] - self.ends) ** 2, axis=1)
        self.pairs2 = np.array([np.sum((self.design[a] - self.design[b]) ** 2) for a, b in PAIRS])
        self.wheel = self._offsets(*self.design, points["wheel_centre"])
        lower = (points["lower_front"], points["lower_rear"], points["lower_outer"])
        self.rod = self._offsets(*lower, points["rod_outer"])
        self.pivots = np.array([points["rocker_axis_1"], points["rocker_axis_2"]])
        self.levers2 = np.sum((points["rod_inner"] - self.pivots) ** 2, axis=1)
        self.rod2 = np.sum((points["rod_inner"] - points["rod_outer"]) ** 2)

    @staticmethod
    def _offsets(a: Array, b: Array, c: Array, point: Array) -> Array:
        base = np.stack([b - a, c - a, np.cross(b - a, c - a)], axis=1)
        return np.linalg.solve(base, point - a)

    def upright(self, q: Array, height: Array) -> tuple[Array, Array]:
        """Residuals (n, 9) and Jacobians (n, 9, 9) at q (n, 9) for heights of the wheel centre (n,)."""
        x = q.reshape(-1, 3, 3)
        rods, pairs = x[:, self.of] - self.ends, np.stack([x[:, a] - x[:, b] for a, b in PAIRS], axis=1)
        e1, e2 = x[:, 1] - x[:, 0], x[:, 2] - x[:, 0]
        a, b, c = self.wheel
        up = x[:, 0, 2] + a * e1[:, 2] + b * e2[:, 2] + c * (e1[:, 0] * e2[:, 1] - e1[:, 1] * e2[:, 0])
        jacobian = np.zeros((len(x), 9, 3, 3))
        for row, k in enumerate(self.of):
            jacobian[:, row, k] = 2.0 * rods[:, row]
        for row, (first, second) in enumerate(PAIRS):
            jacobian[:, 5 + row, first], jacobian[:, 5 + row, second] = 2 * pairs[:, row], -2 * pairs[:, row]
        zero, one = np.zeros(len(x)), np.ones(len(x))
        by1 = np.stack([c * e2[:, 1], -c * e2[:, 0], a * one], axis=-1)
        by2 = np.stack([-c * e1[:, 1], c * e1[:, 0], b * one], axis=-1)
        jacobian[:, 8, 1], jacobian[:, 8, 2] = by1, by2
        jacobian[:, 8, 0] = np.stack([zero, zero, one], axis=-1) - by1 - by2
        lengths = [np.sum(rods * rods, axis=2) - self.rods2, np.sum(pairs * pairs, axis=2) - self.pairs2]
        return np.concatenate([*lengths, (up - height)[:, None]], axis=1), jacobian.reshape(-1, 9, 9)

    def rod_outer(self, q: Array) -> Array:
        """Outer end of the rod (n, 3), carried by the lower arm."""
        front, along = self.p["lower_front"], self.p["lower_rear"] - self.p["lower_front"]
        lever = q[:, :3] - front
        a, b, c = self.rod
        return front + a * along + b * lever + c * np.cross(along, lever)

    def rocker(self, q: Array, outer: Array) -> tuple[Array, Array]:
        """Residuals (n, 3) and Jacobians (n, 3, 3) of the rod's inner end q (n, 3)."""
        gaps = np.stack([q - self.pivots[0], q - self.pivots[1], q - outer], axis=1)
        return np.sum(gaps * gaps, axis=2) - np.append(self.levers2, self.rod2), 2.0 * gaps


def stacked(corner: Corner, travel: Array, chunk: int = 4096) -> Array:
    """Newton on whole stacks, (n, 12)."""
    out = np.empty((len(travel), 12))
    for first in range(0, len(travel), chunk):
        height = corner.p["wheel_centre"][2] + travel[first : first + chunk]
        q = np.tile(corner.design.ravel(), (len(height), 1))
        q = _newton(q, lambda q, height=height: corner.upright(q, height))
        outer = corner.rod_outer(q)
        inner = np.tile(corner.p["rod_inner"], (len(q), 1))
        inner = _newton(inner, lambda q, outer=outer: corner.rocker(q, outer))
        out[first : first + chunk] = np.concatenate([q, inner], axis=1)
    return out


def _newton(q: Array, function: object) -> Array:
    for _ in range(12):
        residual, jacobian = function(q)  # type: ignore[operator]
        step = np.linalg.solve(jacobian, residual[..., None])[..., 0]
        q = q - step
        if np.abs(step).max() < 1e-6:
            break
    return q


def one_by_one(corner: Corner, travel: Array) -> Array:
    """SciPy's `root` with the exact Jacobian, (n, 12)."""
    out = np.empty((len(travel), 12))
    for n, shift in enumerate(travel):
        height = np.array([corner.p["wheel_centre"][2] + shift])
        upright = _root(lambda q, height=height: corner.upright(q[None], height), corner.design.ravel())
        outer = corner.rod_outer(upright[None])
        inner = _root(lambda q, outer=outer: corner.rocker(q[None], outer), corner.p["rod_inner"])
        out[n] = [*upright, *inner]
    return out


def _root(function: object, start: Array) -> Array:
    def both(q: Array) -> tuple[Array, Array]:
        residual, jacobian = function(q)  # type: ignore[operator]
        return residual[0], jacobian[0]

    return root(both, start, jac=True, method="lm", tol=1e-11).x  # twice as quick here as the default
