"""Measures of the steering axis: caster, kingpin inclination and their offsets at the ground."""

from __future__ import annotations

from kin3d.linkage.ball_joints import JOINT_MM
from kin3d.measures.corner import Corner
from kin3d.measures.entry import RADIUS, Measure
from kin3d.measures.wheel import ISO
from kin3d.spatial.jets import atan2
from kin3d.spatial.vectors import Number, dot, sub

HELD = {"wheel": "wheel centre's height", "spring": "the spring's length"}  # by steering_axis_holds
SCREW = "the instant screw axis of the upright as the rack moves"
_ENDS = f"ends of links within {JOINT_MM:g} mm of each other are one joint"
_AXIS = f"k runs from the lower to the upper ball joint ({_ENDS}); without ball joints along {SCREW}, "
_AXIS += f"{HELD['wheel']} held, or {HELD['spring']}, as steering_axis_holds says"
_HOLDS = ("axle.steering_axis_holds",)


def lacks_axis(corner: Corner) -> str:
    """Says so when nothing gives a steering axis."""
    linkage = corner.linkage
    if linkage.steering_axis is not None or linkage.steers:
        return ""
    if linkage.drives:
        names = ", ".join(linkage.driven)
        return f'layout "{linkage.layout}" names no steering axis and has several drives ({names}), none of them a rack'
    return f'layout "{linkage.layout}" names neither a steering axis nor points on a rack, and has no drive'


def caster(corner: Corner) -> Number:
    """atan2(−k_x, k_z)."""
    _, k = corner.steering_axis
    return atan2(-k[0], k[2])


def kingpin(corner: Corner) -> Number:
    """atan2(−s k_y, k_z)."""
    _, k = corner.steering_axis
    return atan2(-(corner.sign * k[1]), k[2])


def scrub_radius(corner: Corner) -> Number:
    """Contact point outboard of the axis at the ground."""
    return dot(sub(corner.contact, corner.axis_at_ground), corner.outboard)


def caster_trail(corner: Corner) -> Number:
    """Axis at the ground ahead of the contact point."""
    return dot(sub(corner.axis_at_ground, corner.contact), corner.heading)


MEASURES = (
    Measure(
        name="caster_deg",
        label="Caster",
        unit="deg",
        sign="top of the steering axis rearward positive",
        definition=f"atan2(−k_x, k_z), the side-view projection; {_AXIS}",
        source=f"{ISO}, 7.2.2",
        function=caster,
        order=1,
        uses=_HOLDS,
        unless=lacks_axis,
        usual=True,
        group="steering axis",
    ),
    Measure(
        name="kingpin_deg",
        label="Kingpin inclination",
        unit="deg",
        sign="top inboard positive",
        definition=f"atan2(−s·k_y, k_z), the front-view projection; {_AXIS}",
        source=f"{ISO}, 7.2.5",
        function=kingpin,
        order=1,
        uses=_HOLDS,
        unless=lacks_axis,
        group="steering axis",
    ),
    Measure(
        name="scrub_radius_mm",
        label="Scrub radius",
        unit="mm",
        sign="contact point outboard of the steering axis positive",
        definition="from the steering axis at the ground to the contact point, square to the heading, horizontal",
        source=f"{ISO}, 7.2.6 (kingpin offset at ground)",
        function=scrub_radius,
        needs=RADIUS,
        order=1,
        uses=_HOLDS,
        unless=lacks_axis,
        usual=True,
        group="steering axis",
    ),
    Measure(
        name="caster_trail_mm",
        label="Caster trail",
        unit="mm",
        sign="steering axis meets the ground ahead of the contact point: positive",
        definition="from the contact point to the steering axis at the ground, along the wheel's heading",
        source=f"{ISO}, 7.2.3 (caster offset at ground)",
        function=caster_trail,
        needs=RADIUS,
        order=1,
        uses=_HOLDS,
        unless=lacks_axis,
        usual=True,
        group="steering axis",
    ),
)
