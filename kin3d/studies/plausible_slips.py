"""Which coordinate of a corner has a wrong sign, or a digit too many or too few.

A point has fellows: an arm's other pivot, the other ball joint, the other end of a tie. Where a coordinate stands far
from its fellows' and would not with one slip of the pen undone, that slip is likely. y is outboard positive here.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
TOLERANCE_MM = np.array([240.0, 125.0, 125.0])  # how far a coordinate may stand from that of its fellow
NEAR = 0.5  # a slip explains a coordinate when it brings it to within this part of the tolerance
MOST_OVER_CENTRE_MM = 60.0  # so far may a pivot reach over the centre line
HINGE_MM = 60.0  # least distance of an arm's two pivots
MOST = 4  # slips that are looked for in one corner

_Table = tuple[tuple[str, str, tuple[str, ...]], ...]
# point, axes, its fellows: points whose mean stands near it along those axes
_FELLOWS: _Table = (
    ("lower_front", "yz", ("lower_rear",)),
    ("lower_rear", "yz", ("lower_front",)),
    ("upper_front", "yz", ("upper_rear",)),
    ("upper_rear", "yz", ("upper_front",)),
    ("lower_front", "x", ("upper_front",)),
    ("upper_front", "x", ("lower_front",)),
    ("lower_rear", "x", ("upper_rear",)),
    ("upper_rear", "x", ("lower_rear",)),
    ("lower_outer", "xy", ("upper_outer", "tie_outer")),
    ("upper_outer", "xy", ("lower_outer", "tie_outer")),
    ("tie_outer", "y", ("lower_outer", "upper_outer")),
    ("tie_outer", "xz", ("tie_inner",)),
    ("tie_inner", "xz", ("tie_outer",)),
    ("tie_inner", "y", ("lower_front", "lower_rear")),
    ("wheel_centre", "x", ("lower_outer", "upper_outer")),
    ("wheel_centre", "z", ("lower_outer", "upper_outer")),
    ("rod_inner", "xyz", ("rocker_axis_1", "rocker_axis_2")),
    ("spring_outer", "xyz", ("rocker_axis_1", "rocker_axis_2")),
    ("rocker_axis_1", "xyz", ("rocker_axis_2", "rod_inner", "spring_outer")),
    ("rocker_axis_2", "xyz", ("rocker_axis_1", "rod_inner", "spring_outer")),
    ("bar_link_rocker", "xyz", ("rocker_axis_1", "rocker_axis_2", "rod_inner")),
    ("bar_link_arm", "xy", ("bar_link_rocker",)),
    ("bar_axis_1", "xz", ("bar_axis_2",)),
    ("bar_axis_2", "xz", ("bar_axis_1",)),
    ("rod_outer", "xy", ("lower_outer", "upper_outer")),
)
# these tell only which of two fellows has slipped: the other arm's pivots, the arm's own ball joint, the wheel
_WITNESSES: _Table = tuple(
    (f"{arm}_{end}", axes, fellows)
    for arm, other in (("lower", "upper"), ("upper", "lower"))
    for end in ("front", "rear")
    for axes, fellows in (
        ("y", (f"{other}_front", f"{other}_rear")),
        ("z", (f"{arm}_outer",)),
        ("x", ("wheel_centre",)),
    )
)


@dataclass(frozen=True, slots=True)
class Slip:
    """One coordinate as it may have been meant."""

    point: str
    axis: int
    value: float
    meant: float
    kind: str
    away: float


def slips_of(points: dict[str, Array], origin: Array) -> Iterator[Slip]:
    """Coordinates that stand far from their fellows' and would not with another sign or one digit more or less.

    Of two fellows that stand apart only one has slipped: the one whose mending leaves the least apart over all.

    Parameters
    ----------
    points : dict of point to ndarray, shape (3,)
        x forward, y outboard, z up, mm.
    origin : ndarray, shape (3,)
        What the file has added to each: a sign or a digit is lost there.
    """
    at = dict(points)
    apart = _apart(at)
    for _ in range(MOST):
        tried = [(_apart(_with(at, s)) + _DOUBT[s.kind], s) for s in _candidates(at, origin)]
        if not tried or min(t[0] for t in tried) >= apart - 0.01:
            return
        apart, slip = min(tried, key=lambda t: t[0])
        yield slip
        at = _with(at, slip)


_DOUBT = {"the wrong sign": 0.0, "a digit too many": 0.02, "a digit too few": 0.02, "a digit lost": 0.04}


def _with(at: dict[str, Array], slip: Slip) -> dict[str, Array]:
    mended = at[slip.point].copy()
    mended[slip.axis] = slip.meant
    return at | {slip.point: mended}


def _relations(at: dict[str, Array], table: _Table = _FELLOWS) -> Iterator[tuple[str, int, float]]:
    """Point, axis and the place that its fellows let one expect."""
    for name, axes, fellows in table:
        there = [at[f] for f in fellows if f in at]
        if name in at and there:
            for axis in axes:
                yield name, "xyz".index(axis), _middle([float(p["xyz".index(axis)]) for p in there])


def _middle(values: list[float]) -> float:
    """The median: of so few values numpy's takes a hundred times as long, and loads masked arrays."""
    ordered, half = sorted(values), len(values) // 2
    return 0.5 * (ordered[half] + ordered[-1 - half])


def _apart(at: dict[str, Array]) -> float:
    """How much in all the points stand apart from their fellows, beyond the tolerance and beyond the centre line."""
    over = [abs(float(at[n][k]) - e) / TOLERANCE_MM[k] - 1.0 for n, k, e in _relations(at)]
    across = sum(0.5 for n, *_ in _FELLOWS if n in at and at[n][1] < -MOST_OVER_CENTRE_MM)
    seen = sum(min(abs(float(at[n][k]) - e) / TOLERANCE_MM[k], 3.0) for n, k, e in _relations(at, _WITNESSES))
    narrow = sum(0.5 for arm in ("lower", "upper") if _narrow(at, arm))
    return float(sum(min(x, 3.0) for x in over if x > 0.0) + across + narrow + 0.05 * seen)


def _narrow(at: dict[str, Array], arm: str) -> bool:
    """Whether an arm's front pivot does not stand ahead of its rear one."""
    front, rear = at.get(f"{arm}_front"), at.get(f"{arm}_rear")
    return front is not None and rear is not None and bool(front[0] - rear[0] < HINGE_MM)


def _candidates(at: dict[str, Array], origin: Array) -> Iterator[Slip]:
    """Slips that would bring a coordinate that stands apart to its fellows."""
    for name, k, expected in _relations(at):
        value = float(at[name][k])
        away = abs(value - expected)
        if away <= TOLERANCE_MM[k]:
            continue
        near = NEAR * TOLERANCE_MM[k]
        base = float(origin[k])
        there = value + base
        kinds = [("the wrong sign", -there), ("a digit too many", there / 10.0), ("a digit too few", there * 10.0)]
        kinds = [(kind, meant - base) for kind, meant in kinds]
        if (name, k) == ("tie_inner", 1):  # a rack may stand anywhere on its own side
            kinds = kinds[:1]
        else:
            longer = (v - base for v in _one_digit_more(there))
            kinds += [("a digit lost", v) for v in longer if abs(v - expected) < 0.5 * near][:1]
        yield from (Slip(name, k, value, meant, kind, away) for kind, meant in kinds if abs(meant - expected) < near)


def _one_digit_more(value: float) -> Iterator[float]:
    """The value with one digit put in anywhere before its point."""
    whole, _, rest = f"{abs(value):.6f}".partition(".")
    sign = -1.0 if value < 0.0 else 1.0
    for at in range(len(whole) + 1):
        for digit in "123456789":
            yield sign * float(f"{whole[:at]}{digit}{whole[at:]}.{rest}")
