"""Measures of the whole car on the ground: roll axis, wheelbase; values stand in the rows of every wheel."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kin3d.linkage.keys import CarData
from kin3d.measures.corner_pair import CornerPair
from kin3d.measures.entry import Measure
from kin3d.measures.roll_centre import crossing, force_height
from kin3d.measures.wheel import ISO
from kin3d.spatial.jets import value

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class WholeCar:
    """Both axles of a car in the same positions.

    Attributes
    ----------
    front, rear : CornerPair
    shift_mm : float
        What has to be added to the rear points' x to place them in the frame of the front ones.
    car : CarData
    """

    front: CornerPair
    rear: CornerPair
    shift_mm: float
    car: CarData

    @property
    def wheelbase(self) -> Array:
        """Distance of the contact points of each side along the ground's x, shape (2, n), mm."""
        shift = self.shift_mm * self.rear.pair(value(self.rear.ahead[0]))
        return np.asarray(self.front.stand[0] - self.rear.stand[0] - shift)

    @property
    def design_wheelbase(self) -> Array:
        """The same in the design position, shape (2, 1), mm."""
        gap = self.front.design_contact - self.rear.design_contact
        return np.asarray(gap[:, :1] - self.shift_mm)


def _inclination(front: Array, rear: Array, wheelbase: Array) -> Array:
    return np.asarray(np.arctan2(rear - front, wheelbase.mean(axis=0)))


def roll_axis(car: WholeCar) -> Array:
    """Inclination of the line through both roll centres, rad, shape (n,)."""
    return _inclination(crossing(car.front)[1], crossing(car.rear)[1], car.wheelbase)


def roll_axis_force(car: WholeCar) -> Array:
    """The same from the heights that follow from the jacking forces, rad, shape (n,)."""
    return _inclination(force_height(car.front), force_height(car.rear), car.wheelbase)


def roll_axis_at_centre(car: WholeCar) -> Array:
    """Height of the roll axis over the ground under the mass centre, mm, shape (n,)."""
    front = float(car.car.front_mass_share or 0.0)
    return np.asarray(front * crossing(car.front)[1] + (1.0 - front) * crossing(car.rear)[1])


def _of_all_wheels(function: Callable[[WholeCar], Array]) -> Callable[[WholeCar], Array]:
    """A function of the car with values of shape (n,) or (2, n), as one with shape (2, n)."""
    return lambda car: np.array(np.broadcast_to(function(car), (2, len(car.front.roll_rad))))


def _entry(
    name: str,
    label: str,
    unit: str,
    sign: str,
    definition: str,
    function: Callable[[WholeCar], Array],
    needs: tuple[str, ...] = (),
    source: str = "own definition",
) -> Measure:
    return Measure(
        name,
        label,
        unit,
        sign,
        definition,
        source,
        _of_all_wheels(function),
        "car",
        scope="car",
        order=1,
        needs=(*needs, "front.loaded_radius_mm", "rear.loaded_radius_mm"),
        uses=("car.wheelbase_mm",),
    )


_CENTRES = "of the axles' roll centres over the mid-points of their contact points"
MEASURES = (
    _entry(
        "roll_axis_deg",
        "Inclination of the roll axis",
        "deg",
        "lower at the front positive",
        f"atan2(rear height − front height, wheelbase) {_CENTRES}",
        roll_axis,
        source=f"{ISO}; W. F. Milliken and D. L. Milliken, Race Car Vehicle Dynamics, ch. 17; from memory",
    ),
    _entry(
        "roll_axis_force_deg",
        "Inclination of the roll axis from jacking forces",
        "deg",
        "lower at the front positive",
        "atan2(rear height − front height, wheelbase) of the heights that follow from the jacking forces",
        roll_axis_force,
    ),
    _entry(
        "roll_axis_height_mm",
        "Height of the roll axis at the mass centre",
        "mm",
        "over the ground positive",
        f"front_mass_share·front height + (1 − front_mass_share)·rear height {_CENTRES}",
        roll_axis_at_centre,
        ("car.front_mass_share",),
    ),
    _entry(
        "wheelbase_change_mm",
        "Wheelbase change",
        "mm",
        "longer than in the design position positive",
        "distance of that side's contact points along the ground's x, less that in the design position",
        lambda car: car.wheelbase - car.design_wheelbase,
        source=f"{ISO}, 4.2",
    ),
)
