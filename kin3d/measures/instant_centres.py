"""Instant centres in the front and side view, and the roll centre of a symmetric axle."""

from __future__ import annotations

from kin3d.measures.corner import Corner
from kin3d.measures.entry import RADIUS, Measure
from kin3d.spatial.vectors import Number

_FRONT = "where the transverse velocity of the upright vanishes in the plane x = p_x"
_SIDE = "where the velocity of the upright, wheel locked, vanishes in the plane y = p_y"
_SOURCE = "common practice, own formula from the instant motion"


def front_centre(corner: Corner) -> tuple[Number, Number]:
    """(y, z) of the instant centre in the transverse plane through the contact point, mm."""
    c, v, w = corner.centre, corner.centre_velocity, corner.omega
    ahead = corner.contact[0] - c[0]
    y = c[1] - (v[2] - w[1] * ahead) / w[0]
    z = c[2] + (v[1] + w[2] * ahead) / w[0]
    return y, z


def side_centre(corner: Corner) -> tuple[Number, Number]:
    """(x, z) of the instant centre in the longitudinal plane through the contact point, mm."""
    c, v, w = corner.centre, corner.centre_velocity, corner.omega
    aside = corner.contact[1] - c[1]
    x = c[0] + (v[2] + w[0] * aside) / w[1]
    z = c[2] - (v[0] - w[2] * aside) / w[1]
    return x, z


def roll_centre_height(corner: Corner) -> Number:
    """p_y·v_y/v_z: height over the ground at which the line through p square to its path meets the centre plane."""
    v = corner.contact_velocity
    return corner.contact[1] * v[1] / v[2]


def _centre(name: str, label: str, sign: str, definition: str, view: int, k: int) -> Measure:
    views = (front_centre, side_centre)
    return Measure(
        name=name,
        label=label,
        unit="mm",
        sign=sign,
        definition=definition,
        source=_SOURCE,
        function=lambda corner: views[view](corner)[k],
        needs=RADIUS,
        order=1,
        mirror=-1 if name == "front_ic_y_mm" else 1,
        group="instant centres",
    )


MEASURES = (
    _centre("front_ic_y_mm", "Front-view instant centre, y", "left positive", _FRONT, 0, 0),
    _centre("front_ic_z_mm", "Front-view instant centre, z", "up positive", _FRONT, 0, 1),
    _centre("side_ic_x_mm", "Side-view instant centre, x", "forward positive", _SIDE, 1, 0),
    _centre("side_ic_z_mm", "Side-view instant centre, z", "up positive", _SIDE, 1, 1),
    Measure(
        name="roll_centre_height_mm",
        label="Roll-centre height",
        unit="mm",
        sign="over the ground positive",
        definition="p_y·v_y/v_z, v the velocity of the upright's material point at the contact point (symmetric axle)",
        source="J. C. Dixon, Suspension Geometry and Computation (2009), path of the contact point; from memory",
        function=roll_centre_height,
        needs=RADIUS,
        order=1,
        usual=True,
        group="roll centre",
    ),
)
