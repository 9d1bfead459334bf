"""The axle's roll centre: where the lines through the contact points, square to their paths, cross.

When the lines are nearly parallel their crossing runs away, although the forces that it stands for stay small. So the
height that follows from the jacking forces is given beside it.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from kin3d.measures.corner_pair import CornerPair, of_axle
from kin3d.measures.entry import RADIUS, Measure

Array = NDArray[np.float64]
PARALLEL_DEG = 1.0  # lines that cross at less than this are reported
_ROUNDING = 1e-12  # sine of the angle under which two lines count as parallel
_ONE_LINE_MM = 1e-6  # distance of two parallel lines under which they are one line
_SOURCE = (
    "W. Matschinsky, Radführungen der Straßenfahrzeuge; J. C. Dixon, Suspension Geometry and Computation; from memory"
)
_LINES = "the lines through the two contact points, square to the velocities of the uprights' material points there"


def crossing(corner: CornerPair) -> tuple[Array, Array]:
    """(offset to the left, height) of the crossing over the mid-point of the contact points, each (n,), mm.

    Two parallel lines give infinity; if they are one and the same line, its point nearest to the mid-point is taken.
    """
    (_, y, z), (_, vy, vz) = corner.stand, corner.drift
    size = np.hypot(vy, vz)
    a, b = vy / size, vz / size
    c = a * (y - y.mean(axis=0)) + b * (z - z.mean(axis=0))
    det = a[0] * b[1] - a[1] * b[0]
    offset = (c[0] * b[1] - c[1] * b[0]) / det
    height = (a[0] * c[1] - a[1] * c[0]) / det
    parallel = np.abs(det) < _ROUNDING
    same = parallel & (np.abs(c[0] - c[1] * np.sign(a[0] * a[1] + b[0] * b[1])) < _ONE_LINE_MM)
    offset = np.where(same, a[0] * c[0], np.where(parallel, np.inf, offset))
    return offset, np.where(same, b[0] * c[0], np.where(parallel, np.inf, height))


def line_angle(corner: CornerPair) -> Array:
    """Angle at which the two lines cross, 0 to 90 deg, rad, shape (n,)."""
    _, vy, vz = corner.drift
    turn = np.abs(vy[0] * vz[1] - vy[1] * vz[0])
    return np.asarray(np.arctan2(turn, np.abs(vy[0] * vy[1] + vz[0] * vz[1])))


def lift(corner: CornerPair) -> Array:
    """Jacking coefficient s·v_y/v_z of each wheel, shape (2, n)."""
    _, vy, vz = corner.drift
    return np.asarray(np.array([[1.0], [-1.0]]) * vy / vz)


def force_height(corner: CornerPair) -> Array:
    """Height at which the links carry the side force of the axle when both tyres push alike, shape (n,), mm."""
    _, y, _ = corner.stand
    _, vy, vz = corner.drift
    return np.asarray(((y - y.mean(axis=0)) * vy / vz).mean(axis=0))


def _measure(
    name: str,
    label: str,
    unit: str,
    sign: str,
    definition: str,
    function: Callable[[CornerPair], Array],
    usual: bool = False,
) -> Measure:
    return Measure(
        name=name,
        label=label,
        unit=unit,
        sign=sign,
        definition=definition,
        source=_SOURCE,
        function=of_axle(function),
        scope="axle",
        needs=RADIUS,
        order=1,
        usual=usual,
        mirror=-1 if name == "roll_centre_offset_mm" else 1,
        group="roll centre",
    )


MEASURES = (
    _measure(
        "roll_centre_height_mm",
        "Roll-centre height",
        "mm",
        "over the ground positive",
        f"height over the mid-point of the contact points at which {_LINES}, cross, seen along the ground's x",
        lambda c: crossing(c)[1],
        usual=True,
    ),
    _measure(
        "roll_centre_offset_mm",
        "Roll-centre offset",
        "mm",
        "to the left of the mid-point of the contact points positive",
        f"where {_LINES}, cross, across the ground",
        lambda c: crossing(c)[0],
        usual=True,
    ),
    _measure(
        "roll_centre_lines_deg",
        "Angle of the roll-centre lines",
        "deg",
        "always positive; near 0 the crossing runs away and says little",
        f"angle at which {_LINES}, cross",
        line_angle,
    ),
    _measure(
        "roll_centre_height_force_mm",
        "Roll-centre height from jacking forces",
        "mm",
        "over the ground positive",
        "mean of y·v_y/v_z of both contact points, y from their mid-point: moment of the jacking forces over the side "
        "force when both tyres push alike; finite also where the lines are parallel",
        force_height,
    ),
    _measure(
        "jacking_coefficient",
        "Jacking coefficient",
        "1",
        "a tyre force directed inboard lifts the body: positive",
        "s·v_y/v_z: N of lift by the links a N of side force at that wheel, directed inboard",
        lift,
    ),
)
