"""Deflections as functions of the two corners: how far two points have come together, how far a body has turned."""

from __future__ import annotations

from collections.abc import Callable

from kin3d.measures.corner import Corner, length, unit
from kin3d.spatial.jets import Jet
from kin3d.spatial.screws import turn_about
from kin3d.spatial.vectors import Number, scale, sub

Deflection = Callable[[Corner, Corner], Jet]
OfCorner = Callable[[Corner], Jet]


def _jet(x: Number) -> Jet:
    if not isinstance(x, Jet):
        raise TypeError("a deflection is a jet")
    return x


def of_side(side: str, one: OfCorner) -> Deflection:
    """The deflection of an element that belongs to one corner."""
    return lambda left, right: one(left if side == "left" else right)


def shortening(first: str, second: str) -> OfCorner:
    """How much nearer two points of one corner are than in the design position, mm."""

    def deflection(corner: Corner) -> Jet:
        then = length(sub(corner.motion.design[first], corner.motion.design[second]))
        return _jet(then - length(sub(corner.place(first), corner.place(second))))

    return deflection


def across(left_point: str, right_point: str) -> Deflection:
    """How much nearer a point of the left corner is to one of the right than in the design position, mm."""

    def deflection(left: Corner, right: Corner) -> Jet:
        then = length(sub(left.motion.design[left_point], right.motion.design[right_point]))
        return _jet(then - length(sub(left.place(left_point), right.place(right_point))))

    return deflection


def arm_turn(axis: tuple[str, str], point: str, sense: float) -> OfCorner:
    """Turn of a hinged body from design about axis[0]→axis[1] (right hand) times `sense`, rad, from a point it has."""

    def deflection(corner: Corner) -> Jet:
        start, end = (corner.motion.design[p] for p in axis)
        line = scale(sense, unit(sub(end, start)))
        then, now = sub(corner.motion.design[point], start), sub(corner.place(point), start)
        return _jet(turn_about(line, then, now))

    return deflection


def difference(left: OfCorner, right: OfCorner) -> Deflection:
    """Twist of a bar whose two arms are turned each by its own side, rad."""
    return lambda corner, other: left(corner) - right(other)
