"""Instant centres in the front and side view, and the roll centre of a symmetric axle."""

from __future__ import annotations

from kin3d.measures.corner import Corner
from kin3d.measures.entry import RADIUS, Measure
from kin3d.spatial.vectors import Number

_FRONT = "where the transverse velocity of the upright vanishes in the plane x = p_x"
_SIDE = "where the velocity of the upright, wheel locked, vanishes in the plane y = p_y"
_SOURCE = "common practice, own formula from the instant motion"


def front_centre(corner: Corner, rolling: bool = False) -> tuple[Number, Number]:
    """(y, z) of the instant centre in the transverse plane through the contact point, mm; in roll if asked for."""
    c, (v, w) = corner.centre, corner.rolling if rolling else (corner.centre_velocity, corner.omega)
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
    if corner.joined:
        return roll_crossing(corner)[1]
    v = corner.contact_velocity
    return corner.contact[1] * v[1] / v[2]


def roll_crossing(corner: Corner) -> tuple[Number, Number]:
    """(offset to the left, height) of the roll centre of wheels that are one system, on level ground, mm.

    Where the lines through both contact points cross that are square to the points' velocities in roll, from the
    mid-point of the contact points.
    """
    sides = [(c.over_ground(c.contact), c.over_ground(c.rolling_velocity)) for c in (corner, corner.opposite)]
    middle = [0.5 * (sides[0][0][k] + sides[1][0][k]) for k in (1, 2)]
    a, b, c = [], [], []
    for place, speed in sides:
        a.append(speed[1])
        b.append(speed[2])
        c.append(speed[1] * (place[1] - middle[0]) + speed[2] * (place[2] - middle[1]))
    det = a[0] * b[1] - a[1] * b[0]
    return (c[0] * b[1] - c[1] * b[0]) / det, (a[0] * c[1] - a[1] * c[0]) / det


def not_joined(corner: Corner) -> str:
    """Says so where the sides are not one system."""
    return "" if corner.joined else "the sides of this axle are not one system ([across])"


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
        definition="p_y·v_y/v_z, v the velocity of the upright's material point at the contact point (symmetric axle); "
        "of an axle that is one system as in roll",
        source="J. C. Dixon, Suspension Geometry and Computation (2009), path of the contact point; from memory",
        function=roll_centre_height,
        needs=RADIUS,
        order=1,
        usual=True,
        group="roll centre",
    ),
    Measure(
        name="roll_centre_offset_mm",
        label="Roll-centre offset",
        unit="mm",
        sign="to the left of the mid-point of the contact points positive",
        definition="where the lines through both contact points cross that are square to the velocities of the wheel "
        "bodies' material points there in roll, heave held",
        source="J. C. Dixon, Suspension Geometry and Computation (2009), path of the contact point; from memory",
        function=lambda corner: roll_crossing(corner)[0],
        needs=RADIUS,
        unless=not_joined,
        silent=True,
        order=1,
        mirror=-1,
        group="roll centre",
    ),
)
