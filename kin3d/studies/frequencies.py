"""What the rates of both axles mean for the car: roll share, ride and roll frequencies from its masses."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from math import pi
from typing import Any

import numpy as np

from kin3d.linkage.car import Axle, Car
from kin3d.linkage.keys import CarData
from kin3d.linkage.names import AxleName
from kin3d.measures.entry import Measure, figure
from kin3d.spatial.jets import sqrt, value
from kin3d.spatial.vectors import Number
from kin3d.studies.rates import ELEMENTS, AxleRates

_OWN = "own definition"


@dataclass(frozen=True, slots=True)
class Sprung:
    """An axle with its rates in one position; numbers, arrays over positions, or jets.

    Attributes
    ----------
    axle : Axle
    heave_rate : number
        Of one wheel, N/mm.
    roll_rate : number
        N·m/deg.
    """

    axle: Axle
    heave_rate: Number
    roll_rate: Number

    def mass_kg(self, car: CarData) -> Number:
        """Sprung mass over one wheel."""
        front = car.front_mass_share
        share: Number = front if self.axle.name == "front" else 1.0 - (front or 0.0)
        return 0.5 * (share * car.mass_kg) - self.axle.unsprung_mass_kg


@dataclass(frozen=True, slots=True)
class SprungCar:
    """What the figures of the car are computed from; an axle without inboard elements is None."""

    car: CarData
    front: Sprung | None
    rear: Sprung | None

    @staticmethod
    def of(car: Car, rates: dict[AxleName, AxleRates]) -> SprungCar:
        """In the design position, from the rates of the axles that have any."""
        made = {
            a.name: Sprung(a, *(rates[a.name].at_design(n) for n in ("heave_rate", "roll_rate")))
            for a in car.axles()
            if a.name in rates
        }
        return SprungCar(car.data, made.get("front"), made.get("rear"))

    def at(self, axle: AxleName) -> Sprung:
        """One axle; ask only after an entry's `lacks` has said it is there."""
        found = self.front if axle == "front" else self.rear
        if found is None:
            raise ValueError(f"the {axle} axle has no rates")
        return found

    @property
    def roll_rates(self) -> tuple[Number, Number]:
        """Roll rates of both axles, N·m/deg."""
        return self.at("front").roll_rate, self.at("rear").roll_rate


def _hertz(rate: Number, inertia: Number) -> Number:
    return sqrt(rate / inertia) / (2.0 * pi)


def _over_zero(x: Number) -> bool:
    return bool(np.all(np.asarray(value(x)) > 0.0))


def _ride(axle: AxleName, *, tyre: bool) -> Callable[[SprungCar], Number]:
    def hertz(car: SprungCar) -> Number:
        side = car.at(axle)
        rate = side.heave_rate
        if tyre:
            stiff: Number = side.axle.tyre_rate_n_per_mm
            rate = rate * stiff / (rate + stiff)
        return _hertz(1000.0 * rate, side.mass_kg(car.car))

    return hertz


def _no_ride(axle: AxleName) -> Callable[[SprungCar], str]:
    """What stands in the way of a ride frequency beside the keys."""
    masses = ("car.mass_kg", "car.front_mass_share", f"{axle}.unsprung_mass_kg")

    def why(car: SprungCar) -> str:
        side: Sprung | None = getattr(car, axle)
        if side is None:
            return f"the {axle} axle has no rates"
        if all(figure(car, k) is not None for k in masses) and not _over_zero(side.mass_kg(car.car)):
            return f"[{axle}] unsprung_mass_kg is more than the wheel carries"
        return "" if _over_zero(side.heave_rate) else "the heave rate is not over 0"

    return why


def _no_roll(car: SprungCar) -> str:
    lone = [axle for axle in ("front", "rear") if getattr(car, axle) is None]
    if lone:
        return f"it needs the rates of both axles, and the {lone[0]} one has none"
    return "" if _over_zero(sum(car.roll_rates)) else "the roll rate is not over 0"


def _entry(name: str, label: str, unit: str, sign: str, definition: str, function: Any, **more: Any) -> Measure:
    return Measure(name, label, unit, sign, definition, _OWN, function, "frequencies", scope="car", order=2, **more)


def _rides(axle: AxleName) -> tuple[Measure, Measure]:
    needs = ("car.mass_kg", "car.front_mass_share", f"{axle}.unsprung_mass_kg")
    uses = tuple(key.replace("axle.", f"{axle}.") for key in ELEMENTS)
    of = "√(k/m)/2π in the design position: m the sprung mass over one wheel, k the heave rate of one wheel"
    common: dict[str, Any] = {"uses": uses, "unless": _no_ride(axle)}
    return (
        _entry(
            f"{axle}_ride_hz",
            f"Ride frequency, {axle}",
            "Hz",
            "always positive",
            of,
            _ride(axle, tyre=False),
            needs=needs,
            **common,
        ),
        _entry(
            f"{axle}_ride_on_tyre_hz",
            f"Ride frequency with the tyre, {axle}",
            "Hz",
            "always positive",
            f"{of} in series with the tyre's",
            _ride(axle, tyre=True),
            needs=(*needs, f"{axle}.tyre_rate_n_per_mm"),
            **common,
        ),
    )


_BOTH = tuple(key.replace("axle.", f"{axle}.") for axle in ("front", "rear") for key in ELEMENTS)
MEASURES = (
    *_rides("front"),
    *_rides("rear"),
    _entry(
        "roll_rate_n_m_per_deg",
        "Roll rate of the car",
        "N·m/deg",
        "stiffer positive",
        "sum of the roll rates of both axles in the design position, springs and bars, without tyres",
        lambda car: sum(car.roll_rates),
        uses=_BOTH,
        unless=_no_roll,
    ),
    _entry(
        "front_roll_share_pct",
        "Front share of the roll rate",
        "%",
        "100: all of it at the front",
        "100·roll rate of the front axle over that of the car, design position, without tyres",
        lambda car: 100.0 * car.roll_rates[0] / sum(car.roll_rates),
        uses=_BOTH,
        unless=_no_roll,
    ),
    _entry(
        "roll_hz",
        "Roll frequency",
        "Hz",
        "always positive",
        "√(K/I)/2π with K the roll rate of the car and I [car] roll_inertia_kg_m2; gravity's share left out",
        lambda car: _hertz((180.0 / pi) * sum(car.roll_rates), car.car.roll_inertia_kg_m2),
        needs=("car.roll_inertia_kg_m2",),
        uses=_BOTH,
        unless=_no_roll,
    ),
)
