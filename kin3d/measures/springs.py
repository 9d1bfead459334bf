"""Measures of rod, rocker and spring: what travel makes the spring do, and the wheel rate that comes of it."""

from __future__ import annotations

from collections.abc import Sequence
from math import pi

from kin3d.linkage.layout import Part
from kin3d.measures.corner import Corner, length, rate_of, unit
from kin3d.measures.entry import Measure
from kin3d.measures.instant_centres import not_joined
from kin3d.spatial.jets import sense
from kin3d.spatial.screws import turn_about
from kin3d.spatial.vectors import Number, sub

_RATIO = "−d(spring length)/d(travel): spring mm per mm of wheel travel (the trade uses the word for its inverse too)"
_TURN = "turn of the rocker from design about rocker_axis_1→2, right hand"
_RATES = (
    "axle.spring.rate_n_per_mm",
    "axle.spring.design_force_n",
    "axle.torsion.rate_n_m_per_deg",
    "axle.torsion.design_torque_n_m",
)
NMM_PER_RAD = 1000.0 * 180.0 / pi  # from N·m/deg


def lacks_spring(corner: Corner) -> str:
    """Says so when there is no spring between two points."""
    return "" if corner.linkage.spring else _has_no("spring", [p for p in corner.axle.layout.parts if p.spring])


def lacks_rocker(corner: Corner) -> str:
    """Says so when there is no rocker."""
    return "" if corner.linkage.rocker else _has_no("rocker", [p for p in corner.axle.layout.parts if p.rocker])


def _has_no(what: str, parts: Sequence[Part]) -> str:
    """What is missing, and the keys of the car file that would bring it, if the layout knows such keys."""
    keys = [p.key for p in parts if p.key]
    return f"the linkage has no {what}" + (f" (no {' or '.join(keys)} in the car file)" if keys else "")


def lacks_rate(corner: Corner) -> str:
    """Says what is missing for a wheel rate."""
    axle = corner.axle
    if axle.spring is None and axle.torsion is None:
        return f"[{axle.name}.spring] and [{axle.name}.torsion] are not given"
    if axle.spring is not None and axle.spring.design_force_n is None:
        return f"[{axle.name}.spring] design_force_n is not given, and the term F·dMR/dz needs it"
    return (lacks_spring(corner) if axle.spring else "") or (lacks_rocker(corner) if axle.torsion else "")


def motion_ratio(corner: Corner) -> Number:
    """−dL/dz."""
    return -rate_of(corner.spring_length, corner)


def own_motion_ratio(corner: Corner) -> Number:
    """−∂L/∂z of this spring's own wheel, the other wheel held."""
    return 0.5 * (motion_ratio(corner) - corner.sign * corner.spring_length.rate(corner.motion.generators["apart"]))


def other_motion_ratio(corner: Corner) -> Number:
    """−∂L/∂z of the other wheel, this spring's own wheel held."""
    return 0.5 * (motion_ratio(corner) + corner.sign * corner.spring_length.rate(corner.motion.generators["apart"]))


def lacks_joined_spring(corner: Corner) -> str:
    """Says so when there is no spring, or the other wheel does not move it."""
    return not_joined(corner) or lacks_spring(corner)


def motion_ratio_slope(corner: Corner) -> Number:
    """d(motion ratio)/dz, 1/mm."""
    return rate_of(motion_ratio(corner), corner)


def rocker_turn(corner: Corner) -> Number:
    """Turn of the rocker from design, rad."""
    rocker = corner.linkage.rocker
    if rocker is None:
        raise ValueError("layout has no rocker")
    start, end = (corner.motion.at[p] for p in rocker.axis)
    axis = unit(sub(end, start))
    now = sub(corner.place(rocker.rod[1]), start)
    then = sub(corner.motion.design[rocker.rod[1]], start)
    return turn_about(axis, then, now)


def rocker_rate(corner: Corner) -> Number:
    """d(rocker turn)/dz, rad per mm."""
    return rate_of(rocker_turn(corner), corner)


def spring_force(corner: Corner) -> Number:
    """Compression force of the spring, N."""
    spring = corner.axle.spring
    if spring is None or spring.design_force_n is None or corner.linkage.spring is None:
        raise ValueError("no spring force")
    outer, inner = (corner.motion.design[p] for p in corner.linkage.spring)
    return spring.design_force_n + spring.rate_n_per_mm * (length(sub(outer, inner)) - corner.spring_length)


def stands_once(corner: Corner) -> bool:
    """Whether one spring holds both wheels."""
    return all(map(corner.linkage.across.once, corner.linkage.spring or ("",)))


def wheel_rate(corner: Corner) -> Number:
    """k·MR² + F·dMR/dz, plus the torsion spring's like terms, N/mm."""
    total = corner.motion.algebra.constant(0.0)
    spring, torsion = corner.axle.spring, corner.axle.torsion
    if spring is not None:
        ratio = motion_ratio(corner)
        held = spring.rate_n_per_mm * ratio * ratio + spring_force(corner) * motion_ratio_slope(corner)
        total = total + (0.5 * held if stands_once(corner) else held)  # one spring under both wheels
    if torsion is not None:
        rate = torsion.rate_n_m_per_deg * NMM_PER_RAD
        turn, slope = rocker_turn(corner), rocker_rate(corner)
        # the design torque resists bump, whichever way the rocker turns in bump
        torque = turn * rate
        if torsion.design_torque_n_m is not None:
            torque = torque + sense(slope) * (1000.0 * torsion.design_torque_n_m)
        total = total + rate * slope * slope + torque * rate_of(slope, corner)
    return total


MEASURES = (
    Measure(
        name="spring_length_mm",
        label="Spring length",
        unit="mm",
        sign="longer positive",
        definition="distance from spring_outer to spring_inner",
        source="own definition",
        function=lambda corner: corner.spring_length,
        unless=lacks_spring,
        group="spring",
    ),
    Measure(
        name="motion_ratio",
        label="Motion ratio",
        unit="1",
        sign="bump shortens the spring: positive",
        definition=_RATIO,
        source="W. F. Milliken and D. L. Milliken, Race Car Vehicle Dynamics, ch. 16 (installation ratio); from memory",
        function=motion_ratio,
        unless=lacks_spring,
        usual=True,
        order=1,
        group="spring",
    ),
    *(
        Measure(
            name=f"motion_ratio_{whose}",
            label=f"Motion ratio to the {what} wheel",
            unit="1",
            sign="bump shortens the spring: positive",
            definition=f"−∂(spring length)/∂(travel of the {what} wheel), the other one held; both together are the "
            "motion ratio",
            source="own definition",
            function=function,
            unless=lacks_joined_spring,
            silent=True,
            order=1,
            group="spring",
        )
        for whose, what, function in (
            ("own", "spring's own", own_motion_ratio),
            ("other", "other", other_motion_ratio),
        )
    ),
    Measure(
        name="motion_ratio_slope_per_mm",
        label="Slope of the motion ratio",
        unit="1/mm",
        sign="ratio rises in bump: positive",
        definition="d(motion ratio)/d(travel); motion ratio = " + _RATIO,
        source="own definition",
        function=motion_ratio_slope,
        unless=lacks_spring,
        order=2,
        group="spring",
    ),
    Measure(
        name="rocker_deg",
        label="Rocker angle",
        unit="deg",
        sign="right hand about rocker_axis_1→2 positive",
        definition=_TURN,
        source="own definition",
        function=rocker_turn,
        unless=lacks_rocker,
        mirror=-1,
        group="spring",
    ),
    Measure(
        name="rocker_rate_deg_per_mm",
        label="Rocker rate",
        unit="deg/mm",
        sign="right hand about rocker_axis_1→2 in bump positive",
        definition="d(rocker angle)/d(travel); " + _TURN,
        source="own definition",
        function=rocker_rate,
        unless=lacks_rocker,
        mirror=-1,
        order=1,
        group="spring",
    ),
    Measure(
        name="wheel_rate_n_per_mm",
        label="Wheel rate",
        unit="N/mm",
        sign="stiffer positive",
        definition="k·MR² + F·dMR/dz at the wheel centre, a corner, without tyre and bar; torsion spring "
        "likewise; a spring counts as held at both ends, slack or not (kin3d rates counts none where it is slack); "
        "of a spring that stands once in the car half",
        source="W. F. Milliken and D. L. Milliken, Race Car Vehicle Dynamics, ch. 16; from memory",
        function=wheel_rate,
        uses=_RATES,
        unless=lacks_rate,
        usual=True,
        order=2,
        group="spring",
    ),
)
