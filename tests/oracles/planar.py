"""Plane mechanisms in closed form: circle meets circle, exact line intersections."""

from __future__ import annotations

from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


def four_bar_output(
    ground: tuple[float, float], crank: float, coupler: float, output: float, angle_rad: float, circuit: int
) -> float:
    """Angle of the output arm about `ground` for a crank about the origin; `circuit` is +1 or -1.

    The end of the output arm lies on two circles: |G + c e(b) - L| = coupler gives P cos b + Q sin b = K.
    """
    end = crank * np.array([np.cos(angle_rad), np.sin(angle_rad)])
    gap = np.asarray(ground, float) - end
    amplitude = 2.0 * output * np.hypot(*gap)
    rest = coupler**2 - output**2 - gap @ gap
    return float(np.arctan2(gap[1], gap[0]) + circuit * np.arccos(rest / amplitude))


def follow(angles_deg: Array, first_deg: float, both_deg: Array) -> Array:
    """Follow one branch through a table whose columns are sorted: the value nearest to a straight-on guess.

    Parameters
    ----------
    angles_deg : ndarray, shape (n,)
    first_deg : float
        Value of the branch at the first angle.
    both_deg : ndarray, shape (n, 2)
        Two values at each angle, in no order, modulo 360.
    """
    path = [first_deg]
    for row in both_deg[1:]:
        guess = path[-1] if len(path) < 2 else 2.0 * path[-1] - path[-2]
        turns = row + 360.0 * np.round((guess - row) / 360.0)
        path.append(float(turns[np.argmin(np.abs(turns - guess))]))
    assert len(path) == len(angles_deg)
    return np.array(path)


Exact = tuple[Fraction, Fraction]


def exact(*values: float | str) -> Exact:
    """A point of the plane in fractions; texts and whole numbers stay exact."""
    first, second = (Fraction(v) for v in values)
    return first, second


def meet(p: Exact, q: Exact, r: Exact, s: Exact) -> Exact:
    """Where the lines p-q and r-s meet, exactly."""
    (px, py), (qx, qy), (rx, ry), (sx, sy) = p, q, r, s
    ux, uy, vx, vy = qx - px, qy - py, sx - rx, sy - ry
    turn = ux * vy - uy * vx
    along = ((rx - px) * vy - (ry - py) * vx) / turn
    return px + along * ux, py + along * uy
