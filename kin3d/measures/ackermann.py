"""Steering of an axle: Ackermann percentage and where the car turns."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from kin3d.measures.corner import Corner
from kin3d.measures.corner_pair import CornerPair, mean, of_axle
from kin3d.measures.entry import RADIUS, Measure
from kin3d.measures.two_travels import LEFT, RIGHT
from kin3d.spatial.jets import choose, cos, sin, value
from kin3d.spatial.vectors import Number

STRAIGHT_RAD = np.radians(0.1)  # below this mean steer a percentage would say nothing
_SOURCE = "common practice (A. Jeantaud, R. Ackermann), own formula; from memory"


def _lacks_rack(corner: Corner) -> str:
    return "" if corner.linkage.rack else f'layout "{corner.linkage.layout}" has no rack'


def _cot(angle: Number) -> Number:
    with np.errstate(all="ignore"):
        return cos(angle) / sin(angle)


def ackermann(corner: CornerPair) -> Number:
    """100·(cot outer − cot inner)·wheelbase/track, shape (n,); NaN where the wheels are not steered."""
    left, right = corner.both(corner.steer)
    if corner.straight is not None:
        left, right = left - corner.straight[LEFT], right - corner.straight[RIGHT]
    straight = np.abs(value(mean((left, right)))) < STRAIGHT_RAD
    # on a left turn the left wheel is inner and both cotangents are positive; on a right turn signs and roles change
    found = (_cot(right) - _cot(left)) * (100.0 * _wheelbase(corner)) / corner.track
    return choose(straight, np.nan, found)


def turning_radius(corner: CornerPair) -> Number:
    """Wheelbase times the mean cotangent of both steers, shape (n,), mm; infinite straight ahead."""
    left, right = corner.both(corner.steer)
    # toe alone turns no car: without a rack displacement that steers there is no turning centre
    straight = np.abs(value(mean((left, right)))) < STRAIGHT_RAD
    return choose(straight, np.inf, mean((_cot(left), _cot(right))) * _wheelbase(corner))


def _wheelbase(corner: CornerPair) -> Number:
    return corner.of_file("car.wheelbase_mm")


def _measure(
    name: str, label: str, unit: str, sign: str, definition: str, function: Callable[[CornerPair], Number]
) -> Measure:
    return Measure(
        name,
        label,
        unit,
        sign,
        definition,
        _SOURCE,
        of_axle(function),
        "steering",
        scope="axle",
        needs=("car.wheelbase_mm", *RADIUS),
        unless=_lacks_rack,
        mirror=-1 if name == "turning_radius_mm" else 1,
        axle="front",
    )


MEASURES = (
    _measure(
        "ackermann_pct",
        "Ackermann percentage",
        "%",
        "inner wheel steered more than the outer one: positive; 100: both lines meet on the rear axle; 0: parallel",
        "100·(cot outer − cot inner)·wheelbase/track; steers to the ground, less those with the rack in the middle",
        ackermann,
    ),
    _measure(
        "turning_radius_mm",
        "Turning radius",
        "mm",
        "turning centre on the left positive",
        "wheelbase times the mean cot(steer to the ground): from the middle of the other axle to the turning centre",
        turning_radius,
    ),
)
