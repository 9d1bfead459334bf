"""One car, or many that differ in points and figures, solved together: what the balance of the whole car rests on."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from kin3d.linkage.record import placed
from kin3d.measures.corner import Along
from kin3d.measures.corner_pair import CornerPair, signs_of, twice
from kin3d.measures.entry import figure
from kin3d.solve.lanes import Lanes
from kin3d.solve.model import AxleModel
from kin3d.spatial.vectors import Vec
from kin3d.studies.car import STEERED, CarModel
from kin3d.studies.ground_bodies import CarSubject, GroundBodies

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class CarVariants:
    """Cars over lanes; arrays have the shape (cars,).

    Attributes
    ----------
    model : CarModel
        The car that they are variants of, as its file has it.
    axles : tuple of AxleModel
        Front and rear; variants are all left corners, then all right ones.
    shifts : tuple of ndarray
        What is added to each axle's x, mm.
    pitch_rad : ndarray
        Of the points' frame over the ground in the design position.
    figures : mapping of str to ndarray
        Figures of the car file that differ from it, by keys of the whole car: ``"car.mass_kg"``, ``"front.…"``.
    """

    model: CarModel
    axles: tuple[AxleModel, AxleModel]
    shifts: tuple[Array, Array]
    pitch_rad: Array
    figures: Mapping[str, Array]

    @staticmethod
    def alone(model: CarModel) -> CarVariants:
        """The car of the file by itself."""
        return CarVariants(
            model, model.axles, (np.zeros(1), np.full(1, model.shift_mm)), np.full(1, model.pitch_rad), {}
        )

    @staticmethod
    def of(
        bodies: GroundBodies, designs: Array, figures: Mapping[str, Array], rack_axes: Array | None = None
    ) -> CarVariants:
        """Cars of given design coordinates, shape (cars, rows, 3), and figures."""
        if bodies.whole is None:
            raise ValueError("a car that settles has both axles")
        front, rear = bodies.models(designs, rack_axes)
        shifts, pitch = bodies.as_designed(designs, figures)
        first, second = (np.broadcast_to(np.asarray(s, dtype=float), len(designs)) for s in shifts)
        return CarVariants(bodies.whole, (front, rear), (first, second), np.asarray(pitch, dtype=float), dict(figures))

    @property
    def count(self) -> int:
        """How many cars."""
        return len(self.pitch_rad)

    def figure(self, key: str) -> Any:
        """What a dotted key is: an array over the cars, or the file's own value, which may be None."""
        if key in self.figures:
            return self.figures[key]
        front, rear = self.axles
        return figure(CarSubject(front, rear, self.model.car.data, front.axle), key)

    def of_axle(self, number: int) -> dict[str, Array]:
        """Figures that differ, as corners of an axle ask for them, over their lanes."""
        head = f"{self.axles[number].axle.name}."
        mine = {f"axle.{k.removeprefix(head)}": v for k, v in self.figures.items() if k.startswith(head)}
        return {k: np.asarray(twice(v)) for k, v in mine.items()}

    def as_filed(self, number: int) -> AxleModel:
        """An axle in the design position of the file, with the figures of all cars."""
        model, own = self.model.axles[number], self.axles[number]
        head, axle = f"{own.axle.name}.", own.axle
        for key, values in self.figures.items():
            if key.startswith(head):
                axle = placed(axle, key.removeprefix(head).split("."), values)
        return replace(model, axle=axle)

    def lanes(self, number: int, travel: Array, rack_mm: float) -> Lanes:
        """Lanes of both wheels of an axle, travels of shape (2, cars); only the front rack is moved."""
        rack = np.full(self.count, rack_mm * STEERED[number])
        return self.axles[number].pair(travel, rack, variant=np.arange(self.count))

    def corners(self, number: int, travel: Array, rack_mm: float, along: Along, normal: Vec) -> CornerPair:
        """Both corners of an axle over a ground, its normal given; travels of all cars have the shape (2, cars)."""
        model, lanes = self.axles[number], self.lanes(number, travel, rack_mm)
        solved = model.kernel.solve(model.variants, lanes)
        return CornerPair.of(
            model, lanes, solved, along=along, normal=normal, sign=signs_of(lanes), figures=self.of_axle(number)
        )

    def pair(self, number: int, travel: Sequence[Any] | Array, rack_mm: float, degree: int = 2) -> CornerPair:
        """Both corners of an axle, each car's wheels at travels of their own, (2, cars), in the chassis frame."""
        rack = rack_mm * STEERED[number]
        return CornerPair.at(self.axles[number], travel[0], travel[1], rack, degree, np.arange(self.count))


@dataclass(frozen=True, slots=True)
class Bodywork:
    """Masses and where they are, of each of some cars.

    Attributes
    ----------
    mass_kg : ndarray, shape (cars,)
        Of the car.
    unsprung_kg : ndarray, shape (4, cars)
        Of each wheel with what moves with it; 0 where not given.
    sprung_centre : ndarray, shape (3, cars)
        Centre of the rest, chassis frame (x of the front points), mm.
    aero : ndarray, shape (2, 3, cars)
        Where front and rear downforce act.
    static_n : ndarray, shape (4, cars)
        Tyre loads in the design position.
    tyre_mm_per_n : ndarray, shape (4, cars)
        Compliance of each tyre; 0 for a rigid one.
    front_share : ndarray, shape (cars,)
        Of the longitudinal force: braking share, or driving share when driven.
    turns : (bool, bool)
        Whether the wheel turns freely on the body that carries it, front and rear: what the road's force has about the
        spin axis then goes nowhere, or into the chassis (inboard brakes, drive shafts).
    """

    mass_kg: Array
    unsprung_kg: Array
    sprung_centre: Array
    aero: Array
    static_n: Array
    tyre_mm_per_n: Array
    front_share: Array
    turns: tuple[bool, bool]

    @property
    def static_give_mm(self) -> Array:
        """How far the static load presses each tyre in, (4, cars): its free radius is so much over the loaded one."""
        return self.static_n * self.tyre_mm_per_n
