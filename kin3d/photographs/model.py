"""The adjustment's equations: what every mark says of the parameters, as residuals in sigmas with exact derivatives."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from kin3d.photographs.camera import Cameras, rotation_vector, straight_on
from kin3d.photographs.lanes import Seen, look
from kin3d.photographs.marked import (
    POINT,
    CarMarks,
    car_marks,
    lane_inputs,
    marked_places,
    marked_slopes,
    pull_of,
    refer,
    rows_of,
    to_inputs,
)  # fmt: skip
from kin3d.photographs.parameters import Parameters
from kin3d.reading.photo_records import Mark
from kin3d.solve.upright import Pose, rotations

Array = NDArray[np.float64]
Index = NDArray[np.intp]


@dataclass(frozen=True, slots=True)
class State:
    """Values of all parameters.

    Attributes
    ----------
    numbers : ndarray, shape (parameters,)
        The turns of cameras stand in `turns`; here they are 0, or how far a drawing is from straight on.
    turns : ndarray, shape (photographs, 3, 3)
    feet : tuple of ndarray
        Car by car, where on its curve each mark's foot was; only a start for the next search.
    poses : tuple of Pose or None
        Car by car; likewise.
    """

    numbers: Array
    turns: Array
    feet: tuple[Array | None, ...]
    poses: tuple[Pose | None, ...]


@dataclass(frozen=True, slots=True)
class MarkEquations:
    """Residuals of all marks and their derivatives.

    Attributes
    ----------
    residual : ndarray, shape (rows,)
        Seen by the model minus marked, in sigmas; two rows for a point or a contact, one for a leg or a rim.
    jacobian : ndarray, shape (rows, parameters)
    state : State
        With feet and poses of this evaluation.
    sound : bool
        Whether every linkage closed and every mark lies before its camera.
    """

    residual: Array
    jacobian: Array
    state: State
    sound: bool


class Model:
    """All marks of cars that are adjusted together.

    Attributes
    ----------
    parameters : Parameters
    marks : tuple of (int, Mark)
        With the number of the car, in the order of the rows.
    rows : ndarray of int, shape (rows,)
        The mark that each row belongs to.
    cars : tuple of CarMarks
    reference : ndarray, shape (photographs, 3)
        A point amid what is marked in each photograph, car frame, mm.
    """

    def __init__(self, parameters: Parameters, marks: Sequence[tuple[int, Mark]] | None = None) -> None:
        self.parameters = parameters
        own = [(k, m) for k, c in enumerate(parameters.cars) for m in c.marks]
        self.marks = tuple(own if marks is None else marks)
        self.rows = np.array([k for k, (_, m) in enumerate(self.marks) for _ in range(rows_of(m))], dtype=np.intp)
        self.cars = tuple(car_marks(parameters, k, self.marks, self.rows) for k in range(len(parameters.cars)))
        self.half_px = np.array([0.5 * np.hypot(*p.size_px) for _, p in parameters.photos])
        self.reference = np.zeros((len(parameters.photos), 3))
        for car in self.cars:
            refer(car, lane_inputs(car, parameters.value), self.reference)

    def without(self, left_out: set[int]) -> Model:
        """The same model with fewer marks, given by their numbers; the reference points stay."""
        out = Model(self.parameters, [m for k, m in enumerate(self.marks) if k not in left_out])
        out.reference = self.reference
        return out

    def only(self, photo: int) -> Model:
        """The same model with the marks of one photograph alone."""
        owner, one = self.parameters.photos[photo]
        return self.without({k for k, (c, m) in enumerate(self.marks) if c != owner or m.photo != one.name})

    def state(self, numbers: Array, turns: Array) -> State:
        """A state of given values."""
        return State(self._skewed(numbers, turns), turns, (None,) * len(self.cars), (None,) * len(self.cars))

    def _skewed(self, numbers: Array, turns: Array) -> Array:
        """Numbers with the turns of drawings against straight on, where it is said which way they look."""
        out = numbers.copy()
        for (_, photo), index, turn in zip(self.parameters.photos, self.parameters.pictures, turns, strict=True):
            out[index[:3]] = 0.0 if photo.axes is None else rotation_vector(turn @ straight_on(photo.axes).T)
        return out

    def moved(self, state: State, step: Array) -> State:
        """The state after a step along all parameters."""
        turning = self.parameters.pictures[:, :3]
        turns = rotations(step[turning]) @ state.turns
        return replace(state, numbers=self._skewed(state.numbers + step, turns), turns=turns)

    def cameras(self, state: State) -> Cameras:
        """The cameras of a state."""
        return Cameras(state.turns, state.numbers[self.parameters.pictures[:, :10]], self.reference, self.half_px)

    def inputs(self, car: int, photo: int, numbers: Array) -> tuple[Array, Array]:
        """What a car's left and right side would be in any photograph, marked there or not, and its derivatives.

        Shapes (2, inputs) and (2, inputs, parameters); inputs as in `kin3d.photographs.lanes`.
        """
        block, centre = self.parameters.blocks[car], self.parameters.uprights[car].centre
        to = to_inputs(self.parameters, car, [(photo, "left"), (photo, "right")])
        camber, radius = (int(k) for k in block.wheel[[0, 2]])
        out = to @ numbers
        out[:, 3 * centre + 2] += numbers[radius] * np.cos(numbers[camber])
        to[:, 3 * centre + 2, radius] += np.cos(numbers[camber])
        to[:, 3 * centre + 2, camber] -= numbers[radius] * np.sin(numbers[camber])
        return out, to

    def seen(self, state: State, car: int) -> Seen:
        """The lanes of one car."""
        marks = self.cars[car]
        return look(marks.upright, lane_inputs(marks, state.numbers), state.poses[car])

    def evaluate(self, state: State, *, slopes: bool = True) -> MarkEquations:
        """Residuals and derivatives at a state; without `slopes` the Jacobian has no columns."""
        residual = np.empty(len(self.rows))
        jacobian = np.zeros((len(self.rows), len(self.parameters.listed) if slopes else 0))
        cameras = self.cameras(state)
        feet: list[Array | None] = [None] * len(self.cars)
        poses: list[Pose | None] = [None] * len(self.cars)
        sound = True
        for k, car in enumerate(self.cars):
            if len(car.lane):
                seen = look(car.upright, lane_inputs(car, state.numbers), state.poses[k])
                place, foot, tangent = marked_places(car, cameras, seen, state.numbers, state.feet[k])
                feet[k], poses[k] = foot, seen.pose
                view = cameras.seen(car.photo, place)
                sound &= bool(seen.pose.closed.all()) and not view.behind.any()
                by_place = view.by_place(cameras.turn)
                pull = pull_of(car, by_place, tangent)
                misses = (view.pixels - car.pixels)[car.mark]
                residual[car.row] = (pull * misses).sum(axis=-1)
                if slopes:
                    along = (pull[:, None] @ by_place[car.mark])[:, 0]
                    self._fill(jacobian, car, seen, state.numbers, foot, along)
                    by_camera = (pull[:, None] @ view.by_camera()[car.mark])[:, 0]
                    columns = self.parameters.pictures[car.photo[car.mark], :10]
                    jacobian[car.row[:, None], columns] = by_camera
        return MarkEquations(residual, jacobian, replace(state, feet=tuple(feet), poses=tuple(poses)), sound)

    def predicted(self, state: State) -> Array:
        """Where the model sees each mark's feature, for a curve its nearest place; shape (marks, 2), px."""
        out = np.full((len(self.marks), 2), np.nan)
        cameras = self.cameras(state)
        for k, car in enumerate(self.cars):
            if len(car.lane):
                place = marked_places(car, cameras, self.seen(state, k), state.numbers, None)[0]
                own = [n for n, (owner, _) in enumerate(self.marks) if owner == k]
                out[own] = cameras.seen(car.photo, place).pixels
        return out

    @staticmethod
    def _fill(jacobian: Array, car: CarMarks, seen: Seen, numbers: Array, foot: Array, along: Array) -> None:
        """The part of one car's rows that follows from the car; `along` is each row's slope along the car's frame."""
        mine = (
            along * np.stack([np.ones(len(car.lane)), car.mirror[car.lane], np.ones(len(car.lane))], axis=-1)[car.mark]
        )
        by_inputs = (mine[:, None] @ marked_slopes(car, seen, numbers, foot)[car.mark])[:, 0]
        lane = car.lane[car.mark]
        for k in range(len(car.lanes)):
            rows = lane == k
            jacobian[car.row[rows]] = by_inputs[rows] @ car.to_inputs[k]
        camber, radius = car.block.wheel[[0, 2]]
        height = by_inputs[:, 3 * car.upright.centre + 2]
        jacobian[car.row, radius] += np.cos(numbers[camber]) * height
        jacobian[car.row, camber] -= numbers[radius] * np.sin(numbers[camber]) * height
        rows = np.flatnonzero(car.kind[car.mark] == POINT)
        mark = car.mark[rows]
        on_upright = car.upright.on_upright[car.which[mark]]
        turned = np.where(on_upright[:, None, None], seen.pose.turn[lane[rows]], np.eye(3))
        jacobian[car.row[rows][:, None], car.block.joints[car.which[mark]]] += (mine[rows][:, None] @ turned)[:, 0]
