"""The constructions that explain an axle on paper: instant centres, lines of the arms, roll centre, support lines.

Plane geometry only, in the chassis frame, for any drawing of it. In the front view a place is (y, z), in the side view
(x, z), mm. The front view's plane is x = p_x of the wheel's contact point p, the side view's plane y = p_y.

The centres are those of the true motion. The line of an arm is where the plane through its two chassis joints and its
outer joint cuts the view's plane; the lines of two arms cross exactly in the instant centre only where the upright
does not steer with travel, which is why both are given.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kin3d.linkage.layout import CHASSIS, Linkage
from kin3d.measures import anti
from kin3d.measures.corner import Corner
from kin3d.measures.entry import available
from kin3d.measures.instant_centres import front_centre, side_centre
from kin3d.measures.roll_centre import PARALLEL_DEG
from kin3d.spatial.jets import value
from kin3d.spatial.vectors import Vec

Array = NDArray[np.float64]
VIEWS = {"front": (1, 2), "side": (0, 2)}  # coordinates that run right and up in each view


@dataclass(frozen=True, slots=True)
class ArmLine:
    """The line of one arm in a view.

    Attributes
    ----------
    body : str
    joint : ndarray, shape (2,)
        Projection of the outer joint.
    start : ndarray, shape (2,)
        The point of the line straight above or below it.
    direction : ndarray, shape (2,)
        Unit vector along the line, inboard in the front view, and towards the instant centre in the side view.
    """

    body: str
    joint: Array
    start: Array
    direction: Array


@dataclass(frozen=True, slots=True)
class CentreLines:
    """One wheel in one view.

    Attributes
    ----------
    contact, velocity : ndarray, shape (2,)
        Contact point, and the velocity of the upright's material point there, mm per mm of travel.
    centre : ndarray, shape (2,)
        Instant centre; not finite where it is at infinity.
    arms : tuple of ArmLine
        Empty in a layout without arms.
    crossing : ndarray, shape (2,)
        Where the lines of the first two arms cross; NaN without two arms.
    """

    contact: Array
    velocity: Array
    centre: Array
    arms: tuple[ArmLine, ...]
    crossing: Array

    @property
    def direction(self) -> Array:
        """Unit vector from the contact point to the centre, or to where it lies at infinity."""
        square: Array = np.array([-self.velocity[1], self.velocity[0]]) / np.hypot(*self.velocity)
        away = self.centre - self.contact
        return -square if np.isfinite(away).all() and away @ square < 0.0 else square


@dataclass(frozen=True, slots=True)
class Support:
    """The support line of one anti measure: it rises `height_mm` over the ground at `x_mm`.

    At that x, share times wheelbase away from the contact point, `full_mm` (the mass centre's height) means 100 %.

    Attributes
    ----------
    measure, label : str
    percent : float
    from_centre : bool
        The line is square to the path of the wheel centre (the chassis takes the torque), else of the contact point.
    start : ndarray, shape (2,)
        The contact point, from which the line is drawn in both cases.
    slope : float
        Rise dz/dx.
    """

    measure: str
    label: str
    percent: float
    from_centre: bool
    start: Array
    slope: float
    x_mm: float
    height_mm: float
    full_mm: float


@dataclass(frozen=True, slots=True)
class WheelLines:
    """Constructions of one wheel in both views, with the support lines that the car file has the figures for."""

    front: CentreLines
    side: CentreLines
    supports: tuple[Support, ...]
    left_out: dict[str, str]


def roll_centre(left: CentreLines, right: CentreLines) -> Array | None:
    """(y, z) where the lines through both contact points, square to their velocities, cross; None where parallel."""
    square = np.array([left.velocity, right.velocity])
    square = square / np.linalg.norm(square, axis=1, keepdims=True)
    reach = np.array([left.velocity @ left.contact, right.velocity @ right.contact])
    reach = reach / [np.hypot(*left.velocity), np.hypot(*right.velocity)]
    det = float(np.linalg.det(square))
    middle: Array = (left.contact + right.contact) / 2.0
    if abs(det) >= np.sin(np.radians(PARALLEL_DEG)) / 100.0:
        crossing: Array = np.linalg.solve(square, reach)
        return crossing
    # both lines one and the same line: its point nearest to the middle
    off = square @ middle - reach
    return middle - off[0] * square[0] if np.abs(off).max() < 1e-6 else None


def wheel_lines(corner: Corner, places: Array) -> list[WheelLines]:
    """Constructions of every lane of a corner (or of both corners of an axle, stacked) with a loaded radius.

    Parameters
    ----------
    corner : Corner
        With derivatives along travel to order 1.
    places : ndarray, shape (lanes, points, 3)
        In the order of ``corner.linkage.points``, mm.
    """
    count = len(places)
    with np.errstate(all="ignore"):
        centres = {"front": lane_vectors(front_centre(corner), count), "side": lane_vectors(side_centre(corner), count)}
    contact, velocity = lane_vectors(corner.contact, count), lane_vectors(corner.contact_velocity, count)
    supports, left_out = _supports(corner, contact)
    out = []
    for k in range(count):
        views = [_view(corner.linkage, v, places[k], contact[k], velocity[k], centres[v][k]) for v in VIEWS]
        out.append(WheelLines(views[0], views[1], supports[k], left_out))
    return out


def lane_vectors(components: Vec | tuple[object, ...], count: int) -> Array:
    """Values of a vector's components, shape (lanes, components)."""
    return np.stack([np.broadcast_to(value(c), count) for c in components], axis=-1).astype(float)


def _view(linkage: Linkage, view: str, places: Array, contact: Array, velocity: Array, centre: Array) -> CentreLines:
    flat = list(VIEWS[view])
    arms = tuple(_arm_line(body, view, places[list(rows)], contact, centre) for body, rows in arm_rows(linkage).items())
    crossing = _crossing(arms[0], arms[1]) if len(arms) > 1 else np.full(2, np.nan)
    return CentreLines(contact[flat], velocity[flat], centre, arms, crossing)


def arm_rows(linkage: Linkage) -> dict[str, tuple[int, int, int]]:
    """Bodies hinged on two chassis points that carry the upright: rows of the hinge's points and the outer joint."""
    out = {}
    upright = set(linkage.bodies[linkage.wheel_body])
    for body, points in linkage.bodies.items():
        hinge = [p for p in points if p in linkage.fixed]
        outer = [p for p in points if p in upright]
        if body not in (CHASSIS, linkage.wheel_body) and len(hinge) == 2 and len(outer) == 1:
            out[body] = (linkage.index(hinge[0]), linkage.index(hinge[1]), linkage.index(outer[0]))
    return out


def _arm_line(body: str, view: str, corners: Array, contact: Array, centre: Array) -> ArmLine:
    first, second, outer = corners
    across = 0 if view == "front" else 1
    u, v = VIEWS[view]
    normal = np.cross(first - outer, second - outer)
    along = np.array([normal[v], -normal[u]]) / np.hypot(normal[u], normal[v])
    rise = (normal[across] * (contact[across] - outer[across])) / normal[v]
    joint = outer[[u, v]]
    start = joint - np.array([0.0, rise])
    aim = (centre - start) if np.isfinite(centre).all() and view == "side" else np.array([-outer[1], 0.0])
    return ArmLine(body, joint, start, along if along @ aim >= 0.0 else -along)


def _crossing(a: ArmLine, b: ArmLine) -> Array:
    matrix = np.stack([a.direction, -b.direction], axis=1)
    if abs(np.linalg.det(matrix)) < 1e-12:
        return np.full(2, np.nan)
    found: Array = a.start + np.linalg.solve(matrix, b.start - a.start)[0] * a.direction
    return found


def _supports(corner: Corner, contact: Array) -> tuple[list[tuple[Support, ...]], dict[str, str]]:
    """Support lines of every lane, and the measures that the car file lacks figures for."""
    front = corner.axle.name == "front"
    there, left_out = available(corner, [m for m in anti.MEASURES if m.axle == corner.axle.name])
    columns = []
    for measure in there:
        # braking: the torque goes to the upright with outboard brakes; driving: to the chassis
        driving = measure.name == ("anti_lift_pct" if front else "anti_squat_pct")
        slope = (anti.drive_slope if driving else anti.brake_slope)(corner)
        share = (anti.drive_share if driving else anti.brake_share)(corner)
        reach = (-1.0 if front else 1.0) * share * float(corner.car.wheelbase_mm or 0.0)
        rise = -np.broadcast_to(value(slope), len(contact))
        percent = np.broadcast_to(value(measure.compute(corner)), len(contact))
        from_centre = driving or corner.car.brakes == "inboard"
        full = float(corner.car.cg_height_mm or 0.0)
        columns.append(
            [
                Support(
                    measure.name, measure.label, float(percent[k]), from_centre, contact[k, [0, 2]], float(rise[k]),
                    float(contact[k, 0] + reach), float(rise[k] * reach), full,
                )
                for k in range(len(contact))
            ]
        )  # fmt: skip
    return [tuple(column[k] for column in columns) for k in range(len(contact))], left_out
