"""Measures of the rod: how it stands to arm, rocker and rod ends, and how far the rocker is from its dead centre."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from kin3d.linkage.design import place_in_table
from kin3d.linkage.layout import Rocker
from kin3d.measures.corner import Corner, length, unit
from kin3d.measures.entry import Measure
from kin3d.measures.springs import lacks_rocker
from kin3d.spatial.jets import asin, atan2, size
from kin3d.spatial.vectors import Number, Vec, add, cross, dot, scale, sub

_BOLT = (
    "angle of the rod to the plane square to the rod end's bolt; the bolt as [axle.rod_part] gives it, else along the "
    "hinge line of the body that carries the rod"
)


def _role(corner: Corner) -> Rocker:
    if corner.linkage.rocker is None:
        raise ValueError("layout has no rocker")
    return corner.linkage.rocker


def rod_direction(corner: Corner) -> Vec:
    """Unit vector from the rod's outer to its inner end."""
    outer, inner = (corner.place(p) for p in _role(corner).rod)
    return unit(sub(inner, outer))


def lever_sine(corner: Corner) -> Number:
    """Lever of the rod about the pivot line over the rocker's own arm: 0 at the dead centre, ±1 where it works best."""
    role = _role(corner)
    first, second = (corner.motion.design[p] for p in role.axis)
    axis = unit(sub(second, first))
    arm = sub(corner.place(role.rod[1]), first)
    moment = dot(axis, cross(arm, rod_direction(corner)))
    return moment / length(cross(axis, arm))


def rod_to_rocker(corner: Corner) -> Number:
    """Angle from dead centre: arcsine of the lever's share, rad, without sign."""
    angle = asin(lever_sine(corner))
    return size(angle)


def carrier(corner: Corner) -> str:
    """The body that carries the rod's outer end."""
    outer, inner = _role(corner).rod
    return next(b for b, points in corner.linkage.bodies.items() if outer in points and inner not in points)


def hinge_of(corner: Corner, body: str) -> tuple[Vec, Vec] | None:
    """Two chassis points that a body turns about, or None."""
    fixed = [p for p in corner.linkage.bodies[body] if p in corner.linkage.fixed]
    if len(fixed) < 2:
        return None
    return corner.motion.design[fixed[0]], corner.motion.design[fixed[1]]


def rod_to_arm(corner: Corner) -> Number:
    """Angle between the rod and the plane through the arm's hinge line and the rod's outer end, rad."""
    hinge = hinge_of(corner, carrier(corner))
    outer = corner.place(_role(corner).rod[0])
    if hinge is None:
        raise ValueError("the rod is not on an arm")
    normal = unit(cross(sub(hinge[1], hinge[0]), sub(outer, hinge[0])))
    angle = asin(dot(normal, rod_direction(corner)))
    return size(angle)


def rod_slope(corner: Corner) -> Number:
    """Slope of the rod in the front view, rad: inner end higher than the outer one positive."""
    d = rod_direction(corner)
    inboard = d[1] * -corner.sign
    return atan2(d[2], inboard)


def misalignment_outer(corner: Corner) -> Number:
    """Misalignment of the outer rod end, rad, without sign."""
    body = carrier(corner)
    part = corner.axle.rod_part
    given = part.bolt_outer if part else None
    return _misalignment(corner, body, given, _outer_bolt(corner, body))


def misalignment_inner(corner: Corner) -> Number:
    """Misalignment of the inner rod end, rad, without sign."""
    role = _role(corner)
    part = corner.axle.rod_part
    first, second = (corner.motion.design[p] for p in role.axis)
    return _misalignment(corner, role.body, part.bolt_inner if part else None, unit(sub(second, first)))


def _outer_bolt(corner: Corner, body: str) -> Vec:
    """Design direction of the outer bolt where the file gives none: the arm's hinge line, else square to the rod."""
    hinge = hinge_of(corner, body)
    if hinge is not None:
        return unit(sub(hinge[1], hinge[0]))
    outer, inner = (corner.motion.design[p] for p in _role(corner).rod)
    return unit(cross(sub(inner, outer), (0.0, 0.0, 1.0)))


def _misalignment(corner: Corner, body: str, given: tuple[float, float, float] | None, made: Vec) -> Number:
    bolt = made
    if given is not None:
        # given for the side of the point table; the other side's bolt is its mirror image
        side = corner.sign if corner.axle.side == "left" else -corner.sign
        bolt = (given[0], given[1] * side, given[2])
    angle = asin(dot(turned(corner, body, bolt), rod_direction(corner)))
    return size(angle)


def turned(corner: Corner, body: str, direction: Vec) -> Vec:
    """A direction of the design position that turns along with a body."""
    names = _triangle(corner, body)
    then = [corner.motion.design[p] for p in names]
    now = [corner.place(p) for p in names]
    f = [sub(then[1], then[0]), sub(then[2], then[0])]
    e = [sub(now[1], now[0]), sub(now[2], now[0])]
    normal = cross(f[0], f[1])
    area = dot(normal, normal)
    a = dot(cross(direction, f[1]), normal) / area
    b = dot(cross(f[0], direction), normal) / area
    c = dot(direction, normal) / area
    return add(add(scale(a, e[0]), scale(b, e[1])), scale(c, cross(e[0], e[1])))


def _triangle(corner: Corner, body: str) -> tuple[str, str, str]:
    """Three points of a body that are not in line: the largest triangle in the file's table.

    Not that of a lane: which lane stands first must not matter.
    """
    from itertools import combinations

    places = {p: place_in_table(corner.axle, p) for p in corner.linkage.bodies[body]}
    table = {p: at for p, at in places.items() if at is not None}

    def size(names: tuple[str, ...]) -> float:
        at = [table[p] for p in names]
        return float(np.linalg.norm(np.cross(at[1] - at[0], at[2] - at[0])))

    first, second, third = max(combinations(table, 3), key=size)
    return first, second, third


def rod_force(corner: Corner) -> Number:
    """Axial force of the rod a newton of wheel load, tension positive, by virtual work on upright and arms."""
    foot = corner.centre_velocity if corner.axle.loaded_radius_mm is None else corner.contact_velocity
    return -(foot[2] / dot(rod_direction(corner), corner.rate(corner.place(_role(corner).rod[0]))))


def lacks_arm(corner: Corner) -> str:
    """Says so when the rod is not on an arm with a hinge on the chassis."""
    said = lacks_rocker(corner)
    if said:
        return said
    body = carrier(corner)
    return "" if hinge_of(corner, body) else f"the rod is on the {body}, which has no hinge on the chassis"


def _measure(
    name: str, label: str, sign: str, definition: str, function: Callable[[Corner], Number], uses: tuple[str, ...] = ()
) -> Measure:
    return Measure(
        name=name,
        label=label,
        unit="deg",
        sign=sign,
        definition=definition,
        source="own definition",
        function=function,
        uses=uses,
        unless=lacks_arm if function is rod_to_arm else lacks_rocker,
        group="rod",
    )


MEASURES = (
    _measure(
        "rod_to_arm_deg",
        "Rod to arm",
        "without sign; 90 where the rod stands square on the arm",
        "angle of the rod to the plane of its arm's hinge line and rod_outer",
        rod_to_arm,
    ),
    _measure(
        "rod_to_rocker_deg",
        "Rod to rocker",
        "without sign; 0 at the dead centre, 90 where the rod pulls square to the rocker's arm",
        "arcsine of the rod's lever about the pivot line over the distance of rod_inner from it",
        rod_to_rocker,
    ),
    _measure(
        "rod_slope_deg",
        "Slope of the rod, front view",
        "inner end higher positive",
        "atan2(rise, way inboard) of the rod from rod_outer to rod_inner",
        rod_slope,
    ),
    _measure(
        "rod_end_outer_deg",
        "Outer rod end out of line",
        "without sign",
        _BOLT,
        misalignment_outer,
        ("axle.rod_part.bolt_outer", "axle.side"),
    ),
    _measure(
        "rod_end_inner_deg",
        "Inner rod end out of line",
        "without sign",
        _BOLT,
        misalignment_inner,
        ("axle.rod_part.bolt_inner", "axle.side"),
    ),
    Measure(
        name="rod_force_n_per_n",
        label="Rod force a newton of wheel load",
        unit="N/N",
        sign="tension (a pull-rod) positive, compression (a push-rod) negative",
        definition="−v_z/(d·v_rod): v_z of the upright's material point at the contact point (wheel centre without a "
        "loaded radius), d along the rod from rod_outer to rod_inner, v_rod of rod_outer; links without weight",
        source="own formula, virtual work",
        function=rod_force,
        uses=("axle.loaded_radius_mm",),
        unless=lacks_rocker,
        order=1,
        group="rod",
    ),
)
