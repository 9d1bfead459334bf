"""The axles that stand on one ground: rows of design coordinates, figures by axle, the car as designed, its cases."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Self

import numpy as np
from numpy.typing import NDArray

from kin3d.linkage.car import Axle
from kin3d.linkage.design import SIDES
from kin3d.linkage.keys import CarData
from kin3d.linkage.layout import WHEEL_AXIS, WHEEL_CENTRE
from kin3d.measures.corner import ground_normal, lowest, unit
from kin3d.measures.corner_pair import mean
from kin3d.solve.model import AxleModel
from kin3d.spatial.jets import value
from kin3d.spatial.vectors import Number, dot, sub
from kin3d.studies.car import CarModel
from kin3d.studies.case import Case
from kin3d.studies.corner_model import CornerModel

Array = NDArray[np.float64]
PITCH_STEPS = 12  # of the search for the pitch as designed; each gets two digits and more


@dataclass(frozen=True, slots=True)
class CarSubject:
    """What figures of a whole car are asked of: ``"front."``, ``"rear."``, ``"car."``, ``"axle."`` of the one asked."""

    front: AxleModel
    rear: AxleModel
    car: CarData
    axle: Axle


@dataclass(frozen=True, slots=True)
class GroundBodies:
    """One axle, or both of a car.

    Attributes
    ----------
    axles : tuple of AxleModel
    whole : CarModel or None
        None where one axle stands alone.
    """

    axles: tuple[AxleModel, ...]
    whole: CarModel | None

    @property
    def parts(self) -> tuple[CornerModel, ...]:
        """Corners in the order of the rows: left and right of each axle in turn."""
        return tuple(CornerModel.from_model(m, side) for m in self.axles for side in SIDES)

    def with_figures_of(self, other: GroundBodies) -> GroundBodies:
        """The same linkages with the figures of the car file of another car."""
        axles = tuple(replace(m, axle=o.axle, car=o.car) for m, o in zip(self.axles, other.axles, strict=True))
        if self.whole is None or other.whole is None:
            return GroundBodies(axles, None)
        return GroundBodies(axles, replace(self.whole, car=other.whole.car))

    def models(self, designs: Array, rack_axes: Array | None) -> tuple[AxleModel, ...]:
        """The axles with every car as a variant: all left corners, then all right ones."""
        out, row = [], 0
        axes = [p.rack_axis for p in self.parts] if rack_axes is None else [*rack_axes]
        for k, model in enumerate(self.axles):
            size = len(model.linkage.points)
            both = np.concatenate([designs[:, row + s * size : row + (s + 1) * size] for s in (0, 1)])
            along = np.repeat(axes[2 * k : 2 * k + 2], len(designs), axis=0)
            # the axle itself has its expansion already
            own = rack_axes is None and np.array_equal(both, model.variants.design)
            out.append(model if own else replace(model, variants=model.kernel.variants(both, along)))
            row += 2 * size
        return tuple(out)

    def by_axle(self, figures: Mapping[str, Any]) -> list[dict[str, Any]]:
        """Figures by key for each axle, as its corners ask for them."""
        if self.whole is None:
            return [dict(figures)]
        out = []
        for model in self.axles:
            head = f"{model.axle.name}."
            mine = {f"axle.{k.removeprefix(head)}": v for k, v in figures.items() if k.startswith(head)}
            out.append(mine | {k: v for k, v in figures.items() if k.startswith("car.")})
        return out

    def as_designed(self, designs: Array, figures: Mapping[str, Any]) -> tuple[tuple[Number, ...], Number]:
        """Shift of each axle and pitch of the points' frame as designed, of cars given by numbers or jets.

        Parameters
        ----------
        designs : ndarray, shape (cars, rows, 3), or sequence of rows with three numbers each
        """
        if self.whole is None:
            return (np.zeros(len(designs)),), np.zeros(len(designs))
        columns = np.moveaxis(designs, 0, -1)  # rows, 3, cars
        return self.stands(lambda row: tuple(columns[row]), figures)

    def stands(
        self, place: Callable[[int], Sequence[Number]], figures: Mapping[str, Any]
    ) -> tuple[tuple[Number, ...], Number]:
        """The same with places by row."""
        whole = self.whole
        assert whole is not None
        feet, hubs, row = [], [], 0
        for model, mine in zip(self.axles, self.by_axle(figures), strict=True):
            index = model.linkage.index
            size = len(model.linkage.points)
            radius = mine.get("axle.loaded_radius_mm", model.axle.loaded_radius_mm)
            feet.append([_Disc.of(place, row + s * size, index, radius) for s in (0, 1)])
            hubs.append(mean((feet[-1][0].centre[0], feet[-1][1].centre[0])))
            row += 2 * size
        shift: Number = 0.0 * value(hubs[0])
        if whole.shift_mm:
            given = figures.get("car.wheelbase_mm", whole.car.data.wheelbase_mm)
            shift = hubs[0] - hubs[1] - given
        shifts = (0.0 * value(hubs[0]), shift)
        pitch: Number = 0.0 * value(hubs[0])
        for _ in range(PITCH_STEPS):
            n = ground_normal(0.0 * value(hubs[0]), pitch)
            front, rear = (
                mean((dot(a.lowest(n), n), dot(b.lowest(n), n))) + s * n[0]
                for (a, b), s in zip(feet, shifts, strict=True)
            )
            pitch = pitch + (front - rear) * (1.0 / whole.wheelbase_mm)
        return shifts, pitch


@dataclass(frozen=True, slots=True)
class CaseOnGround:
    """A case of what stands on the ground: whose figures are told, and what they are asked of; see `CaseModel`."""

    case: Case
    bodies: GroundBodies

    @property
    def parts(self) -> tuple[CornerModel, ...]:
        """Corners of every axle."""
        return self.bodies.parts

    @property
    def design(self) -> Array:
        """Left and right of each axle in turn, one after the other."""
        return np.concatenate([p.design for p in self.parts])

    @property
    def axle_number(self) -> int:
        """Which of the axles is asked."""
        return [m.axle.name for m in self.bodies.axles].index(self.case.axle)

    @property
    def corner(self) -> CornerModel:
        """The corner whose wheel's figures are told."""
        model = self.bodies.axles[self.axle_number]
        return CornerModel.from_model(model, self.case.side or model.axle.side)

    @property
    def subject(self) -> AxleModel | CarSubject:
        """The axle, or the car."""
        asked = self.bodies.axles[self.axle_number]
        if self.bodies.whole is None:
            return asked
        front, rear = self.bodies.axles
        return CarSubject(front, rear, asked.car, asked.axle)

    def with_figures_of(self, other: Self) -> Self:
        """See `CaseModel`."""
        return replace(self, bodies=self.bodies.with_figures_of(other.bodies))


@dataclass(frozen=True, slots=True)
class _Disc:
    """A wheel's disc."""

    centre: tuple[Number, Number, Number]
    spin: tuple[Number, Number, Number]
    radius: Number

    @staticmethod
    def of(place: Callable[[int], Sequence[Number]], first: int, index: Callable[[str], int], radius: Number) -> _Disc:
        centre = tuple(place(first + index(WHEEL_CENTRE)))
        axis = tuple(place(first + index(WHEEL_AXIS)))
        return _Disc(centre, unit(sub(axis, centre)), radius)

    def lowest(self, normal: tuple[Number, Number, Number]) -> tuple[Number, Number, Number]:
        """Its lowest point over a ground of that normal."""
        return lowest(self.centre, self.spin, self.radius, normal)
