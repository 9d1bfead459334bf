"""The axle's roll centre: where the lines through the contact points, square to their paths, cross.

When the lines are nearly parallel their crossing runs away, although the forces that it stands for stay small. So the
height that follows from the jacking forces is given beside it.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np

from kin3d.measures.corner_pair import CornerPair, mean, of_axle
from kin3d.measures.entry import RADIUS, Measure
from kin3d.measures.two_travels import LEFT, RIGHT, Pair
from kin3d.spatial.jets import atan2, choose, size, sqrt, value
from kin3d.spatial.vectors import Number

PARALLEL_DEG = 1.0  # lines that cross at less than this are reported
_ROUNDING = 1e-12  # sine of the angle under which two lines count as parallel
_ONE_LINE_MM = 1e-6  # distance of two parallel lines under which they are one line
_SOURCE = (
    "W. Matschinsky, Radführungen der Straßenfahrzeuge; J. C. Dixon, Suspension Geometry and Computation; from memory"
)
_LINES = "the lines through the two contact points, square to the velocities of the uprights' material points there"


def crossing(corner: CornerPair) -> tuple[Number, Number]:
    """(offset to the left, height) of the crossing over the mid-point of the contact points, each (n,), mm.

    Two parallel lines give infinity; if they are one and the same line, its point nearest to the mid-point is taken.
    """
    (_, y, z), (_, vy, vz) = corner.stand, corner.drift
    (a0, b0, c0), (a1, b1, c1) = (_line(y[k] - mean(y), z[k] - mean(z), vy[k], vz[k]) for k in (LEFT, RIGHT))
    det = a0 * b1 - a1 * b0
    parallel = np.abs(value(det)) < _ROUNDING
    alike = np.sign(value(a0 * a1 + b0 * b1))
    one = parallel & (np.abs(value(c0) - value(c1) * alike) < _ONE_LINE_MM)
    with np.errstate(all="ignore"):
        offset = choose(parallel, np.inf, (c0 * b1 - c1 * b0) / det)
        height = choose(parallel, np.inf, (a0 * c1 - a1 * c0) / det)
    return choose(one, a0 * c0, offset), choose(one, b0 * c0, height)


def _line(y: Number, z: Number, vy: Number, vz: Number) -> tuple[Number, Number, Number]:
    """The line through a place square to a velocity: a·y + b·z = c."""
    speed = sqrt(vy * vy + vz * vz)
    a, b = vy / speed, vz / speed
    return a, b, a * y + b * z


def line_angle(corner: CornerPair) -> Number:
    """Angle at which the two lines cross, 0 to 90 deg, rad, shape (n,)."""
    _, vy, vz = corner.drift
    turn = size(vy[LEFT] * vz[RIGHT] - vy[RIGHT] * vz[LEFT])
    return atan2(turn, size(vy[LEFT] * vy[RIGHT] + vz[LEFT] * vz[RIGHT]))


def lift(corner: CornerPair) -> Pair:
    """Jacking coefficient s·v_y/v_z of each wheel, both wheels alike."""
    _, vy, vz = (corner.both(c) for c in corner.over_ground(corner.contact_velocity))
    return vy[LEFT] / vz[LEFT], -(vy[RIGHT] / vz[RIGHT])


def force_height(corner: CornerPair) -> Number:
    """Height at which the links carry the side force of the axle when both tyres push alike, shape (n,), mm."""
    _, y, _ = corner.stand
    _, vy, vz = corner.drift
    middle = mean(y)
    return mean(((y[LEFT] - middle) * vy[LEFT] / vz[LEFT], (y[RIGHT] - middle) * vy[RIGHT] / vz[RIGHT]))


def _measure(
    name: str,
    label: str,
    unit: str,
    sign: str,
    definition: str,
    function: Callable[[CornerPair], Any],
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
        "s·v_y/v_z, both wheels moved alike: N of lift by the links a N of side force at that wheel, directed inboard",
        lift,
    ),
)
