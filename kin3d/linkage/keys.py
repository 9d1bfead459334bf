"""Every key of the car file, once: its type, its range, what is expected of it, and what it means.

The records are read from the file, are the data that the program computes with, and are written back
(`kin3d.linkage.record`). A new key is a new line here; messages, hints for mistyped keys and the writer follow from it.
Every key of an axle is optional, so that what is right can still be used while what is wrong is collected;
`AXLE_NEEDS` lists what an axle cannot do without.
"""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any, Literal

import numpy as np
from numpy.typing import NDArray

from kin3d.linkage.expected import After, Expected
from kin3d.linkage.key_types import (
    DIRECTION,
    FILE_AXES,
    HEADED,
    TEXT,
    Accel,
    Angle,
    AnyNumber,
    AnyText,
    BodyPair,
    BrakePlace,
    Direction,
    FileOrigin,
    Inertia,
    Length,
    LengthOrZero,
    Mass,
    MeshPath,
    Moments,
    Name,
    Newtons,
    PointPair,
    Points,
    Rate,
    Share,
    SidePoints,
    Sigmas,
    TorquePlace,
    Triple,
    TurnRate,
    TyreRate,
    YesNo,
    headed,
    tables,
)
from kin3d.linkage.names import AxleName, Side
from kin3d.linkage.part_keys import JointPart, LinkPart, Masses, RodPart, SolidPart
from kin3d.linkage.record import R, Record, changed, known_keys

AXLE_NEEDS = {
    "points": "the file of its pickup points",
    "side": 'the side that the points are given for, "left" or "right"',
    "layout": 'a built-in layout such as "double wishbone", or the path of a layout file',
}


class CarData(Record):
    """Figures of the whole car, ``[car]``; a measure that needs one that is None is left out and says so."""

    wheelbase_mm: Length = None
    cg_height_mm: Length = None
    mass_kg: Mass = None
    front_mass_share: Share = None
    front_brake_share: Share = None
    brakes: BrakePlace = "outboard"
    drive: Literal["front", "rear", "all"] | None = None
    front_drive_share: Share = None
    roll_inertia_kg_m2: Inertia = None


class Spring(Record):
    """The coil spring of a corner, ``[front.spring]``, between ``spring_outer`` and ``spring_inner`` of the layout.

    The force is compression, N, in the design position. A spring that is not ``captive``, held at both ends, goes slack
    at its free length and does not pull.
    """

    rate_n_per_mm: Rate
    design_force_n: AnyNumber = None
    captive: YesNo = False


class NamedSpring(Record):
    """A spring beside `Spring`, ``[[front.springs]]``, a table for each, between two points of a corner.

    ``bodies`` names the bodies of two new points (``["rocker", "chassis"]``); it is left out where the layout has both.
    """

    name: Name
    points: PointPair
    bodies: BodyPair = None
    rate_n_per_mm: Rate
    design_force_n: AnyNumber = None
    captive: YesNo = False


class Torsion(Record):
    """A torsion spring on the rocker's pivot line, ``[front.torsion]``; the torque resists bump, N·m."""

    rate_n_m_per_deg: TurnRate
    design_torque_n_m: AnyNumber = None


class Bar(Record):
    """An anti-roll bar, ``[front.bar]``; the rate is between its two arms."""

    rate_n_m_per_deg: TurnRate


class CrossSpring(Record):
    """A spring across the car, ``[front.third]`` (heave) or ``[front.roll_spring]``; force is compression, N.

    It acts from a point of the left corner to one of the right; ``points`` in the file is one name (the same on both
    sides) or two, ``body`` carries them. With the same point on both sides it is a third (heave) spring; with two
    points that move along one another in heave and apart in roll it is a roll spring. It pulls as well as it pushes,
    unless ``captive = false`` says that it goes slack at its free length.
    """

    points: SidePoints
    body: Name = "rocker"
    rate_n_per_mm: Rate
    design_force_n: Annotated[float, Expected("a number")] = 0.0
    captive: YesNo = True


class Stop(Record):
    """A bump or droop stop, or a packer, ``[[front.stops]]``, a table for each: a gap and a rate on a spring's stroke.

    Attributes
    ----------
    on : str
        Name of the spring whose stroke it ends: ``"spring"``, a name of `AxleKeys.springs`, ``"third"``,
        ``"roll_spring"``.
    gap_mm : float
        Stroke of that spring from the design position to where the stop begins to work.
    sense : {"bump", "droop"}
        Whether it works as the spring shortens or lengthens.
    """

    name: Name = "stop"
    on: Name = "spring"
    sense: Literal["bump", "droop"] = "bump"
    gap_mm: LengthOrZero
    rate_n_per_mm: Rate


class Damper(Record):
    """Stroke that a damper has from its design position, ``[front.damper]``: shorter in bump, longer in droop, mm.

    ``on`` is the spring beside it, as in `Stop`.
    """

    on: Name = "spring"
    bump_mm: LengthOrZero
    droop_mm: LengthOrZero


class Driveshaft(Record):
    """A drive shaft, ``[front.driveshaft]``: its inner joint on the chassis and its outer one on the wheel's body.

    Attributes
    ----------
    points : tuple of str
        Inner and outer joint, points of the table; the outer one may be ``wheel_centre``.
    inner_axis : tuple of float or None
        Axis of what drives the inner joint, vehicle frame; None: across the car.
    """

    points: PointPair
    inner_axis: Direction = None


class SharedError(Record):
    """An error that points have in common, ``[[front.shared_error]]``: all points taken off one view of a drawing, say.

    Attributes
    ----------
    name : str
        For tables and messages; without one they are counted.
    points : tuple of str
        Points that it moves together; empty: all points of the table.
    sigma_mm : tuple of float
        Standard deviation of the common shift along x, y and z of the vehicle frame.
    """

    name: Annotated[str, TEXT] = ""
    points: Points = ()
    sigma_mm: Sigmas


class Meshes(Record):
    """Mesh files for looks, moved with their bodies, ``[front.meshes]``; ``chassis`` stays where it is."""

    upright: MeshPath = None
    wheel: MeshPath = None
    tyre: MeshPath = None
    chassis: MeshPath = None


def _counted(errors: tuple[SharedError, ...]) -> tuple[SharedError, ...]:
    """Shared errors without a name are called by their number."""
    return tuple(e if e.name else changed(e, name=f"shared error {number}") for number, e in enumerate(errors, 1))


class AxleFiles(Record):
    """What an axle says of the files of its points: where they are, their unit and axes, their side, their layout."""

    points: AnyText = None
    other_points: AnyText = None
    units: AnyText = None
    axes: AnyText = None
    origin: FileOrigin = None
    side: Side | None = None
    layout: AnyText = None


class AxleKeys(Record):
    """All other keys of an axle, save those that its layout adds, such as ``rod_on``.

    Attributes
    ----------
    camber_deg, toe_deg : float
        Static angles, used when the table has no ``wheel_axis``.
    rack_axis : tuple of float
        Direction in which the rack's points move for positive ``rack_mm``.
    springs : tuple of NamedSpring
        Springs beside `spring`, each between two named points.
    unsprung_mass_kg : float or None
        Mass of one wheel with all that moves with it.
    tyre_rate_n_per_mm : float or None
        Vertical rate of one tyre.
    steering_axis_holds : {"wheel", "spring"}
        What stays as the rack moves, where no ball joints give the steering axis: the wheel centre's height, or the
        spring's length.
    brakes : {"outboard", "inboard"} or None
        Where this axle's brakes are; None: as ``[car]`` says.
    brake_torque, drive_torque : {"chassis", "upright"} or None
        What takes the torque of braking and of driving. None: of braking the upright with outboard brakes, else the
        chassis (a caliper that floats on a rod to the chassis says so here); of driving the chassis. The upright of a
        live axle is the axle with its final drive; a motor in the wheel's hub turns against the upright too.
    shared_error : tuple of SharedError
        Errors that points have in common, beside the standard deviations of the table.
    """

    loaded_radius_mm: Length = None
    camber_deg: Angle = 0.0
    toe_deg: Angle = 0.0
    rack_axis: Annotated[Triple, DIRECTION, FILE_AXES] = (0.0, 1.0, 0.0)
    spring: Spring | None = None
    torsion: Torsion | None = None
    bar: Bar | None = None
    meshes: Meshes | None = None
    shared_error: Annotated[tuple[SharedError, ...], After(_counted), tables("shared_error")] = ()
    springs: Annotated[tuple[NamedSpring, ...], tables("springs")] = ()
    third: CrossSpring | None = None
    roll_spring: CrossSpring | None = None
    stops: Annotated[tuple[Stop, ...], tables("stops")] = ()
    damper: Damper | None = None
    rod_part: RodPart | None = None
    links: Annotated[tuple[LinkPart, ...], HEADED, headed("links")] = ()
    joints: Annotated[tuple[JointPart, ...], HEADED, headed("joints")] = ()
    solids: Annotated[tuple[SolidPart, ...], HEADED, headed("solids")] = ()
    masses: Masses | None = None
    driveshaft: Driveshaft | None = None
    unsprung_mass_kg: Mass = None
    tyre_rate_n_per_mm: TyreRate = None
    brakes: BrakePlace | None = None
    brake_torque: TorquePlace | None = None
    drive_torque: TorquePlace | None = None
    steering_axis_holds: Literal["wheel", "spring"] = "wheel"

    def attached(self) -> dict[str, str]:
        """Points that elements of the car file add to the linkage, and the body of each; empty: the wheel's body."""
        out: dict[str, str] = {}
        if self.driveshaft is not None:
            out |= dict(zip(self.driveshaft.points, ("chassis", ""), strict=True))
        for spring in self.springs:
            out |= dict(zip(spring.points, spring.bodies or (), strict=False))
        for cross in (self.third, self.roll_spring):
            if cross is not None:
                out |= dict.fromkeys(cross.points, cross.body)
        return out

    def corner_springs(self) -> dict[str, Spring | NamedSpring]:
        """Springs of one corner by their names in tables; the layout's own is ``"spring"``."""
        own: dict[str, Spring | NamedSpring] = {"spring": self.spring} if self.spring else {}
        return own | {s.name: s for s in self.springs}


class AxleTable(AxleKeys, AxleFiles):
    """One axle as the file has it, ``[front]`` or ``[rear]``, before the files that it names are read."""


class LoadCase(Record):
    """A load case, ``[[cases]]``, a table for each: accelerations of the settled car, or the road's force on one tyre.

    Attributes
    ----------
    braking_g, driving_g, lateral_g, vertical_g : float or None
        Of the settled car: deceleration, acceleration forward, acceleration to the left, weight over that at rest.
    axle, side : str or None
        The wheel that the road's force acts on.
    contact_n : tuple of float or None
        Force of the road on the tyre at the contact point, vehicle frame, N.
    contact_moment_n_m : tuple of float or None
        Moment about the contact point, vehicle frame, N·m.
    wheel : {"braked", "driven"} or None
        Where the moment about the spin axis goes: into the upright, or into the chassis by the shaft. None: nowhere,
        the wheel is free to turn.
    """

    name: Name
    braking_g: Accel = None
    driving_g: Accel = None
    lateral_g: Accel = None
    vertical_g: Accel = None
    axle: AxleName | None = None
    side: Side | None = None
    contact_n: Newtons = None
    contact_moment_n_m: Moments = None
    wheel: Literal["braked", "driven"] | None = None


class CarFigures(Record):
    """What a car file says, apart from the files that it names."""

    title: AnyText = None
    car: CarData = CarData()
    cases: Annotated[tuple[LoadCase, ...], Expected("tables headed [[cases]]")] = ()
    front: AxleKeys | None = None
    rear: AxleKeys | None = None


class CarFile(CarFigures):
    """The whole file."""

    front: AxleTable | None = None
    rear: AxleTable | None = None


_UNITS = {
    "_n_m_per_deg": "N·m/deg", "_n_per_mm2": "N/mm²", "_n_per_mm": "N/mm", "_kg_m2": "kg·m²", "_n_m": "N·m", "_n": "N",
    "_kg": "kg", "_mm": "mm", "_deg": "deg",
}  # fmt: skip


def unit_of_key(key: str) -> str:
    """Return the unit of a number of the car file, which stands in its key; ``"1"`` for a share."""
    return next((unit for ending, unit in _UNITS.items() if key.endswith(ending)), "1")


def in_axes(record: R, rotation: NDArray[np.float64], folder: Path = Path()) -> R:
    """A record with its directions in other axes, of length 1, and its paths from a folder."""
    new: dict[str, Any] = {}
    for name in record.given:
        value = getattr(record, name)
        if isinstance(value, Record):
            new[name] = in_axes(value, rotation, folder)
        elif isinstance(value, tuple) and value and isinstance(value[0], Record):
            new[name] = tuple(in_axes(v, rotation, folder) for v in value)
        elif isinstance(value, Path):
            new[name] = folder / value
        elif value is not None and FILE_AXES in known_keys(type(record))[name].beside:
            new[name] = _unit(rotation @ np.array(value))
    return changed(record, **new)


def _unit(direction: NDArray[np.float64]) -> tuple[float, float, float]:
    """A direction of length 1; one of length 1 already keeps its digits."""
    length = float(np.linalg.norm(direction))
    x, y, z = (direction / (1.0 if abs(length - 1.0) < 1e-12 else length or 1.0) + 0.0).tolist()
    return x, y, z
