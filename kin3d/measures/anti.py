"""Anti-dive, anti-lift and anti-squat: the part of the longitudinal load transfer that the links carry."""

from __future__ import annotations

from collections.abc import Callable

from kin3d.linkage.names import AxleName
from kin3d.measures.corner import Corner
from kin3d.measures.entry import LONG, RADIUS, Measure, figure, not_given, nothing
from kin3d.solve.model import AxleModel
from kin3d.spatial.vectors import Number

_SOURCE = "W. F. Milliken and D. L. Milliken, Race Car Vehicle Dynamics, ch. 17; from memory"
BRAKING = (*LONG, "car.front_brake_share")
BRAKES = ("axle.brakes", "axle.brake_torque", "car.brakes")
DRIVING = ("car.drive", *LONG)
DRIVES = ("car.front_drive_share", "axle.drive_torque")
_WHERE = (
    "slope = v_x/v_z of the upright's material point at the contact point where the upright takes the torque "
    "(outboard brake, final drive on the axle, motor in the hub), of the wheel centre where the chassis takes it "
    "(inboard brake, drive shaft); brake_torque and drive_torque say which"
)


def lacks_drive(subject: Corner) -> str:
    """Says so when the axle is not driven."""
    drive, name = subject.car.drive, subject.axle.name
    if drive not in (None, name, "all"):
        return f'the {name} axle is not driven ([car] drive = "{drive}")'
    return not_given(subject, ("car.front_drive_share",)) if drive == "all" else ""


def _lever(corner: Corner) -> Number:
    """Wheelbase over height of the mass centre."""
    wheelbase, height = (figure(corner, key) for key in LONG)
    return wheelbase / height


def brake_share(corner: Corner) -> Number:
    """This axle's share of the braking force."""
    front = figure(corner, "car.front_brake_share")
    return front if corner.axle.name == "front" else 1.0 - front


def drive_share(corner: Corner) -> Number:
    """This axle's share of the driving force."""
    if corner.car.drive != "all":
        return 1.0
    front = figure(corner, "car.front_drive_share")
    return front if corner.axle.name == "front" else 1.0 - front


def inboard_brakes(subject: Corner | AxleModel) -> bool:
    """Whether the chassis takes the torque of this axle's brakes: as its own table says, else as ``[car]`` does."""
    if subject.axle.brake_torque is not None:
        return subject.axle.brake_torque == "chassis"
    return (subject.axle.brakes or subject.car.brakes) == "inboard"


def outboard_drive(subject: Corner | AxleModel) -> bool:
    """Whether the upright takes the driving torque: a live axle with its final drive, a motor in the hub."""
    return subject.axle.drive_torque == "upright"


def brake_slope(corner: Corner) -> Number:
    """Forward over upward velocity of the point at which braking pushes."""
    at = corner.centre_velocity if inboard_brakes(corner) else corner.contact_velocity
    v = corner.over_ground(at)
    return v[0] / v[2]


def drive_slope(corner: Corner) -> Number:
    """Forward over upward velocity of the point at which driving pushes."""
    v = corner.over_ground(corner.contact_velocity if outboard_drive(corner) else corner.centre_velocity)
    return v[0] / v[2]


def anti_dive(corner: Corner) -> Number:
    """Front axle, braking."""
    return brake_slope(corner) * (100.0 * brake_share(corner) * _lever(corner))


def anti_lift_braking(corner: Corner) -> Number:
    """Rear axle, braking."""
    return brake_slope(corner) * (-100.0 * brake_share(corner) * _lever(corner))


def anti_lift_driving(corner: Corner) -> Number:
    """Front axle, driving."""
    return drive_slope(corner) * (100.0 * drive_share(corner) * _lever(corner))


def anti_squat(corner: Corner) -> Number:
    """Rear axle, driving."""
    return drive_slope(corner) * (-100.0 * drive_share(corner) * _lever(corner))


def _anti(
    axle: AxleName,
    name: str,
    label: str,
    sense: str,
    formula: str,
    driving: bool,
    function: Callable[[Corner], Number],
) -> Measure:
    return Measure(
        name=name,
        label=label,
        unit="%",
        sign=f"opposes {sense}: positive",
        definition=f"100·share·({formula})·wheelbase/cg_height; {_WHERE}",
        source=_SOURCE,
        function=function,
        needs=(*(DRIVING if driving else BRAKING), *RADIUS),
        uses=DRIVES if driving else BRAKES,
        unless=lacks_drive if driving else nothing,
        order=1,
        usual=True,
        axle=axle,
        group="anti",
    )


_NOSE, _TAIL = "lift of the nose in driving", "lift of the tail in braking"
MEASURES = (
    _anti("front", "anti_dive_pct", "Anti-dive", "dive of the nose in braking", "+slope", False, anti_dive),
    _anti("front", "anti_lift_pct", "Anti-lift, driving", _NOSE, "+slope", True, anti_lift_driving),
    _anti("rear", "anti_lift_pct", "Anti-lift, braking", _TAIL, "−slope", False, anti_lift_braking),
    _anti("rear", "anti_squat_pct", "Anti-squat", "squat of the tail in driving", "−slope", True, anti_squat),
)
