"""An axle with both wheels at chosen travels, in the chassis frame, with the plane constructions of each position."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kin3d.errors import Finding, RequestError
from kin3d.linkage.car import Car
from kin3d.linkage.names import AxleName
from kin3d.measures.corner import Corner
from kin3d.solve.kernel import Solved
from kin3d.solve.lanes import Lanes
from kin3d.solve.limits import limit_sentence
from kin3d.solve.model import AxleModel
from kin3d.solve.status import Status
from kin3d.studies.centre_lines import WheelLines, lane_vectors, roll_centre, wheel_lines

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Pose:
    """An axle with both wheels at one travel.

    Attributes
    ----------
    travel_mm, rack_mm : float
    places : ndarray, shape (2, points, 3)
        Points of left and right in the order of ``linkage.points``, mm, chassis frame.
    spin : ndarray, shape (2, 3)
        Unit spin axes, pointing outboard.
    wheels : tuple of WheelLines or None
        Left and right; None where no loaded radius is given, so that there is no contact point.
    roll_centre : ndarray, shape (2,), or None
        (y, z) where the lines from both contact points cross; None where they are parallel.
    ground_mm : float or None
        z midway between the contact points.
    """

    travel_mm: float
    rack_mm: float
    places: Array
    spin: Array
    wheels: tuple[WheelLines, WheelLines] | None
    roll_centre: Array | None
    ground_mm: float | None


@dataclass(frozen=True, slots=True)
class AxlePoses:
    """An axle at chosen travels, in rising order, the design position among them."""

    title: str
    model: AxleModel
    poses: tuple[Pose, ...]

    @property
    def design(self) -> Pose:
        """The pose with travel 0 and rack 0."""
        return next(p for p in self.poses if not p.travel_mm and not p.rack_mm)


def axle_poses(car: Car, axle: AxleName, travel_mm: Sequence[float], rack_mm: float = 0.0) -> AxlePoses:
    """Solve both corners of an axle at chosen travels, with the constructions of each.

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
    if not np.isfinite([*travel_mm, rack_mm]).all():
        text = f"travel and rack: finite numbers in mm are expected, found {list(travel_mm)} and {rack_mm}"
        raise RequestError(Finding("drive-empty", text))
    drives = sorted({(0.0, 0.0), *((float(t) + 0.0, float(rack_mm) + 0.0) for t in travel_mm)})
    model = AxleModel.of(car, axle)
    travels, racks = np.array(drives).T
    lanes = model.kernel.lanes(model.variants, travels, racks)
    solved = model.kernel.solve(model.variants, lanes)
    _check(car, lanes, solved)
    corner = Corner.of(model, lanes, solved, 1)
    places = model.kernel.points(model.variants, lanes, solved)
    spin = lane_vectors(corner.spin, lanes.count)
    wheels = wheel_lines(corner, places) if model.axle.loaded_radius_mm is not None else []
    poses = []
    for k, (travel, rack) in enumerate(drives):
        both = [k, k + len(drives)]  # left, right
        pair = (wheels[both[0]], wheels[both[1]]) if wheels else None
        poses.append(_pose(travel, rack, places[both], spin[both], pair))
    return AxlePoses(car.title, model, tuple(poses))


def _check(car: Car, lanes: Lanes, solved: Solved) -> None:
    """Refuse travels that are out of reach, each said once for both sides."""
    missed = {
        f"travel {lanes.travel[k]:+g} mm is out of reach: {limit_sentence(lanes, solved, int(k)).text}": None
        for k in np.flatnonzero(solved.status != Status.OK)
    }
    if missed:
        raise RequestError([Finding("out-of-reach", text, str(car.source)) for text in missed])


def _pose(travel: float, rack: float, places: Array, spin: Array, wheels: tuple[WheelLines, WheelLines] | None) -> Pose:
    if wheels is None:
        return Pose(travel, rack, places, spin, None, None, None)
    left, right = (w.front for w in wheels)
    ground = float(left.contact[1] + right.contact[1]) / 2.0
    return Pose(travel, rack, places, spin, wheels, roll_centre(left, right), ground)
