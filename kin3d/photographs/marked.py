"""The marks of one car as arrays: where in the car's frame each stands, the feet on curves, and their derivatives."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kin3d.photographs.camera import Cameras
from kin3d.photographs.feet import MarkCurves
from kin3d.photographs.lanes import Columns, Seen
from kin3d.photographs.parameters import CarParameters, Parameters
from kin3d.reading.photo_records import KINDS, Mark
from kin3d.solve.upright import Upright, skew

Array = NDArray[np.float64]
Index = NDArray[np.intp]
POINT, LEG, RIM, CONTACT = range(4)


@dataclass(frozen=True, slots=True)
class CarMarks:
    """The marks of one car as arrays, and how its lanes depend on the parameters.

    Attributes
    ----------
    lanes : tuple of (int, str)
        Photograph and side.
    to_inputs : ndarray, shape (lanes, inputs, parameters)
        Constant factors; radius and camber add to the wheel centre's height, see `lane_inputs`.
    lane, photo, kind, which, outer : ndarray of int, shape (marks,)
        `which` is the point, or the wheel: 0 of the axle looked for, 1 of the other; `outer` the far end of a leg.
    pixels, sigma : ndarray, shapes (marks, 2), (marks,)
    row, mark, part : ndarray of int, shape (rows of this car,)
        Row among all rows, its mark among those of this car, and 0 or 1 for u or v, −1 for a distance.
    """

    upright: Upright
    lanes: tuple[tuple[int, str], ...]
    block: CarParameters
    to_inputs: Array
    lane: Index
    photo: Index
    kind: Index
    which: Index
    outer: Index
    pixels: Array
    sigma: Array
    row: Index
    mark: Index
    part: Index

    @property
    def mirror(self) -> Array:
        """+1 for lanes on the left, −1 for those on the right."""
        return np.array([1.0 if side == "left" else -1.0 for _, side in self.lanes])


def rows_of(mark: Mark) -> int:
    """Two rows for a place, one for a distance."""
    return 2 if mark.kind in ("point", "contact") else 1


def car_marks(parameters: Parameters, number: int, marks: Sequence[tuple[int, Mark]], rows: Index) -> CarMarks:
    """The marks of one car of all; `rows` is the mark that each row belongs to."""
    car, upright, block = parameters.cars[number], parameters.uprights[number], parameters.blocks[number]
    own = [(k, m) for k, (c, m) in enumerate(marks) if c == number]
    names = {p.name: k for k, (c, p) in enumerate(parameters.photos) if c == number}
    lanes = tuple(dict.fromkeys((names[m.photo], str(m.side)) for _, m in own))
    row = np.flatnonzero(np.isin(rows, [k for k, _ in own]))
    mark = np.searchsorted([k for k, _ in own], rows[row])
    second = np.r_[False, rows[row][1:] == rows[row][:-1]]
    single = np.array([rows_of(m) == 1 for _, m in own], dtype=bool)
    return CarMarks(
        upright=upright,
        lanes=lanes,
        block=block,
        to_inputs=to_inputs(parameters, number, lanes),
        lane=_whole(lanes.index((names[m.photo], str(m.side))) for _, m in own),
        photo=_whole(names[m.photo] for _, m in own),
        kind=_whole(KINDS.index(m.kind) for _, m in own),
        which=_whole(upright.index(m.name) if m.kind in ("point", "leg") else int(m.name != car.axle) for _, m in own),
        outer=_whole(upright.index(upright.far_end(m.name)) if m.kind == "leg" else 0 for _, m in own),
        pixels=np.array([(m.u, m.v) for _, m in own], dtype=float).reshape(-1, 2),
        sigma=np.array([m.sigma_px for _, m in own], dtype=float),
        row=row,
        mark=mark,
        part=np.where(single[mark], -1, second.astype(int)) if len(row) else np.zeros(0, dtype=np.intp),
    )


def _whole(values: Iterable[int]) -> Index:
    return np.array(list(values), dtype=np.intp)


def to_inputs(parameters: Parameters, number: int, lanes: Sequence[tuple[int, str]]) -> Array:
    """Factors from parameters to each lane's inputs; see `Columns` and `PICTURE`."""
    block, upright = parameters.blocks[number], parameters.uprights[number]
    at = Columns(len(upright.points))
    out = np.zeros((len(lanes), at.total, len(parameters.listed)))
    front = parameters.cars[number].axle == "front"
    for k, (photo, side) in enumerate(lanes):
        sign = 1.0 if side == "left" else -1.0
        to = out[k]
        travel, apart, rack, rear, rear_apart, steer = parameters.pictures[photo, 10:]
        for i, point in np.ndenumerate(block.points):
            if point >= 0:
                to[3 * i[0] + i[1], point] = 1.0
        to[range(at.own, at.own + 5), block.wheel] = 1.0
        to[at.travel, [travel, apart]] = 1.0, sign
        to[at.travel + 1, rack] = sign
        base = at.centre if front else 3 * upright.centre
        to[base, block.other_centre[0]] = -1.0
        to[at.centre + 1, block.other_centre[1]] = 1.0
        to[range(at.other, at.other + 5), block.other_wheel] = 1.0
        to[at.rear, [rear, rear_apart]] = 1.0, sign
        to[at.rear + 1, steer] = sign
        if side == "right":
            to[range(at.own), block.right.ravel()] += 1.0
            to[[at.own, at.own + 1], block.right_angles] = 1.0
            to[range(at.centre, at.centre + 3), block.right_other] = 1.0
    return out


def lane_inputs(car: CarMarks, numbers: Array) -> Array:
    """Inputs of each lane, shape (lanes, inputs).

    In the design position the tyres stand on z = 0, so that the wheel centre is at radius times cosine of the camber.
    """
    inputs: Array = car.to_inputs @ numbers
    camber, radius = numbers[car.block.wheel[[0, 2]]]
    inputs[:, 3 * car.upright.centre + 2] += radius * np.cos(camber)
    return inputs


def refer(car: CarMarks, inputs: Array, reference: Array) -> None:
    """Fill in the middle of what is marked in each photograph of a car."""
    at = Columns(len(car.upright.points))
    wheels = np.array([3 * car.upright.centre, at.centre])
    first = np.where((car.kind == POINT) | (car.kind == LEG), 3 * car.which, wheels[np.minimum(car.which, 1)])
    places = inputs[car.lane[:, None], first[:, None] + np.arange(3)]
    places[:, 1] *= car.mirror[car.lane]
    for photo in np.unique(car.photo):
        reference[photo] = places[car.photo == photo].mean(axis=0)


def marked_places(
    car: CarMarks, cameras: Cameras, seen: Seen, numbers: Array, start: Array | None
) -> tuple[Array, Array, Array]:
    """Places in the car's frame of what is marked; of curves, the foot nearest to the mark and the tangent there.

    Returns
    -------
    place : ndarray, shape (marks, 3)
    foot : ndarray, shape (marks,)
        Part of the way to a leg's outer end, or angle on a rim (rad).
    tangent : ndarray, shape (marks, 3)
        Change of the place along the curve.
    """
    mirror = np.ones((len(car.lane), 3))
    mirror[:, 1] = car.mirror[car.lane]
    place, tangent = np.empty((len(car.lane), 3)), np.zeros((len(car.lane), 3))
    marked = car.kind == POINT
    place[marked] = seen.points[car.lane[marked], car.which[marked]] + _joints(car, seen, numbers, marked)
    touching = car.kind == CONTACT
    for wheel, which in zip(seen.wheels, (0, 1), strict=True):
        mine = touching & (car.which == which)
        place[mine] = wheel.contact()[0][car.lane[mine]]
    curves = ~marked & ~touching
    foot = _feet(car, cameras, seen, np.flatnonzero(curves), None if start is None else start)
    place[curves], tangent[curves] = _on_curves(car, seen, np.flatnonzero(curves), foot[curves])
    return place * mirror, foot, tangent * mirror


def _joints(car: CarMarks, seen: Seen, numbers: Array, marked: NDArray[np.bool_]) -> Array:
    """How far each marked joint is off its centre, in its lane's frame, shape (marked, 3), mm."""
    which = car.which[marked]
    shift = numbers[car.block.joints[which]]
    turned = (seen.pose.turn[car.lane[marked]] @ shift[..., None])[..., 0]
    return np.where(car.upright.on_upright[which][:, None], turned, shift)


def _on_curves(car: CarMarks, seen: Seen, chosen: Index, foot: Array) -> tuple[Array, Array]:
    """Places and tangents on the curves of chosen marks, in the lanes' frames."""
    lane, which = car.lane[chosen], car.which[chosen]
    place, tangent = np.empty((len(chosen), 3)), np.empty((len(chosen), 3))
    legs = car.kind[chosen] == LEG
    inner = seen.points[lane[legs], which[legs]]
    tangent[legs] = seen.points[lane[legs], car.outer[chosen[legs]]] - inner
    place[legs] = inner + foot[legs, None] * tangent[legs]
    for k, wheel in enumerate(seen.wheels):
        mine = ~legs & (which == k)
        place[mine], tangent[mine] = wheel.edge(lane[mine], foot[mine])
    return place, tangent


def _feet(car: CarMarks, cameras: Cameras, seen: Seen, chosen: Index, start: Array | None) -> Array:
    """Where on its projected curve the foot of each chosen mark is."""
    out = np.zeros(len(car.lane))
    if not len(chosen):
        return out
    lane, which = car.lane[chosen], car.which[chosen]
    legs = car.kind[chosen] == LEG
    base, first, second = (np.zeros((len(chosen), 3)) for _ in range(3))
    base[legs] = seen.points[lane[legs], which[legs]]
    first[legs] = seen.points[lane[legs], car.outer[chosen[legs]]] - base[legs]
    for k, wheel in enumerate(seen.wheels):
        mine = ~legs & (which == k)
        at = lane[mine]
        base[mine] = wheel.centre[at] + wheel.offset[at, None] * wheel.axis[at]
        first[mine], second[mine] = (wheel.rim[at, None] * wheel.plane[at, n] for n in (0, 1))
    for way in (base, first, second):
        way[:, 1] *= car.mirror[lane]
    curves = MarkCurves.of(cameras, car.photo[chosen], legs, base, first, second)
    out[chosen] = curves.feet(car.pixels[chosen], None if start is None else start[chosen])
    return out


def pull_of(car: CarMarks, by_place: Array, tangent: Array) -> Array:
    """What takes two pixels to each row, shape (rows, 2), in 1/px: an axis of the picture, or the curve's normal."""
    along = (by_place @ tangent[..., None])[..., 0]
    length = np.hypot(*along.T)
    normal = np.stack([-along[:, 1], along[:, 0]], axis=-1) / np.where(length > 0.0, length, 1.0)[:, None]
    rows = np.where((car.part < 0)[:, None], normal[car.mark], np.eye(2)[np.maximum(car.part, 0)])
    out: Array = rows / car.sigma[car.mark][:, None]
    return out


def marked_slopes(car: CarMarks, seen: Seen, numbers: Array, foot: Array) -> Array:
    """Derivatives of marked places along their lane's inputs, in the lane's frame, shape (marks, 3, inputs)."""
    out = np.empty((len(car.lane), 3, seen.by_turn.shape[-1]))
    marked = np.flatnonzero(car.kind == POINT)
    lane, which = car.lane[marked], car.which[marked]
    out[marked] = seen.by_points[lane, which]
    carried = car.upright.on_upright[which]
    shift = _joints(car, seen, numbers, car.kind == POINT)
    # a marked joint goes along with its upright, so that the upright's turn moves what it is off its centre
    out[marked[carried]] -= skew(shift[carried]) @ seen.by_turn[lane[carried]]
    legs = np.flatnonzero(car.kind == LEG)
    part = foot[legs][:, None, None]
    out[legs] = (1.0 - part) * seen.by_points[car.lane[legs], car.which[legs]]
    out[legs] += part * seen.by_points[car.lane[legs], car.outer[legs]]
    for k, wheel in enumerate(seen.wheels):
        rims = np.flatnonzero((car.kind == RIM) & (car.which == k))
        out[rims] = wheel.by_edge(car.lane[rims], foot[rims])
        touching = np.flatnonzero((car.kind == CONTACT) & (car.which == k))
        if len(touching):
            out[touching] = wheel.contact()[1][car.lane[touching]]
    return out
