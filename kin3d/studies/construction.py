"""What a construction drawing shows of an axle in one position: bodies, wheels, instant centres, roll centre.

Coordinates are those of the ground: x along it forward, y to the left, z up, from the point under the middle of the
axle (the mid-point of its contact points). Lengths mm.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kin3d.errors import RequestError
from kin3d.linkage.car import Car
from kin3d.linkage.layout import WHEEL_CENTRE, Linkage
from kin3d.linkage.names import AxleName
from kin3d.measures.corner_pair import CornerPair
from kin3d.measures.instant_centres import front_centre, side_centre
from kin3d.measures.roll_centre import PARALLEL_DEG, crossing, force_height, line_angle
from kin3d.solve.model import AxleModel
from kin3d.solve.status import Status
from kin3d.spatial.vectors import Vec
from kin3d.studies.car import CarModel
from kin3d.studies.ground_contact import Stance, Standing, directions, need_radius, put_on_ground
from kin3d.studies.sweep import drive_values, roll_values

Array = NDArray[np.float64]
See = Callable[[Array], Array]  # from the chassis frame to that of the ground


@dataclass(frozen=True, slots=True)
class Outline:
    """One body: its name, what it is (``"arm"``, ``"link"``, ``"rod"``, ``"rocker"``, ``"spring"``), its points (n, 3).

    `joint` is, for an arm or a link, where it holds the wheel's body.
    """

    name: str
    role: str
    points: Array
    joint: Array | None = None


@dataclass(frozen=True, slots=True)
class Side:
    """One wheel with its linkage.

    Attributes
    ----------
    sign : float
        +1 left, −1 right.
    centre, spin, contact : ndarray, shape (3,)
        Wheel centre, unit spin axis outboard, contact point.
    drift, hub_drift : ndarray, shape (3,)
        Velocity of the material point at the contact point and of the wheel centre per mm of travel.
    front_ic, side_ic : ndarray, shape (3,)
        Instant centres of both views; infinite where the upright does not turn there.
    """

    sign: float
    bodies: tuple[Outline, ...]
    centre: Array
    spin: Array
    contact: Array
    drift: Array
    hub_drift: Array
    front_ic: Array
    side_ic: Array
    camber_deg: float


@dataclass(frozen=True, slots=True)
class Construction:
    """One axle in one position.

    Attributes
    ----------
    up, left : ndarray, shape (3,)
        The body's own z and y axis in the ground's frame.
    chassis : ndarray, shape (n, 3)
        Points of the chassis, both sides.
    roll_centre : ndarray, shape (2,)
        Offset to the left and height.
    force_height_mm : float
        Roll-centre height from jacking forces.
    parallel : bool
        Whether the lines are so nearly parallel that their crossing says little.
    x_mm : float
        Mid-point of the contact points in the frame of the car, along the ground.
    centre : ndarray, shape (3,), or None
        The body's mass centre, drawn over this axle; its height and offset count.
    """

    title: str
    axle: AxleName
    heave_mm: float
    roll_deg: float
    rack_mm: float
    radius_mm: float
    sides: tuple[Side, Side]
    up: Array
    left: Array
    chassis: Array
    roll_centre: Array
    force_height_mm: float
    parallel: bool
    x_mm: float
    centre: Array | None


def construct(
    car: Car, axle: AxleName, heave_mm: float = 0.0, roll_deg: float = 0.0, rack_mm: float = 0.0
) -> Construction:
    """Geometry of one axle in one position, contact points on the ground.

    Raises
    ------
    RequestError
        When the position is out of reach, or data are missing.
    """
    drive_values("heave", heave_mm, "mm"), drive_values("rack", rack_mm, "mm"), roll_values("roll", roll_deg)
    model = AxleModel.of(car, axle)
    need_radius([model])
    stance = _one(heave_mm, np.radians(roll_deg), rack_mm, 0.0)
    return _construction(car, model, stance, put_on_ground([model], stance), 0, 0.0, (heave_mm, roll_deg, rack_mm))


def construct_car(
    car: Car, heave_mm: float = 0.0, pitch_deg: float = 0.0, roll_deg: float = 0.0, rack_mm: float = 0.0
) -> tuple[Construction, Construction]:
    """Geometry of both axles on one ground, front and rear; `Construction.x_mm` places them along the car."""
    roll_values("pitch", pitch_deg), roll_values("roll", roll_deg)
    model = CarModel.of(car)
    one = np.ones(1)
    stance = model.stance(heave_mm * one, np.radians(pitch_deg) * one, np.radians(roll_deg) * one, rack_mm * one)
    standing = model.stand(stance)
    at = (heave_mm, roll_deg, rack_mm)
    front, rear = (
        _construction(car, m, stance, standing, k, x, at)
        for k, (m, x) in enumerate(zip(model.axles, model.shifts, strict=True))
    )
    return front, rear


def _one(heave: float, roll: float, rack: float, pitch: float) -> Stance:
    return Stance(*(np.full(1, float(v)) for v in (heave, roll, rack, pitch)))


def _construction(
    car: Car,
    model: AxleModel,
    stance: Stance,
    standing: Standing,
    number: int,
    shift: float,
    at: tuple[float, float, float],
) -> Construction:
    if (standing.status != Status.OK).any():
        raise RequestError(standing.findings)
    lanes, solved = standing.axles[number]
    corner = CornerPair.on_ground(model, lanes, solved, stance.roll_rad, stance.pitch_rad)
    frame = directions(float(stance.roll_rad[0]), float(stance.pitch_rad[0]))
    feet = _rows(corner.contact)
    middle = feet.mean(axis=0)

    def seen(points: Array) -> Array:
        return np.asarray((points - middle) @ frame.T)

    points = model.kernel.points(model.variants, lanes, solved)
    with np.errstate(all="ignore"):
        sides = tuple(_side(model.linkage, corner, points[k], k, seen, frame) for k in (0, 1))
        offset, height = crossing(corner)
        angle, finite = line_angle(corner), force_height(corner)
    fixed = [model.linkage.index(p) for p in model.linkage.fixed]
    level = car.data.cg_height_mm
    centre = None if level is None else _design_centre(corner, level, seen)
    return Construction(
        title=car.title,
        axle=model.axle.name,
        heave_mm=at[0],
        roll_deg=at[1],
        rack_mm=at[2],
        radius_mm=float(model.axle.loaded_radius_mm or 0.0),
        sides=(sides[0], sides[1]),
        up=frame[:, 2],
        left=frame[:, 1],
        chassis=seen(points[:, fixed].reshape(-1, 3)),
        roll_centre=np.array([float(offset[0]), float(height[0])]),
        force_height_mm=float(finite[0]),
        parallel=bool(np.degrees(angle[0]) < PARALLEL_DEG),
        x_mm=float(middle @ frame[0] + shift * frame[0, 0]),
        centre=centre,
    )


def _design_centre(corner: CornerPair, level: float, seen: See) -> Array:
    """The body's mass centre over the axle, in the ground's frame."""
    place = corner.design_contact.mean(axis=0) + np.array([0.0, 0.0, level])
    return np.asarray(seen(place[None])[0])


def _rows(v: Vec) -> Array:
    return np.stack([np.broadcast_to(np.asarray(getattr(c, "value", c), dtype=float), 2) for c in v], axis=-1)


def _side(linkage: Linkage, corner: CornerPair, points: Array, k: int, see: See, frame: Array) -> Side:
    place = {p: points[i] for i, p in enumerate(linkage.points)}
    foot = _rows(corner.contact)[k]
    fy, fz = (float(np.broadcast_to(c.value, 2)[k]) for c in front_centre(corner))
    sx, sz = (float(np.broadcast_to(c.value, 2)[k]) for c in side_centre(corner))
    spin = _rows(corner.spin)[k]
    return Side(
        sign=1.0 - 2.0 * k,
        bodies=tuple(_outlines(linkage, place, see)),
        centre=see(place[WHEEL_CENTRE]),
        spin=frame @ spin,
        contact=see(foot),
        drift=frame @ _rows(corner.contact_velocity)[k],
        hub_drift=frame @ _rows(corner.centre_velocity)[k],
        front_ic=see(np.array([foot[0], fy, fz])),
        side_ic=see(np.array([sx, foot[1], sz])),
        camber_deg=float(np.degrees(-np.arcsin(frame[2] @ spin))),
    )


def _outlines(linkage: Linkage, place: dict[str, Array], look: See) -> list[Outline]:
    """Every body but the wheel's, with its part in the drawing."""
    out = []
    wheel = set(linkage.bodies[linkage.wheel_body])
    for name, points in linkage.bodies.items():
        if name == linkage.wheel_body:
            continue
        shared = [p for p in points if p in wheel]
        ends = [p for p in points if p in linkage.fixed or p in linkage.rack]
        role = "link"
        if linkage.rocker is not None and name == linkage.rocker.body:
            role = "rocker"
        elif linkage.rocker is not None and set(points) == set(linkage.rocker.rod):
            role = "rod"
        elif len(ends) >= 2 and shared:
            role = "arm"
        kept = [*ends, *shared] if role == "arm" else list(points)
        joint = look(place[shared[0]]) if len(shared) == 1 and ends else None
        out.append(Outline(name, role, look(np.stack([place[p] for p in kept])), joint))
    if linkage.spring is not None:
        out.append(Outline("spring", "spring", look(np.stack([place[p] for p in linkage.spring]))))
    return out
