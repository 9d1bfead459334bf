"""What one side of a car shows in one photograph: places of points and wheels, with exact derivatives along its inputs.

Inputs of a lane, in this order: coordinates of the linkage's points (left, or the right side's mirror image), camber,
toe, loaded radius, rim radius, rim offset; travel, rack; the other axle's wheel centre (three, its height over the
height that radius and camber give), camber, toe, loaded radius, rim radius, rim offset; its travel, and its steer.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kin3d.solve.upright import Pose, Upright, crossed, pose, skew, slopes

Array = NDArray[np.float64]
REST = 17  # inputs beside the coordinates
UP = np.array([0.0, 0.0, 1.0])


@dataclass(frozen=True, slots=True)
class Columns:
    """Where a lane's inputs stand when the linkage has `count` points; the five of a wheel run from its camber."""

    count: int

    @property
    def own(self) -> int:
        """First of the wheel looked for."""
        return 3 * self.count

    @property
    def travel(self) -> int:
        """Travel; the rack follows."""
        return 3 * self.count + 5

    @property
    def centre(self) -> int:
        """First of the other wheel's centre."""
        return 3 * self.count + 7

    @property
    def other(self) -> int:
        """First of the other wheel."""
        return 3 * self.count + 10

    @property
    def rear(self) -> int:
        """The other axle's travel; its steer follows."""
        return 3 * self.count + 15

    @property
    def total(self) -> int:
        """How many there are."""
        return 3 * self.count + REST


@dataclass(frozen=True, slots=True)
class WheelLanes:
    """Wheels over lanes, in the left side's frame.

    Attributes
    ----------
    centre, axis : ndarray, shape (lanes, 3)
        Wheel centre, mm; unit spin axis outboard.
    plane : ndarray, shape (lanes, 2, 3)
        Two unit vectors across the axis.
    radius, rim, offset : ndarray, shape (lanes,)
        Loaded radius, radius of the rim's edge, its plane outboard of the centre, mm.
    by_centre, by_axis : ndarray, shape (lanes, 3, inputs)
        Derivatives of centre and axis.
    first : int
        Column of the wheel's camber; radius, rim and offset are the third to fifth.
    """

    centre: Array
    axis: Array
    plane: Array
    radius: Array
    rim: Array
    offset: Array
    by_centre: Array
    by_axis: Array
    first: int

    def contact(self) -> tuple[Array, Array]:
        """Lowest point of the wheel's disc and its derivatives, shapes (lanes, 3) and (lanes, 3, inputs)."""
        lean = self.axis[:, 2]
        root = np.sqrt(1.0 - lean**2)
        down = (UP - lean[:, None] * self.axis) / root[:, None]
        place = self.centre - self.radius[:, None] * down
        tilt = self.by_axis[:, 2]
        change = -lean[:, None, None] * self.by_axis - self.axis[:, :, None] * tilt[:, None]
        change = (change + down[:, :, None] * (lean / root)[:, None, None] * tilt[:, None]) / root[:, None, None]
        slope = self.by_centre - self.radius[:, None, None] * change
        slope[:, :, self.first + 2] -= down
        return place, slope

    def edge(self, lane: NDArray[np.intp], angle: Array) -> tuple[Array, Array]:
        """Points of the rim's edge and the tangent there, shapes (n, 3); one of the angles (rad) for each."""
        u, w = self.plane[lane, 0], self.plane[lane, 1]
        cos, sin = np.cos(angle)[:, None], np.sin(angle)[:, None]
        rim, offset = self.rim[lane][:, None], self.offset[lane][:, None]
        return self.centre[lane] + offset * self.axis[lane] + rim * (cos * u + sin * w), rim * (cos * w - sin * u)

    def by_edge(self, lane: NDArray[np.intp], angle: Array) -> Array:
        """Derivatives of points of the edge but for their place along it, shape (n, 3, inputs)."""
        radial = np.cos(angle)[:, None] * self.plane[lane, 0] + np.sin(angle)[:, None] * self.plane[lane, 1]
        axis, by_axis = self.axis[lane], self.by_axis[lane]
        along = (radial[:, None] @ by_axis)[:, 0]
        out: Array = self.by_centre[lane] + self.offset[lane][:, None, None] * by_axis
        out -= (self.rim[lane][:, None] * axis)[:, :, None] * along[:, None]
        out[:, :, self.first + 3] += radial
        out[:, :, self.first + 4] += axis
        return out


@dataclass(frozen=True, slots=True)
class Seen:
    """Lanes solved.

    Attributes
    ----------
    pose : Pose
    points : ndarray, shape (lanes, points, 3)
    by_points : ndarray, shape (lanes, points, 3, inputs)
    by_turn : ndarray, shape (lanes, 3, inputs)
        Rotation vectors of the uprights' turns.
    wheels : (Wheel, Wheel)
        Of the axle looked for, and of the other.
    """

    pose: Pose
    points: Array
    by_points: Array
    by_turn: Array
    wheels: tuple[WheelLanes, WheelLanes]


def look(upright: Upright, inputs: Array, start: Pose | None = None) -> Seen:
    """Solve lanes; `inputs` has the shape (lanes, inputs), `start` is the pose of a call with like inputs."""
    count = len(upright.points)
    at = Columns(count)
    lanes = len(inputs)
    design = inputs[:, : at.own].reshape(lanes, count, 3)
    travel, rack = inputs[:, at.travel], inputs[:, at.travel + 1]
    found = pose(upright, design, travel, rack, start)
    if start is not None and not found.closed.all():
        found = pose(upright, design, travel, rack)
    slope = slopes(upright, design, rack, found)
    index = np.r_[: at.own, at.travel, at.travel + 1]
    by_points = np.zeros((lanes, count, 3, at.total))
    by_points[..., index] = slope.points
    by_turn = np.zeros((lanes, 3, at.total))
    by_turn[..., index] = slope.turn
    axis, plane, by_angle = spin(inputs[:, at.own], inputs[:, at.own + 1])
    turned = (found.turn @ axis[..., None])[..., 0]
    by_axis = skew(turned).transpose(0, 2, 1) @ by_turn
    by_axis[..., at.own : at.own + 2] = found.turn @ by_angle
    radius, rim, offset = inputs[:, at.own + 2 : at.own + 5].T
    across = plane @ found.turn.transpose(0, 2, 1)
    own = WheelLanes(found.centre, turned, across, radius, rim, offset, by_points[:, upright.centre], by_axis, at.own)
    return Seen(found, found.points(upright, design, rack), by_points, by_turn, (own, _other(inputs, at)))


def _other(inputs: Array, at: Columns) -> WheelLanes:
    """The other axle's wheels: they go straight up, and turn about the vertical where they steer."""
    camber, toe, radius, rim, offset = inputs[:, at.other : at.other + 5].T
    axis, plane, by_angle = spin(camber, toe - inputs[:, at.rear + 1])
    centre = inputs[:, at.centre : at.centre + 3].copy()
    centre[:, 2] += radius * np.cos(camber) + inputs[:, at.rear]
    by_centre = np.zeros((len(inputs), 3, at.total))
    by_centre[:, range(3), range(at.centre, at.centre + 3)] = 1.0
    by_centre[:, 2, at.other] = -radius * np.sin(camber)
    by_centre[:, 2, at.other + 2] = np.cos(camber)
    by_centre[:, 2, at.rear] = 1.0
    by_axis = np.zeros((len(inputs), 3, at.total))
    by_axis[..., at.other : at.other + 2] = by_angle
    by_axis[..., at.rear + 1] = -by_angle[..., 1]
    return WheelLanes(centre, axis, plane, radius, rim, offset, by_centre, by_axis, at.other)


def spin(camber: Array, toe: Array) -> tuple[Array, Array, Array]:
    """Spin axis of a left wheel, two unit vectors across it, and its derivatives along camber and toe.

    Shapes (lanes, 3), (lanes, 2, 3), (lanes, 3, 2); signs as in conventions.md.
    """
    cc, sc, ct, st = np.cos(camber), np.sin(camber), np.cos(toe), np.sin(toe)
    zero = np.zeros_like(cc)
    axis = np.stack([st * cc, ct * cc, -sc], axis=-1)
    ahead = np.stack([ct, -st, zero], axis=-1)
    upward = crossed(ahead, axis)
    by_camber = np.stack([-st * sc, -ct * sc, -cc], axis=-1)
    by_toe = np.stack([ct * cc, -st * cc, zero], axis=-1)
    return axis, np.stack([ahead, upward], axis=1), np.stack([by_camber, by_toe], axis=-1)
