"""What explains an axle on paper: bodies, wheels, contact points, instant centres, lines of the arms, roll centre.

One record for all drawings, the report and the window. Places are in space and in the vehicle frame (mm, the chassis
holds still); the ground is told by its mid-point under the axle and its three directions, so that whoever draws over
the ground turns what he draws. `kin3d.studies.wheel_construction` has what belongs to one wheel.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from kin3d.errors import Finding, RequestError, Severity
from kin3d.linkage.car import Car
from kin3d.linkage.design import SIDES
from kin3d.linkage.keys import CarData
from kin3d.linkage.names import AxleName, Side
from kin3d.measures.corner_pair import CornerPair, design_contact
from kin3d.measures.roll_centre import PARALLEL_DEG, crossing, force_height, line_angle
from kin3d.solve.drives import RIGHT, TRAVEL
from kin3d.solve.lanes import Lanes, Solved, Status
from kin3d.solve.limits import limit_sentence
from kin3d.solve.model import AxleModel
from kin3d.studies.car import CarModel
from kin3d.studies.drive_values import drive_values
from kin3d.studies.ground_contact import Stance, Standing, directions, need_radius, put_on_ground
from kin3d.studies.wheel_construction import DrawnWheel, WheelLines, drawn_wheel, vectors, wheel_lines

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Ground:
    """Where the tyres of an axle stand.

    Attributes
    ----------
    middle : ndarray, shape (3,)
        Mid-point of the contact points.
    axes : ndarray, shape (3, 3)
        The ground's x, its y and its normal, as rows.
    roll_centre : ndarray, shape (2,)
        Its offset to the left of the middle and its height over the ground; infinite where the lines are parallel.
    parallel : bool
        Whether the lines are so nearly parallel that their crossing says little.
    force_height_mm : float
        Roll-centre height from jacking forces.
    mass_centre : ndarray, shape (3,), or None
        The body's mass centre, drawn over this axle: its height and offset count.
    """

    middle: Array
    axes: Array
    roll_centre: Array
    parallel: bool
    force_height_mm: float
    mass_centre: Array | None

    @property
    def roll_centre_place(self) -> Array | None:
        """The roll centre in the vehicle frame, shape (3,); None where the lines are parallel."""
        if not np.isfinite(self.roll_centre).all():
            return None
        return np.asarray(self.middle + self.roll_centre @ self.axes[1:])

    def over(self, places: Array) -> Array:
        """Places (…, 3) along the ground's directions from its middle."""
        return np.asarray((places - self.middle) @ self.axes.T)


@dataclass(frozen=True, slots=True)
class AxleConstruction:
    """One axle in one position, vehicle frame.

    Attributes
    ----------
    heave_mm, roll_deg, pitch_deg, rack_mm : float
        The position asked for; heave is the travel of both wheels where they were not put on the ground.
    radius_mm : float or None
        Loaded radius; None: no contact points, so that nothing is constructed.
    side : {"left", "right"}
        The side that the car file gives.
    chassis : ndarray, shape (n, 3)
        Joints on the chassis, both sides.
    ground : Ground or None
    shift_mm : float
        What has to be added to x to come to the frame of the car's other axle.
    """

    title: str
    axle: AxleName
    heave_mm: float
    roll_deg: float
    pitch_deg: float
    rack_mm: float
    radius_mm: float | None
    side: Side
    data: CarData
    wheels: tuple[DrawnWheel, DrawnWheel]
    chassis: Array
    ground: Ground | None
    shift_mm: float

    @property
    def is_design(self) -> bool:
        """Whether nothing is moved."""
        return not (self.heave_mm or self.roll_deg or self.pitch_deg or self.rack_mm)

    def wheel(self, side: Side | None = None) -> DrawnWheel:
        """The wheel of a side, by default of the one that the car file gives."""
        return self.wheels[SIDES.index(side or self.side)]


def construct(
    car: Car, axle: AxleName, heave_mm: float = 0.0, roll_deg: float = 0.0, rack_mm: float = 0.0
) -> AxleConstruction:
    """Geometry of one axle in one position, contact points on the ground.

    Raises
    ------
    RequestError
        When the position is out of reach, or data are missing.
    """
    drive_values({"heave": heave_mm, "rack": rack_mm, "roll": roll_deg})
    model = AxleModel.of(car, axle)
    need_radius([model])
    heave, roll, rack, pitch = (np.full(1, float(v)) for v in (heave_mm, np.radians(roll_deg), rack_mm, 0.0))
    stance = Stance(heave, roll, rack, pitch)
    standing = put_on_ground([model], stance)
    _refuse_unreached(standing)
    return _built(car, model, stance, *standing.axles[0])[0]


def _refuse_unreached(standing: Standing) -> None:
    """Nothing can be drawn in a position out of reach: what a sweep warns of is an error here."""
    if (standing.status != Status.OK).any():
        raise RequestError([replace(f, severity=Severity.ERROR) for f in standing.findings])


def construct_car(
    car: Car, heave_mm: float = 0.0, pitch_deg: float = 0.0, roll_deg: float = 0.0, rack_mm: float = 0.0
) -> tuple[AxleConstruction, AxleConstruction]:
    """Geometry of both axles on one ground, front and rear; pitch counts from the design position."""
    drive_values({"heave": heave_mm, "rack": rack_mm, "pitch": pitch_deg, "roll": roll_deg})
    model = CarModel.of(car)
    given = (heave_mm, np.radians(pitch_deg), np.radians(roll_deg), rack_mm)
    stance = model.stance(*(np.full(1, float(v)) for v in given))
    standing = model.stand(stance)
    _refuse_unreached(standing)
    front, rear = (
        _built(car, m, stance, *standing.axles[k], shift=x, pitch=pitch_deg)[0]
        for k, (m, x) in enumerate(zip(model.axles, model.shifts, strict=True))
    )
    return front, rear


def construct_at(
    car: Car, axle: AxleName, travel_mm: Sequence[float], rack_mm: float = 0.0
) -> tuple[AxleConstruction, ...]:
    """An axle with both wheels at chosen travels, in rising order, the design position among them.

    Parameters
    ----------
    travel_mm : sequence of float
        Of both wheels; the design position (travel 0, rack 0) is added where it is not among them.
    rack_mm : float
        To the left positive.

    Raises
    ------
    RequestError
        An axle that is not there, a travel that is not a number or is out of reach: all of them at once.
    """
    drive_values({"travel": [0.0, *travel_mm], "rack": rack_mm})
    drives = sorted({(0.0, 0.0), *((float(t) + 0.0, float(rack_mm) + 0.0) for t in travel_mm)})
    model = AxleModel.of(car, axle)
    travels, racks = np.array(drives).T
    lanes = model.pair(np.stack([travels, travels]), racks)
    solved = model.kernel.solve(model.variants, lanes)
    missed = {
        f"travel {lanes.travel[k]:+g} mm is out of reach: {limit_sentence(lanes, solved, int(k)).text}": None
        for k in np.flatnonzero(solved.status != Status.OK)
    }
    if missed:
        raise RequestError([Finding("out-of-reach", text, str(car.source)) for text in missed])
    flat = np.zeros(len(drives))
    return tuple(_built(car, model, Stance(travels, flat, racks, flat), lanes, solved))


def _built(
    car: Car, model: AxleModel, stance: Stance, lanes: Lanes, solved: Solved, shift: float = 0.0, pitch: float = 0.0
) -> list[AxleConstruction]:
    """All positions of a stance; lanes are all left corners, then all right ones."""
    count, linkage = stance.count, model.linkage
    places = model.kernel.points(model.variants, lanes, solved)
    fixed = [linkage.index(p) for p in linkage.fixed]
    grounds: list[Ground | None] = [None] * count
    lines: list[WheelLines | None] = [None] * (2 * count)
    if model.axle.loaded_radius_mm is not None:
        pair = CornerPair.on_ground(model, lanes, solved, stance.roll_rad, stance.pitch_rad)
        standing = _grounds(car, stance, pair)
        grounds = [*standing]
        lines = [*wheel_lines(linkage, pair, places, [g.axes for g in standing])]
    out = []
    for k in range(count):
        both = [k, k + count]
        left, right = (
            drawn_wheel(
                linkage,
                places[j],
                places[both[1 - side]],
                SIDES[side],
                float(lanes.drive((TRAVEL, RIGHT)[side])[j]),
                lines[j],
            )
            for side, j in enumerate(both)
        )
        out.append(
            AxleConstruction(
                title=car.title,
                axle=model.axle.name,
                heave_mm=float(stance.heave_mm[k]),
                roll_deg=float(np.degrees(stance.roll_rad[k])),
                pitch_deg=pitch,
                rack_mm=float(stance.rack_mm[k]),
                radius_mm=model.axle.loaded_radius_mm,
                side=model.axle.side,
                data=car.data,
                wheels=(left, right),
                chassis=places[both][:, fixed].reshape(-1, 3),
                ground=grounds[k],
                shift_mm=shift,
            )
        )
    return out


# --- what stands on the ground --------------------------------------------------------------------------------------


def _grounds(car: Car, stance: Stance, pair: CornerPair) -> list[Ground]:
    count = stance.count
    feet = vectors(pair.contact, 2 * count)
    with np.errstate(all="ignore"):
        found = (*crossing(pair), line_angle(pair), force_height(pair))
        offset, height, angle, finite = (np.broadcast_to(x, count) for x in found)
    level = car.data.cg_height_mm
    design = None if level is None else design_contact(pair.model).mean(axis=0) + np.array([0.0, 0.0, level])
    out = []
    for k in range(count):
        middle = (feet[k] + feet[k + count]) / 2.0
        axes = directions(float(stance.roll_rad[k]), float(stance.pitch_rad[k]))
        place = np.array([float(offset[k]), float(height[k])])
        parallel = bool(np.degrees(angle[k]) < PARALLEL_DEG)
        out.append(Ground(middle, axes, place, parallel, float(finite[k]), design))
    return out
