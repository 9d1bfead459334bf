"""Measures of the whole car on the ground: roll axis, wheelbase; values stand in the rows of every wheel."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from kin3d.linkage.keys import CarData
from kin3d.measures.corner_pair import CornerPair, mean
from kin3d.measures.entry import Measure
from kin3d.measures.roll_centre import crossing, force_height
from kin3d.measures.two_travels import LEFT, RIGHT, Pair
from kin3d.measures.wheel import ISO
from kin3d.spatial.jets import atan2
from kin3d.spatial.vectors import Number


@dataclass(frozen=True, slots=True)
class WholeCar:
    """Both axles of a car in the same positions.

    Attributes
    ----------
    front, rear : CornerPair
    shift_mm : number, shape (n,)
        What has to be added to the rear points' x to place them in the frame of the front ones.
    car : CarData
    """

    front: CornerPair
    rear: CornerPair
    shift_mm: Number
    car: CarData

    @property
    def wheelbase(self) -> Pair:
        """Distance of the contact points of each side along the ground's x, mm."""
        ahead = self.rear.both(self.rear.ahead[0])
        left, right = (self.front.stand[0][k] - self.rear.stand[0][k] - self.shift_mm * ahead[k] for k in (LEFT, RIGHT))
        return left, right

    @property
    def design_wheelbase(self) -> Pair:
        """The same in the design position, mm."""
        places = zip(self.front.design_contact, self.rear.design_contact, strict=True)
        left, right = (ours[0] - theirs[0] - self.shift_mm for ours, theirs in places)
        return left, right


def _inclination(front: Number, rear: Number, wheelbase: Pair) -> Number:
    return atan2(rear - front, mean(wheelbase))


def roll_axis(car: WholeCar) -> Number:
    """Inclination of the line through both roll centres, rad, shape (n,)."""
    return _inclination(crossing(car.front)[1], crossing(car.rear)[1], car.wheelbase)


def roll_axis_force(car: WholeCar) -> Number:
    """The same from the heights that follow from the jacking forces, rad, shape (n,)."""
    return _inclination(force_height(car.front), force_height(car.rear), car.wheelbase)


def roll_axis_at_centre(car: WholeCar) -> Number:
    """Height of the roll axis over the ground under the mass centre, mm, shape (n,)."""
    front = car.front.of_file("car.front_mass_share")
    return front * crossing(car.front)[1] + (1.0 - front) * crossing(car.rear)[1]


def wheelbase_change(car: WholeCar) -> Pair:
    """Wheelbase of each side less that in the design position, mm."""
    now, then = car.wheelbase, car.design_wheelbase
    return now[LEFT] - then[LEFT], now[RIGHT] - then[RIGHT]


def of_all_wheels(function: Callable[[WholeCar], Any]) -> Callable[[WholeCar], Any]:
    """A function of the car, of one figure or of a pair, as one over the lanes of an axle."""

    def spread(car: WholeCar) -> Number:
        found = function(car)
        return car.front.stacked(*found) if isinstance(found, tuple) else car.front.stacked(found, found)

    return spread


def _entry(
    name: str,
    label: str,
    unit: str,
    sign: str,
    definition: str,
    function: Callable[[WholeCar], Any],
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
        of_all_wheels(function),
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
        wheelbase_change,
        source=f"{ISO}, 4.2",
    ),
)
