"""Measures of each wheel against the ground: angles, gradients over heave and roll, support angles, track."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Literal

from kin3d.linkage.names import AxleName
from kin3d.measures.anti import BRAKES, brake_slope, drive_slope
from kin3d.measures.corner import Corner
from kin3d.measures.corner_pair import CornerPair, mean, of_axle
from kin3d.measures.entry import RADIUS, Measure
from kin3d.measures.two_travels import LEFT, RIGHT, Pair
from kin3d.measures.wheel import ISO
from kin3d.spatial.jets import Jet, asin, atan2, choose, value
from kin3d.spatial.vectors import Number, dot

_OWN = "own definition"


def camber_ground(corner: Corner) -> Jet:
    """−asin(a·n)."""
    found: Jet = -asin(dot(corner.spin, corner.normal))
    return found


def toe_ground(corner: Corner) -> Jet:
    """Heading of the wheel plane along the ground against the vehicle's x, toe-in positive."""
    found: Jet = atan2(dot(corner.spin, corner.ahead), corner.sign * dot(corner.spin, corner.aside))
    return found


def of_outer(corner: CornerPair, pair: Pair) -> Number:
    """A quantity of the outer wheel, on the side that the body leans to; the mean of both without roll."""
    roll = value(corner.roll)
    return choose(roll == 0.0, mean(pair), choose(roll > 0.0, pair[RIGHT], pair[LEFT]))


def recovery(corner: CornerPair) -> Number:
    """Share of roll that the linkage gives back to the outer wheel, %, shape (n,); both wheels' mean without roll."""
    rate = corner.along(camber_ground(corner), "roll")
    # the left wheel is the outer one when roll is negative, so that its rate over |roll| has the other sign
    return of_outer(corner, (100.0 * (1.0 + rate[LEFT]), 100.0 * (1.0 - rate[RIGHT])))


def camber_of_outer(corner: CornerPair) -> Number:
    """Camber of the outer wheel to the ground, rad, shape (n,)."""
    return of_outer(corner, corner.both(camber_ground(corner)))


def _support(axle: AxleName, slope: Callable[[Corner], Number]) -> Callable[[Corner], Any]:
    sense = 1.0 if axle == "front" else -1.0
    return lambda corner: atan2(sense * slope(corner), 1.0)


def _wheel(
    name: str,
    label: str,
    unit: str,
    sign: str,
    definition: str,
    function: Callable[[Any], Any],
    group: str = "wheel to the ground",
    source: str = _OWN,
    **more: Any,
) -> Measure:
    return Measure(name, label, unit, sign, definition, source, function, group, scope="axle", order=1, **more)


def _gradient(
    name: str, label: str, unit: str, sign: str, what: str, quantity: Any, drive: str, mirror: Literal[1, -1] = 1
) -> Measure:
    definition = f"d({what})/d({drive}), the other drives held, both wheels on the ground"
    function = of_axle(lambda corner: corner.along(quantity(corner), drive))
    return _wheel(name, label, unit, sign, definition, function, "gradients", needs=RADIUS, mirror=mirror)


MEASURES = (
    _wheel(
        "camber_ground_deg",
        "Camber to the ground",
        "deg",
        "top of the wheel outboard positive",
        "−asin(a·n)",
        camber_ground,
        source=f"{ISO}, 7.1.17",
        usual=True,
    ),
    _wheel(
        "toe_ground_deg",
        "Toe to the ground",
        "deg",
        "toe-in positive",
        "atan2(a·x', s·a·y') with x' the vehicle's x along the ground and y' square to it",
        toe_ground,
        source=f"{ISO}, 7.1.6",
        usual=True,
    ),
    _wheel(
        "steer_ground_deg",
        "Steer to the ground",
        "deg",
        "to the left positive",
        "−s·toe to the ground",
        lambda c: -(c.sign * toe_ground(c)),
        source=f"{ISO}, 7.1.1",
        mirror=-1,
    ),
    _gradient(
        "bump_steer_deg_per_mm",
        "Bump steer",
        "deg/mm",
        "toe-in in bump positive",
        "toe to the ground",
        toe_ground,
        "heave",
    ),
    _gradient(
        "bump_camber_deg_per_mm",
        "Bump camber",
        "deg/mm",
        "top of the wheel outboard in bump positive",
        "camber to the ground",
        camber_ground,
        "heave",
    ),
    _gradient(
        "roll_steer_deg_per_deg",
        "Roll steer",
        "deg/deg",
        "steers to the left as the left side rises: positive",
        "steer to the ground",
        lambda c: c.steer,
        "roll",
    ),
    _gradient(
        "roll_camber_deg_per_deg",
        "Roll camber",
        "deg/deg",
        "top of the wheel outboard as the left side rises: positive",
        "camber to the ground",
        camber_ground,
        "roll",
        mirror=-1,
    ),
    _wheel(
        "camber_outer_deg",
        "Camber of the outer wheel to the ground",
        "deg",
        "top of the wheel outboard positive",
        "−asin(a·n) of the wheel on the side that the body leans to; the mean of both without roll",
        of_axle(camber_of_outer),
        needs=RADIUS,
    ),
    _wheel(
        "camber_recovery_pct",
        "Camber recovery in roll",
        "%",
        "0 for a wheel that leans with the body, 100 for one that stays upright",
        "100·(1 − d camber_ground/d|roll|) of the outer wheel; the mean of both without roll",
        of_axle(recovery),
        "gradients",
        "common practice, no source",
        needs=RADIUS,
        usual=True,
    ),
    _wheel(
        "track_mm",
        "Track",
        "mm",
        "always positive",
        "distance of the contact points across the ground",
        of_axle(lambda c: c.track),
        "track",
        f"{ISO}, 4.3",
        needs=RADIUS,
    ),
    _wheel(
        "track_change_mm",
        "Track change",
        "mm",
        "wider than in the design position positive",
        "track minus the track of the design position",
        of_axle(lambda c: c.track - c.design_track),
        "track",
        needs=RADIUS,
    ),
)


def _support_angles(axle: AxleName) -> tuple[Measure, ...]:
    """Side-view angles of the line to the instant centre, for braking and for drive through shafts."""
    formula = "atan(v_x/v_z)" if axle == "front" else "atan(−v_x/v_z)"
    braking, driving = ("dive of the nose", "lift of the nose")
    if axle == "rear":
        braking, driving = ("lift of the tail", "squat of the tail")
    return (
        _wheel(
            "support_angle_braking_deg",
            "Support angle, braking",
            "deg",
            f"opposes {braking}: positive",
            f"{formula} of the material point at the contact point (outboard brake), of the wheel centre (inboard)",
            _support(axle, brake_slope),
            "anti",
            needs=RADIUS,
            uses=BRAKES,
            axle=axle,
        ),
        _wheel(
            "support_angle_driving_deg",
            "Support angle, driving",
            "deg",
            f"opposes {driving}: positive",
            f"{formula} of the wheel centre, driven through shafts",
            _support(axle, drive_slope),
            "anti",
            axle=axle,
        ),
    )


SUPPORT_ANGLES = (*_support_angles("front"), *_support_angles("rear"))
