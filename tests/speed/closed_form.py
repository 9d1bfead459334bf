"""The fastest rival: a push-rod corner as a chain of circles, compiled; one Newton in the lower arm's angle.

Only lengths and constant offsets go in; every joint is the meeting of a circle with a sphere, without an angle
function. The angle itself starts from a polynomial in travel or, to compare, from the tangent at the design position.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numba
import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
DEGREE = 5


@dataclass(frozen=True)
class Chain:
    """Constants of the corner in the order in which the compiled function reads them; see `chain`."""

    vectors: Array
    scalars: Array
    tangent: Array
    polynomial: Array


def _circle(a: Array, b: Array, p: Array) -> tuple[Array, Array, Array]:
    """Foot, radial and normal vector of a point's circle about the line a-b; turn 0 is where it stands."""
    axis = (b - a) / np.linalg.norm(b - a)
    foot = a + axis * ((p - a) @ axis)
    return foot, p - foot, np.cross(axis, p - foot)


def chain(points: dict[str, Array], reach: float) -> Chain:
    """Constants of a corner whose rod stands on the lower arm; `reach` is the travel that the polynomial covers."""
    p = points
    low = _circle(p["lower_front"], p["lower_rear"], p["lower_outer"])
    rod = _circle(p["lower_front"], p["lower_rear"], p["rod_outer"])
    top = _circle(p["upper_front"], p["upper_rear"], p["upper_outer"])
    rocker = _circle(p["rocker_axis_1"], p["rocker_axis_2"], p["rod_inner"])
    kingpin = p["upper_outer"] - p["lower_outer"]
    e1 = kingpin / np.linalg.norm(kingpin)
    along = (p["tie_outer"] - p["lower_outer"]) @ e1
    arm = p["tie_outer"] - p["lower_outer"] - along * e1
    e2 = arm / np.linalg.norm(arm)
    e3 = np.cross(e1, e2)
    wheel = p["wheel_centre"] - p["lower_outer"]
    tie = p["tie_inner"] - p["lower_outer"] - along * e1
    scalars = [
        np.linalg.norm(kingpin),
        along,
        np.linalg.norm(arm),
        np.sum((p["tie_outer"] - p["tie_inner"]) ** 2),
        *(wheel @ e for e in (e1, e2, e3)),
        np.sum((p["rod_inner"] - p["rod_outer"]) ** 2),
        p["wheel_centre"][2],
        np.sign((p["lower_outer"] - top[0]) @ top[2]),
        np.sign(np.cross(e1, tie - (tie @ e1) * e1) @ e2),
        np.sign((p["rod_outer"] - rocker[0]) @ rocker[2]),
    ]
    made = Chain(np.array([*low, *rod, *top, *rocker, p["tie_inner"]]), np.array(scalars), np.zeros(2), np.zeros(2))
    knots = reach * np.cos(np.pi * (np.arange(24) + 0.5) / 24)
    slope = _slope(made)
    angle = np.empty(len(knots))
    solve(made.vectors, made.scalars, np.array([0.0, slope]), knots, np.empty((12, len(knots))), angle)
    fit = np.polynomial.polynomial.polyfit(knots, angle, DEGREE)
    return Chain(made.vectors, made.scalars, np.array([0.0, slope]), fit)


def _slope(made: Chain) -> float:
    """Turn of the lower arm per mm of travel at design, by a small difference: only a start for Newton."""
    angle = np.empty(2)
    solve(made.vectors, made.scalars, np.zeros(2), np.array([-0.01, 0.01]), np.empty((12, 2)), angle)
    return float((angle[1] - angle[0]) / 0.02)


@numba.njit(fastmath=True, inline="always")
def _dot(a: Any, b: Any) -> Any:
    return a[0] * b[0] + a[1] * b[1] + a[2] * b[2]


@numba.njit(fastmath=True, inline="always")
def _cross(a: Any, b: Any) -> Any:
    return (a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0])


@numba.njit(fastmath=True, inline="always")
def _less(a: Any, b: Any) -> Any:
    return (a[0] - b[0], a[1] - b[1], a[2] - b[2])


@numba.njit(fastmath=True, inline="always")
def _mix(o: Any, a: Any, u: Any, b: Any, v: Any) -> Any:
    return (o[0] + a * u[0] + b * v[0], o[1] + a * u[1] + b * v[1], o[2] + a * u[2] + b * v[2])


@numba.njit(fastmath=True, inline="always")
def _row(table: Any, k: int) -> Any:
    return (table[k, 0], table[k, 1], table[k, 2])


@numba.njit(fastmath=True, inline="always")
def _meet(foot: Any, u: Any, v: Any, centre: Any, length2: float, sign: float) -> Any:
    """Cosine and sine of the turn that puts a circle's point at a distance from `centre`."""
    gap = _less(centre, foot)
    p, q = _dot(gap, u), _dot(gap, v)
    k = 0.5 * (_dot(u, u) + _dot(gap, gap) - length2)
    d = p * p + q * q
    w = sign * np.sqrt(d - k * k)
    return (p * k + q * w) / d, (q * k - p * w) / d


@numba.njit(fastmath=True, inline="always")
def _put(out: Any, row: int, n: int, place: Any) -> None:
    out[row, n], out[row + 1, n], out[row + 2, n] = place


@numba.njit(fastmath=True, inline="always")
def _one(vectors: Any, s: Any, start: Any, travel: float, out: Any, angle: Any, n: int) -> None:
    low0, low1, low2 = _row(vectors, 0), _row(vectors, 1), _row(vectors, 2)
    top0, top1, top2 = _row(vectors, 6), _row(vectors, 7), _row(vectors, 8)
    inner = _row(vectors, 12)
    turn = start[-1]
    for k in range(len(start) - 2, -1, -1):
        turn = turn * travel + start[k]
    zero = (0.0, 0.0, 0.0)
    for _ in range(12):
        c, sn = np.cos(turn), np.sin(turn)
        bottom = _mix(low0, c, low1, sn, low2)
        tc, ts = _meet(top0, top1, top2, bottom, s[0] * s[0], s[9])
        upper = _mix(top0, tc, top1, ts, top2)
        line = _less(upper, bottom)
        e1 = (line[0] / s[0], line[1] / s[0], line[2] / s[0])
        middle = _mix(bottom, s[1], e1, 0.0, zero)
        gap = _less(inner, middle)
        flat = _mix(gap, -_dot(gap, e1), e1, 0.0, zero)
        size2 = _dot(flat, flat)
        x = 0.5 * (s[2] * s[2] + _dot(gap, gap) - s[3]) / size2
        y = s[10] * np.sqrt(s[2] * s[2] / size2 - x * x)
        lever = _mix(zero, x, flat, y, _cross(e1, flat))
        e2 = (lever[0] / s[2], lever[1] / s[2], lever[2] / s[2])
        arm = _mix(_mix(zero, s[4], e1, s[5], e2), s[6], _cross(e1, e2), 0.0, zero)
        error = bottom[2] + arm[2] - s[8] - travel
        if abs(error) < 2e-10:
            break
        v = _mix(zero, -sn, low1, c, low2)
        side = _mix(zero, -ts, top1, tc, top2)
        rate = _dot(line, v) / _dot(line, side)
        de1 = ((rate * side[0] - v[0]) / s[0], (rate * side[1] - v[1]) / s[0], (rate * side[2] - v[2]) / s[0])
        omega = _cross(e1, de1)
        tie_arm = _mix(lever, s[1], e1, 0.0, zero)
        tie = _less(lever, gap)
        spin = -_dot(tie, _mix(v, 1.0, _cross(omega, tie_arm), 0.0, zero)) / _dot(tie, _cross(e1, tie_arm))
        turning = _mix(omega, spin, e1, 0.0, zero)
        turn -= error / (v[2] + turning[0] * arm[1] - turning[1] * arm[0])
    rod = _mix(_row(vectors, 3), c, _row(vectors, 4), sn, _row(vectors, 5))
    r0, r1, r2 = _row(vectors, 9), _row(vectors, 10), _row(vectors, 11)
    rc, rs = _meet(r0, r1, r2, rod, s[7], s[11])
    _put(out, 0, n, bottom)
    _put(out, 3, n, upper)
    _put(out, 6, n, _mix(middle, 1.0, lever, 0.0, zero))
    _put(out, 9, n, _mix(r0, rc, r1, rs, r2))
    angle[n] = turn


@numba.njit(fastmath=True)
def solve(vectors: Array, scalars: Array, start: Array, travel: Array, out: Array, angle: Array) -> None:
    """Solve every travel (n,) into `out` (12, n): lower, upper, tie outer and rod inner joint; one thread."""
    for n in range(len(travel)):
        _one(vectors, scalars, start, travel[n], out, angle, n)


@numba.njit(fastmath=True, parallel=True)
def solve_parallel(vectors: Array, scalars: Array, start: Array, travel: Array, out: Array, angle: Array) -> None:
    """As `solve`, over all threads that numba may use."""
    for n in numba.prange(len(travel)):
        _one(vectors, scalars, start, travel[n], out, angle, n)
