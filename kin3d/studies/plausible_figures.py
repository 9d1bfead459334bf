"""Is it likely that a figure of the car file means what it says? Each by itself, and against the others.

Ranges are common practice, no source, and wide.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from kin3d.errors import Finding, Severity
from kin3d.linkage.car import Axle, Car
from kin3d.linkage.keys import unit_of_key
from kin3d.studies.given_corner import GivenCorner

GUESSED = 0.5  # part of its value that a deviation may have
GUESSED_DEG, GUESSED_SHARE = 2.5, 0.2
LEAST_SIGMA_MM = 0.002  # no machine measures a car better
USUAL = {
    "tyre_rate_n_per_mm": (20.0, 2500.0, "80 to 1000 N/mm"),
    "rod_part.modulus_n_per_mm2": (2e3, 1e6, "70,000 (aluminium) to 210,000 N/mm² (steel)"),
    "damper.bump_mm": (0.0, 300.0, "10 to 150 mm"),
    "damper.droop_mm": (0.0, 300.0, "10 to 150 mm"),
}
DAMPER_MM = 12.0  # least stroke of a damper in all
CAMBER_OUT_DEG = 2.0  # of static camber with the top outboard
TOE_DEG = 1.5
INBOARD_SHARE = 0.1  # of the car's mass: rod, rocker and spring of one corner
UNSPRUNG_SHARE = 0.04  # of the car's mass: least of all wheels
GROUND_MM = 45.0  # between the grounds of two axles in one frame
SHARES_APART = 0.1
BRAKES_BELOW = 0.03  # the front brakes' share under the front axle's


def implausible_figures(car: Car, corners: list[GivenCorner]) -> Iterator[Finding]:
    """What is probably a slip in the figures of the car file."""
    yield from _deviations(car)
    for axle in car.axles():
        yield from _axle(car, axle)
        yield from _tiny(axle)
    yield from _brakes(car)
    yield from _unsprung(car)
    yield from _grounds(corners)


def _at(where: str, text: str, code: str) -> Finding:
    table, _, key = where.rpartition(".")
    return Finding(code, text, f"[{table}] {key}", Severity.WARNING)


def _value(subject: Any, key: str) -> float | None:
    """A number by its dotted key; None where there is none, or where the key names one of a list."""
    for name in key.split("."):
        subject = getattr(subject, name, None)
    return float(subject) if isinstance(subject, int | float) and not isinstance(subject, bool) else None


def _deviations(car: Car) -> Iterator[Finding]:
    """A standard deviation as large as its value says that nothing is known, or that the two are exchanged."""
    for key, sigma in car.sigmas.items():
        head, _, rest = key.partition(".")
        value = _value(car.data if head == "car" else getattr(car, head), rest)
        unit = unit_of_key(key)
        if value is None or not sigma:
            continue
        most = {"deg": GUESSED_DEG, "1": GUESSED_SHARE}.get(unit, GUESSED * abs(value) or float("inf"))
        if sigma > most:
            shown = "" if unit == "1" else f" {unit}"
            slip = ": are the two exchanged?" if sigma > abs(value) > 0.0 and unit not in ("deg", "1") else ""
            text = (
                f"is {value:g}{shown} with a standard deviation of {sigma:g}{shown}; up to {most:.3g}{shown} is usual "
                f"of a guess{slip or ': a digit too many, or another unit?'}"
            )
            yield _at(key, text, "sigma-implausible")


def _tiny(axle: Axle) -> Iterator[Finding]:
    """Deviations that no measuring gives make verdicts firm that are not."""
    sigmas = axle.points.sigma_mm
    some = sigmas[sigmas > 0.0]
    if some.size and float(some.max()) < LEAST_SIGMA_MM:
        text = f"sigma is at most {float(some.max()):.2g} mm; 0.05 to 5 mm is usual: is it in metres or inches?"
        yield Finding("sigma-implausible", text, f"{axle.points.source}, {axle.name} axle", Severity.WARNING)


def _axle(car: Car, axle: Axle) -> Iterator[Finding]:
    """Figures of one axle."""
    for key, (low, high, usual) in USUAL.items():
        value = _value(axle, key)
        if value is not None and not low <= value <= high:
            yield _at(f"{axle.name}.{key}", f"is {value:g}; {usual} is usual: another unit?", "figure-implausible")
    stroke = [_value(axle, f"damper.{k}") for k in ("bump_mm", "droop_mm")]
    if None not in stroke and sum(s or 0.0 for s in stroke) < DAMPER_MM:
        total = sum(s or 0.0 for s in stroke)
        text = f"bump_mm and droop_mm make a stroke of {total:g} mm; 30 to 200 mm is usual: centimetres?"
        yield _at(f"{axle.name}.damper.bump_mm", text, "figure-implausible")
    if "wheel_axis" not in axle.points.names:
        yield from _static_angles(axle)
    mass = _value(car.data, "mass_kg")
    inboard = sum(_value(axle, f"masses.{k}") or 0.0 for k in ("rod_kg", "rocker_kg", "spring_kg"))
    if mass is not None and mass > 50.0 and inboard > INBOARD_SHARE * mass:
        text = f"rod, rocker and spring of one corner make {inboard:g} kg of the car's {mass:g} kg: grams?"
        yield _at(f"{axle.name}.masses.rod_kg", text, "figure-implausible")
    if abs(axle.rack_axis[2]) > 0.5:
        text = "the rack moves up and down; across the car is usual: is the direction in the axes of the table?"
        yield _at(f"{axle.name}.rack_axis", text, "figure-implausible")


def _static_angles(axle: Axle) -> Iterator[Finding]:
    camber, toe = float(axle.camber_deg), float(axle.toe_deg)
    if CAMBER_OUT_DEG < camber <= 8.0:
        text = f"is {camber:g}: positive is the top of the wheel outboard; −5 to 1 degrees is usual: a wrong sign?"
        yield _at(f"{axle.name}.camber_deg", text, "angle-implausible")
    if TOE_DEG < abs(toe) <= 4.0:
        text = (
            f"is {toe:g}; −0.7 to 0.7 degrees of one wheel is usual: minutes or millimetres in place of degrees, or "
            "camber and toe exchanged?"
        )
        yield _at(f"{axle.name}.toe_deg", text, "angle-implausible")


def _brakes(car: Car) -> Iterator[Finding]:
    """Braking shifts load to the front, so that the front brakes take more than the front axle's share at rest."""
    brake, share = _value(car.data, "front_brake_share"), _value(car.data, "front_mass_share")
    if brake and share is not None and brake < share - BRAKES_BELOW:
        text = (
            f"is {brake:g}, less than the {share:g} of the load that stands on the front axle at rest; braking shifts "
            "load to the front: is it the share of the rear?"
        )
        yield _at("car.front_brake_share", text, "share-implausible")


def _unsprung(car: Car) -> Iterator[Finding]:
    mass = _value(car.data, "mass_kg")
    each = [_value(a, "unsprung_mass_kg") for a in car.axles()]
    known = [m for m in each if m is not None]
    if mass is not None and len(known) == 2 and 2.0 * sum(known) < UNSPRUNG_SHARE * mass:
        text = (
            f"the unsprung masses of all wheels make {2.0 * sum(known):g} kg of the car's {mass:g} kg; 8 to 35 % is "
            "usual: a digit lost?"
        )
        yield _at("car.mass_kg", text, "unsprung-implausible")


def _grounds(corners: list[GivenCorner]) -> Iterator[Finding]:
    """Two axles whose points have one frame stand on one ground."""
    known = [c for c in corners if c.axle.loaded_radius_mm is not None]
    if len(known) < 2:
        return
    front, rear = known[0], known[1]
    apart = float(front.at["wheel_centre"][0] - rear.at["wheel_centre"][0])
    if apart < 500.0:  # axles that have each an origin of its own
        return
    first, second = (float(c.at["wheel_centre"][2]) - float(c.axle.loaded_radius_mm or 0.0) for c in (front, rear))
    if abs(first - second) > max(GROUND_MM, 0.02 * apart):
        text = (
            f"wheel centre less loaded radius is {first:.0f} mm in front and {second:.0f} mm at the rear: the car "
            "would stand on two grounds; is one of the radii wrong, or a height?"
        )
        yield _at("front.loaded_radius_mm", text, "radius-implausible")


def springs_against_share(car: Car, carried: dict[str, float]) -> Iterator[Finding]:
    """The share of the load that both axles' springs hold, against the share that the car file gives.

    Parameters
    ----------
    carried : dict of str to float
        Force at the wheel that the springs' design forces hold up, N, by axle.
    """
    share = _value(car.data, "front_mass_share")
    if share is None or len(carried) < 2:
        return
    held = carried["front"] / (carried["front"] + carried["rear"])
    if abs(held - share) > SHARES_APART:
        text = (
            f"is {share:g}, but of what the springs' design forces hold up {100 * held:.0f} % is in front: is it the "
            "share of the rear?"
        )
        yield _at("car.front_mass_share", text, "share-implausible")
