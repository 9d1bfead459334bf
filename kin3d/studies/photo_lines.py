"""The front and side constructions of a car as it stands in one photograph, with how far each place may be off.

Every place is in the car's frame, mm. An *error* is one independent direction in which everything that was adjusted
may be off by one standard deviation; places carry their change along all of them, so that a band, a figure and the
difference of two cars follow from the same numbers.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from kin3d.photographs.camera import Cameras
from kin3d.photographs.lanes import Columns, WheelLanes, look
from kin3d.photographs.located import Located
from kin3d.photographs.marked import LEG, POINT
from kin3d.solve.upright import Upright, rotations, slopes

Array = NDArray[np.float64]
STEP = 0.05  # sigmas that the errors are followed for, to either side
SIDES = ("left", "right")
MIRROR = np.array([[1.0, 1.0, 1.0], [1.0, -1.0, 1.0]])


@dataclass(frozen=True, slots=True)
class CarInPhoto:
    """What a car's sides are in a picture, and how that changes with each error.

    Attributes
    ----------
    upright : Upright
    inputs : ndarray, shape (2, inputs)
        Left and right, as `kin3d.photographs.lanes` takes them.
    along : ndarray, shape (errors, 2, inputs)
    """

    upright: Upright
    inputs: Array
    along: Array


@dataclass(frozen=True, slots=True)
class Lines:
    """Places of the construction over sets; sides are left, right.

    Attributes
    ----------
    contact : ndarray, shape (sets, 2, 3)
    points : ndarray, shape (sets, 2, points, 3)
    arms : dict of str to (ndarray, ndarray)
        Place of each arm's line over its outer joint and unit vector inboard along it, shapes (sets, 2, 3).
    front, side : ndarray, shape (sets, 2, 3)
        Unit vectors of the lines from the contact point: inboard in the front view, rearward in the side view.
    centre : ndarray, shape (sets, 2, 3)
        Instant centres of the front view.
    roll_centre : ndarray, shape (sets, 3)
        Where the two lines of the front view cross, halfway between the contact points along the car.
    height_mm, rise : ndarray, shape (sets,)
        Roll-centre height over the line between the contact points; rise of the left side view's line rearward.
    wheels : (Wheel, Wheel)
        Of the axle looked for and of the other, sides of all sets one after the other.
    """

    contact: Array
    points: Array
    arms: Mapping[str, tuple[Array, Array]]
    front: Array
    side: Array
    centre: Array
    roll_centre: Array
    height_mm: Array
    rise: Array
    wheels: tuple[WheelLanes, WheelLanes]


def standing(located: Located, car: int, photo: int) -> CarInPhoto:
    """One of the cars adjusted together, as it would stand in one of their photographs."""
    model, checked = located.checked.model, located.checked
    inputs, to = model.inputs(car, photo, checked.fit.state.numbers)
    return CarInPhoto(model.parameters.uprights[car], inputs, np.moveaxis(to @ checked.spread.factor, -1, 0))


def marked_parts(located: Located, car: int, photo: int) -> Array:
    """From where to where each of a car's tubes is marked in a photograph, in parts of its length.

    Shape (2, tubes, 2), left and right; 2 and −1 where nothing of the tube is. What lies between two marks is seen;
    beyond them the tub may hide it, of which nothing is known.
    """
    fit, upright = located.checked.fit, located.checked.model.parameters.uprights[car]
    marks, feet = fit.model.cars[car], fit.state.feet[car]
    out = np.tile([2.0, -1.0], (2, len(upright.tubes), 1))
    for k in np.flatnonzero(marks.photo == photo):
        row = out[SIDES.index(marks.lanes[marks.lane[k]][1])]
        for tube, (near, far) in enumerate(upright.tubes):
            at: float | None = None
            if marks.kind[k] == POINT and marks.which[k] in (near, far):
                at = float(marks.which[k] == far)
            elif marks.kind[k] == LEG and (marks.which[k], marks.outer[k]) == (near, far):
                at = float(feet[k]) if feet is not None else None
            if at is not None:
                row[tube] = min(row[tube, 0], at), max(row[tube, 1], at)
    return out


def at_design(given: CarInPhoto) -> CarInPhoto:
    """The left side and its mirror image in the design position, as a point table of the left side says it."""
    inputs, along = given.inputs[[0, 0]].copy(), given.along[:, [0, 0]].copy()
    moved = moved_by(given.upright)
    inputs[:, moved], along[:, :, moved] = 0.0, 0.0
    return CarInPhoto(given.upright, inputs, along)


def moved_by(upright: Upright) -> slice:
    """Inputs that move the axle: travel and rack."""
    at = Columns(len(upright.points))
    return slice(at.travel, at.travel + 2)


def cameras(located: Located, photo: int, padding: int = 0) -> Cameras:
    """The camera of a photograph in all sets: solved, then off along every error, to either side; see `sets`."""
    model, checked = located.checked.model, located.checked
    index = model.parameters.pictures[photo, :10]
    factor = np.vstack([checked.spread.factor[index].T, np.zeros((padding, 10))])
    steps = np.concatenate([np.zeros((1, 10)), STEP * factor, -STEP * factor])
    numbers = checked.fit.state.numbers[index] + steps
    numbers[:, :3] = 0.0
    turn = rotations(steps[:, :3]) @ checked.fit.state.turns[photo]
    count = len(steps)
    half = np.full(count, model.half_px[photo])
    return Cameras(turn, numbers, np.tile(model.reference[photo], (count, 1)), half)


def sets(nominal: Array, along: Array) -> Array:
    """A number as it is, then off along every error to the one side, then to the other."""
    return np.concatenate([nominal[None], nominal + STEP * along, nominal - STEP * along])


def spread_of(values: Array) -> Array:
    """Change along every error of what was worked out over `sets`, shape (errors, …)."""
    many = (len(values) - 1) // 2
    out: Array = (values[1 : many + 1] - values[many + 1 :]) / (2.0 * STEP)
    return out


def lines(given: CarInPhoto) -> Lines:
    """The construction over `sets` of a standing car."""
    upright, at = given.upright, Columns(len(given.upright.points))
    inputs = sets(given.inputs, given.along)
    flat = inputs.reshape(-1, at.total)
    seen = look(upright, flat)
    design = flat[:, : at.own].reshape(len(flat), at.count, 3)
    motion = slopes(upright, design, flat[:, at.travel + 1], seen.pose)
    velocity, turn = motion.centre[:, :, -2], motion.turn[:, :, -2]
    contact = seen.wheels[0].contact()[0]
    drift = velocity + np.cross(turn, contact - seen.wheels[0].centre)
    front = _unit(np.stack([np.zeros(len(flat)), -drift[:, 2], drift[:, 1]], axis=-1))
    side = _unit(np.stack([-drift[:, 2], np.zeros(len(flat)), drift[:, 0]], axis=-1))
    with np.errstate(all="ignore"):
        reach = drift[:, 2] / turn[:, 0]  # how far inboard of the contact point the centre lies
    centre = contact + (reach / -front[:, 1])[:, None] * front
    arms = {n: _arm(seen.points, rows, contact) for n, rows in arm_rows(upright).items()}

    def both(x: Array) -> Array:
        out: Array = x.reshape(-1, 2, *x.shape[1:]) * (MIRROR if x.ndim == 2 else MIRROR[:, None])
        return out

    feet, ways = both(contact), both(front)
    roll, height = _crossing(feet, ways)
    return Lines(
        contact=feet, points=both(seen.points), arms={n: (both(a), both(b)) for n, (a, b) in arms.items()}, front=ways,
        side=both(side), centre=both(centre), roll_centre=roll, height_mm=height,
        rise=(drift[:, 0] / drift[:, 2]).reshape(-1, 2)[:, 0], wheels=seen.wheels,
    )  # fmt: skip


def arm_rows(upright: Upright) -> dict[str, tuple[int, int, int]]:
    """Links that share their outer joint: the arm's name, and rows of its two inner joints and the outer one."""
    out = {}
    for a, b in combinations(range(len(upright.inner)), 2):
        if upright.outer[a] == upright.outer[b]:
            name = upright.points[int(upright.outer[a])].removesuffix("_outer").replace("_", " ")
            out[f"{name} arm"] = (int(upright.inner[a]), int(upright.inner[b]), int(upright.outer[a]))
    return out


def _arm(points: Array, rows: tuple[int, int, int], contact: Array) -> tuple[Array, Array]:
    """The line in which an arm's plane cuts the plane of the front view through the contact point."""
    first, second, outer = (points[:, k] for k in rows)
    normal = np.cross(first - outer, second - outer)
    way = np.stack([np.zeros(len(points)), -np.abs(normal[:, 2]), np.sign(normal[:, 2]) * normal[:, 1]], axis=-1)
    start = outer.copy()
    start[:, 0] = contact[:, 0]
    start[:, 2] -= normal[:, 0] * (contact[:, 0] - outer[:, 0]) / normal[:, 2]
    return start, _unit(way)


def _crossing(feet: Array, ways: Array) -> tuple[Array, Array]:
    """Where left and right line cross, and how high over the line between their feet."""
    apart = (feet[:, 1] - feet[:, 0])[:, 1:]
    one, two = ways[:, 0, 1:], ways[:, 1, 1:]

    def wedge(a: Array, b: Array) -> Array:
        return np.asarray(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0])

    with np.errstate(all="ignore"):
        step = wedge(apart, two) / wedge(one, two)
    place = feet[:, 0, 1:] + step[:, None] * one
    middle = 0.5 * (feet[:, 0, 0] + feet[:, 1, 0])
    base = apart / np.linalg.norm(apart, axis=-1, keepdims=True)
    height = -wedge(base, place - feet[:, 0, 1:])  # from the left foot to the right one: up is to the right of it
    return np.concatenate([middle[:, None], place], axis=1), height


def _unit(x: Array) -> Array:
    out: Array = x / np.linalg.norm(x, axis=-1, keepdims=True)
    return out
