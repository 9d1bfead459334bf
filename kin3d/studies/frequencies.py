"""What the rates of both axles mean for the car: roll share, ride and roll frequencies from its masses."""

from __future__ import annotations

from dataclasses import dataclass
from math import degrees, pi, sqrt

from kin3d.linkage.car import Axle, Car
from kin3d.studies.rates import AxleRates

GRAVITY_M_PER_S2 = 9.81


@dataclass(frozen=True, slots=True)
class CarRates:
    """Figures of the design position.

    Attributes
    ----------
    values : dict of str to float
        By name with unit, e.g. ``front_ride_hz``, ``front_roll_share_pct``.
    left_out : dict of str to str
        Figures without the data they need, and what is missing.
    """

    values: dict[str, float]
    left_out: dict[str, str]


def car_rates(car: Car, axles: dict[str, AxleRates]) -> CarRates:
    """Ride frequency of each axle, roll share of the front and roll frequency of the car.

    Ride: √(k/m)/2π with the heave rate of one wheel (in series with the tyre's where that is given) and the sprung
    mass over that wheel. Roll: √(K/I)/2π with the roll rates of both axles and [car] roll_inertia_kg_m2, gravity's
    share left out.
    """
    out = CarRates({}, {})
    for name, rates in axles.items():
        _ride(car, name, rates, out)
    _roll(car, axles, out)
    return out


def sprung_mass_kg(car: Car, axle: Axle) -> tuple[float | None, str]:
    """Sprung mass over one wheel and, where it cannot be told, what is missing."""
    data = car.data
    missing = [f"[car] {k}" for k in ("mass_kg", "front_mass_share") if getattr(data, k) is None]
    if axle.unsprung_mass_kg is None:
        missing.append(f"[{axle.name}] unsprung_mass_kg")
    if missing:
        return None, f"{' and '.join(missing)} {'is' if len(missing) == 1 else 'are'} not given"
    front = float(data.front_mass_share or 0.0)
    share = front if axle.name == "front" else 1.0 - front
    mass = 0.5 * share * float(data.mass_kg or 0.0) - float(axle.unsprung_mass_kg or 0.0)
    return (mass, "") if mass > 0.0 else (None, f"[{axle.name}] unsprung_mass_kg is more than the wheel carries")


def _ride(car: Car, name: str, rates: AxleRates, out: CarRates) -> None:
    axle = car.front if name == "front" else car.rear
    if axle is None:
        return
    rate = rates.at_design("heave_rate")
    mass, why = sprung_mass_kg(car, axle)
    if mass is None or not rate > 0.0:
        out.left_out[f"{name}_ride_hz"] = why or "the heave rate is not over 0"
        return
    out.values[f"{name}_ride_hz"] = _hertz(1000.0 * rate, mass)
    if axle.tyre_rate_n_per_mm is None:
        out.left_out[f"{name}_ride_on_tyre_hz"] = f"[{name}] tyre_rate_n_per_mm is not given"
    else:
        series = 1.0 / (1.0 / rate + 1.0 / axle.tyre_rate_n_per_mm)
        out.values[f"{name}_ride_on_tyre_hz"] = _hertz(1000.0 * series, mass)


def _roll(car: Car, axles: dict[str, AxleRates], out: CarRates) -> None:
    if set(axles) != {"front", "rear"}:
        lone = "rear" if "front" in axles else "front"
        for name in ("front_roll_share_pct", "roll_hz"):
            out.left_out[name] = f"it needs the rates of both axles, and the {lone} one has none"
        return
    front, rear = (axles[n].at_design("roll_rate") for n in ("front", "rear"))
    out.values["roll_rate_n_m_per_deg"] = front + rear
    out.values["front_roll_share_pct"] = 100.0 * front / (front + rear)
    inertia = car.data.roll_inertia_kg_m2
    if inertia is None:
        out.left_out["roll_hz"] = "[car] roll_inertia_kg_m2 is not given"
    elif front + rear > 0.0:
        out.values["roll_hz"] = _hertz(degrees(front + rear), inertia)


def _hertz(rate: float, inertia: float) -> float:
    return sqrt(rate / inertia) / (2.0 * pi)
