"""An upright on five links, with a rod and rocker or without, followed along its branch by pseudo-arclength.

An independent way to the end of a linkage's travel: the upright as a turn and a shift, the rocker as an angle, lengths
of links and rod and the height of the wheel centre as equations, the travel itself as one of the unknowns. Small steps
along the curve of positions, each closed by Newton's iteration (H. B. Keller's pseudo-arclength; from memory). At a
limit the curve turns back in the travel.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
ARM_MM = 100.0  # a turn counts as the way at this arm
STEP_MM = 0.5
CLOSED = 1e-11


def turned(vector: Array) -> Array:
    """Rotation matrix of a rotation vector."""
    angle = float(np.linalg.norm(vector))
    x, y, z = vector
    k = np.array([[0.0, -z, y], [z, 0.0, -x], [-y, x, 0.0]])
    return np.asarray(np.eye(3) + np.sinc(angle / np.pi) * k + 0.5 * np.sinc(0.5 * angle / np.pi) ** 2 * (k @ k))


@dataclass
class Linkage:
    """Five links to one upright; the rod and its rocker, if any.

    Attributes
    ----------
    inner, outer : ndarray, shape (5, 3)
        Design places of the links' ends, mm.
    centre : ndarray, shape (3,)
        Wheel centre.
    rod : tuple of ndarray, or None
        Outer end on the upright's side, inner end on the rocker, a point and the direction of the rocker's axis.
    arm : int
        With a rod on an arm: the two links (2 k, 2 k + 1) of that arm; −1: the rod's outer end is on the upright.
    """

    inner: Array
    outer: Array
    centre: Array
    rod: tuple[Array, Array, Array, Array] | None = None
    arm: int = -1
    size: int = field(init=False)

    def __post_init__(self) -> None:
        self.size = 7 if self.rod is not None else 6

    def residual(self, x: Array) -> Array:
        """Errors of lengths and of height, mm; x is shift, turn times the arm, perhaps the rocker's turn, travel."""
        turn = turned(x[3:6] / ARM_MM)
        ends = self.centre + x[:3] + (self.outer - self.centre) @ turn.T
        lengths = np.linalg.norm(ends - self.inner, axis=1) - np.linalg.norm(self.outer - self.inner, axis=1)
        out = [*lengths, x[2] - x[-1]]
        if self.rod is not None:
            start, end, pivot, axis = self.rod
            now = self._rod_start(turn, x, ends)
            rocker = turned(axis * x[6] / ARM_MM)
            out.append(np.linalg.norm(pivot + rocker @ (end - pivot) - now) - np.linalg.norm(end - start))
        return np.array(out)

    def _rod_start(self, turn: Array, x: Array, ends: Array) -> Array:
        """Place of the rod's outer end, on the upright or on an arm that turns about its two inner joints."""
        assert self.rod is not None
        start = self.rod[0]
        if self.arm < 0:
            return np.asarray(self.centre + x[:3] + turn @ (start - self.centre))
        a, b = self.inner[2 * self.arm], self.inner[2 * self.arm + 1]
        then, now = (self._frame(a, b, e[2 * self.arm]) for e in (self.outer, ends))
        return np.asarray(a + now @ then.T @ (start - a))

    @staticmethod
    def _frame(a: Array, b: Array, end: Array) -> Array:
        along = (b - a) / np.linalg.norm(b - a)
        up = np.cross(along, end - a)
        up /= np.linalg.norm(up)
        return np.stack([along, up, np.cross(along, up)], axis=1)

    def slopes(self, x: Array) -> Array:
        """Jacobian by central differences, (size, size + 1)."""
        out = np.empty((self.size, self.size + 1))
        for k in range(self.size + 1):
            e = np.zeros(self.size + 1)
            e[k] = 1e-5
            out[:, k] = (self.residual(x + e) - self.residual(x - e)) / 2e-5
        return out


def tangent_of(slopes: Array, before: Array) -> Array:
    """Unit vector along the curve, the way that `before` goes."""
    t = np.linalg.svd(slopes)[2][-1]
    return np.asarray(t if t @ before > 0.0 else -t)


def corrected(linkage: Linkage, guess: Array, tangent: Array) -> Array | None:
    """Newton's iteration square to the tangent."""
    x = guess.copy()
    for _ in range(12):
        matrix = np.vstack([linkage.slopes(x), tangent])
        step = np.linalg.solve(matrix, np.append(linkage.residual(x), tangent @ (x - guess)))
        x = x - step
        if np.abs(step).max() < 1e-9:
            return x
    return None


def end_of_travel(linkage: Linkage, target: float, step_mm: float = STEP_MM) -> float:
    """Travel at which the branch turns back on the way to `target`, or the target when it is reached, mm.

    Raises
    ------
    RuntimeError
        Where the curve cannot be followed.
    """
    sign = np.sign(target)
    x = np.zeros(linkage.size + 1)
    t = tangent_of(linkage.slopes(x), np.append(np.zeros(linkage.size), sign))
    if not t[-1] * sign > 0.0:
        raise RuntimeError("the design position is itself an end")
    step = step_mm
    for _ in range(20000):
        guess = x + step * t
        new = corrected(linkage, guess, t)
        ahead = None if new is None else tangent_of(linkage.slopes(new), t)
        if new is None or ahead is None or ahead @ t < 0.999:
            step *= 0.5
            if step < 1e-7:
                raise RuntimeError("the curve cannot be followed")
            continue
        if ahead[-1] * sign <= 0.0:
            return _turn(linkage, x, t, new, sign)
        x, t, step = new, ahead, min(1.5 * step, step_mm)
        if x[-1] * sign >= abs(target):
            return target
    raise RuntimeError("too many steps")


def _turn(linkage: Linkage, x: Array, t: Array, beyond: Array, sign: float) -> float:
    """Travel where it is largest between two places of the curve, by halving."""
    low, high = 0.0, float((beyond - x) @ t)
    best = x
    for _ in range(40):
        middle = 0.5 * (low + high)
        found = corrected(linkage, x + middle * t, t)
        if found is None:
            raise RuntimeError("the curve cannot be followed")
        rising = tangent_of(linkage.slopes(found), t)[-1] * sign > 0.0
        low, high = (middle, high) if rising else (low, middle)
        best = found
    return float(best[-1])
