"""Measures of the whole car on the ground: roll axis, wheelbase; values stand in the rows of every wheel."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from kin3d.linkage.keys import CarData
from kin3d.measures.corner import Corner
from kin3d.measures.corner_pair import CornerPair
from kin3d.measures.roll_centre import crossing, force_height
from kin3d.measures.table import Measure, nothing
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
    data : CarData
    """

    front: CornerPair
    rear: CornerPair
    shift_mm: float
    data: CarData

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
    front = float(car.data.front_mass_share or 0.0)
    return np.asarray(front * crossing(car.front)[1] + (1.0 - front) * crossing(car.rear)[1])


@dataclass(frozen=True, slots=True)
class CarMeasure:
    """A measure of the whole car: its entry for tables, what computes it in inner units, what is missing for it."""

    entry: Measure
    function: Callable[[WholeCar], Array]
    lacks: Callable[[CarData], str]

    def compute(self, car: WholeCar) -> Array:
        """Values for left and right, shape (2, n), in the measure's unit."""
        found = self.function(car) * (180.0 / np.pi if self.entry.unit == "deg" else 1.0)
        count = len(car.front.roll_rad)
        return np.array(np.broadcast_to(found, (2, count)))


def _of_a_car(_corner: Corner) -> Any:
    raise TypeError("a measure of the car needs both axles")


def _entry(
    name: str,
    label: str,
    unit: str,
    sign: str,
    definition: str,
    function: Callable[[WholeCar], Array],
    lacks: Callable[[CarData], str] = lambda _: "",
    source: str = "own definition",
) -> CarMeasure:
    entry = Measure(name, label, unit, sign, definition, source, _of_a_car, nothing, 1, "car")
    return CarMeasure(entry, function, lacks)


def _lacks_share(data: CarData) -> str:
    return "" if data.front_mass_share is not None else "[car] front_mass_share is not given"


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
        _lacks_share,
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
