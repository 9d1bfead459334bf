"""The plausibility pass: what is well written in a car file and yet probably a slip, told as warnings.

Points are judged in `plausible_points`; here are the figures of the car and of its springs, and the two axles against
each other. Nothing is changed and nothing refused. Ranges are common practice, no source, and wide.
"""

from __future__ import annotations

from collections.abc import Iterator
from math import pi, sqrt

from kin3d.errors import Finding, Severity
from kin3d.linkage.car import Car
from kin3d.linkage.layout import WHEEL_CENTRE
from kin3d.studies.given_corner import GivenCorner
from kin3d.studies.plausible_figures import implausible_figures, springs_against_share
from kin3d.studies.plausible_motion import Speeds, bar_against_spring, design_speeds, implausible_motion, motion_ratio
from kin3d.studies.plausible_points import half_tracks_apart, implausible_points

GRAVITY = 9.81
WHEELBASE_MM = (800.0, 7000.0)
SAME_MM = 5.0  # wheelbases that differ by less are the same
OWN_ORIGIN_MM = 500.0  # axles nearer than this in x have each an origin of its own
CENTRE_SHARE = (0.5, 3.8)  # height of the mass centre over the loaded radius
MASS_KG = (50.0, 45_000.0)
RIDE_HZ = (0.7, 5.5)
FORCE_SHARE = (0.45, 1.35)  # of the static wheel load that a spring's design force carries
RATE_UNITS = ((0.175127, "lb/in"), (1e-3, "N/m"), (0.1, "N/cm"), (9.80665, "kgf/mm"))


def implausible(car: Car) -> tuple[Finding, ...]:
    """Everything in a car that is probably a slip, as warnings."""
    given = [GivenCorner.given(a) for a in car.axles()]
    found = [f for sides in given for c in sides for f in implausible_points(c)]
    slipped = bool(found)
    corners = [sides[0] for sides in given]
    units = any(f.code in ("unit-implausible", "origin-implausible") for f in found)
    if len(corners) == 2 and not units:
        found += half_tracks_apart(*corners)
    found += _car(car, corners if not units else [])
    if not units:
        found += implausible_figures(car, corners if not slipped else [])
        found += _moving(car, given, slipped)
    return tuple(dict.fromkeys(found))


def _moving(car: Car, given: list[list[GivenCorner]], slipped: bool) -> Iterator[Finding]:
    """What the design position's velocities tell; of points that are wrong already only what the springs do."""
    carried: dict[str, float] = {}
    for sides in given:
        for corner in sides:
            speeds = design_speeds(corner)
            if not slipped:
                yield from implausible_motion(corner, speeds)
            if corner is sides[0] and speeds is not None:
                yield from _springs(car, corner, speeds, carried)
                yield from bar_against_spring(corner, speeds)
    if not slipped:
        yield from springs_against_share(car, carried)


def _warn(key: str, text: str, code: str) -> Finding:
    return Finding(code, text, f"[car] {key}", Severity.WARNING)


def _number(given: object) -> float | None:
    return None if given is None else float(given)  # type: ignore[arg-type]


def _car(car: Car, corners: list[GivenCorner]) -> Iterator[Finding]:
    """Figures of the whole car, each by itself and against the points."""
    data = car.data
    yield from _wheelbase(car, corners)
    height, radius = _number(data.cg_height_mm), next((c.axle.loaded_radius_mm for c in corners), None)
    if height is not None and radius is not None:
        low, high = (s * float(radius) for s in CENTRE_SHARE)
        if not low <= height <= high:
            fits = (f * height for f in (10.0, 0.1, 1000.0, 25.4) if low <= f * height <= high)
            slip = next((f"; {v:g} would fit" for v in fits), "")
            text = f"is {height:g} mm; {low:.0f} to {high:.0f} mm is usual with wheels of {float(radius):g} mm{slip}"
            yield _warn("cg_height_mm", text, "mass-centre-implausible")
    mass = _number(data.mass_kg)
    if mass is not None and not MASS_KG[0] <= mass <= MASS_KG[1]:
        text = f"is {mass:g} kg; {MASS_KG[0]:g} to {MASS_KG[1]:,.0f} kg is usual: another unit, or one corner alone?"
        yield _warn("mass_kg", text, "mass-implausible")
    share = _number(data.front_mass_share)
    if share is not None and not 0.25 <= share <= 0.75:
        text = f"is {share:g}; 0.3 to 0.7 of the static load stands on the front axle of usual cars"
        yield _warn("front_mass_share", text, "share-implausible")
    unsprung = sum(2.0 * (_number(a.unsprung_mass_kg) or 0.0) for a in car.axles())
    if mass is not None and unsprung > 0.5 * mass:
        text = (
            f"the unsprung masses of all wheels make {unsprung:g} kg of the car's {mass:g} kg; 8 to 35 % is usual: "
            "unsprung_mass_kg is that of one wheel"
        )
        yield _warn("mass_kg", text, "unsprung-implausible")


def _wheelbase(car: Car, corners: list[GivenCorner]) -> Iterator[Finding]:
    given = _number(car.data.wheelbase_mm)
    apart = None
    if len(corners) == 2:
        apart = float(corners[0].at[WHEEL_CENTRE][0] - corners[1].at[WHEEL_CENTRE][0])
    if apart is not None and apart < -OWN_ORIGIN_MM:
        text = (
            f"the points place the rear wheels {-apart:.0f} mm ahead of the front ones: is x reversed, or are the "
            "axles exchanged? Caster and anti values change sign with x"
        )
        yield corners[1].warn("axles-reversed", text, WHEEL_CENTRE)
    if given is None:
        return
    if not WHEELBASE_MM[0] <= given <= WHEELBASE_MM[1]:
        names = ((1000.0, "metres"), (25.4, "inches"), (10.0, "centimetres"))
        slip = next((f": is it in {n}?" for f, n in names if 1000.0 <= f * given <= 6000.0), "")
        text = f"is {given:g} mm; {WHEELBASE_MM[0]:g} to {WHEELBASE_MM[1]:g} mm is usual{slip}"
        yield _warn("wheelbase_mm", text, "wheelbase-implausible")
    elif apart is not None and apart > OWN_ORIGIN_MM and abs(apart - given) > SAME_MM:
        text = (
            f"is {given:g} mm, but the points place the rear wheels {apart:.4g} mm behind the front ones; "
            "mend one of the two, the figure is used"
        )
        yield _warn("wheelbase_mm", text, "wheelbase-differs")
    elif corners:
        track = 2.0 * max(c.half_track for c in corners)
        if track > 0.95 * given and track > 1300.0:
            text = f"is {given:g} mm, little for a track of {track:.0f} mm; is y measured from the centre line?"
            yield _warn("wheelbase_mm", text, "origin-implausible")


def _springs(car: Car, corner: GivenCorner, speeds: Speeds, carried: dict[str, float]) -> Iterator[Finding]:
    """Rates and forces of an axle's coil springs against their load; what is held up at a wheel goes to `carried`."""
    axle = corner.axle
    spring = axle.spring
    if spring is None or corner.linkage.spring is None:
        return
    ratio = motion_ratio(corner, speeds)
    rate, place = float(spring.rate_n_per_mm), "spring.rate_n_per_mm"
    if ratio is None or abs(ratio) < 0.05:
        return
    if abs(ratio) > 4.0:
        text = f"the motion ratio is {ratio:.3g} in the design position; 0.2 to 2 is usual: look at rod and rocker"
        yield corner.warn("ratio-implausible", text, corner.linkage.spring[0])
        return
    load = _static_load(car, corner)
    if ratio < 0.0:
        return
    if load is None:
        if not 1.5 <= rate <= 2500.0:
            yield corner.key("rate-implausible", place, f"is {rate:g} N/mm; 5 to 1000 N/mm is usual{_rate_slip(rate)}")
        return
    hz = _ride_hz(rate, ratio, load)
    if not RIDE_HZ[0] <= hz <= RIDE_HZ[1]:
        fits = ((f * rate, n) for f, n in RATE_UNITS if 0.9 <= _ride_hz(rate * f, ratio, load) <= 4.5)
        meant = ((n, k, _ride_hz(k, ratio, load)) for k, n in fits)
        slip = next((f": is it in {n}? That would be {k:.3g} N/mm and {f:.1f} Hz" for n, k, f in meant), "")
        text = (
            f"is {rate:g} N/mm, which makes a ride frequency of {hz:.1f} Hz with the wheel's load of {load:.0f} N; "
            f"1 to 5 Hz is usual{slip}"
        )
        yield corner.key("rate-implausible", place, text)
    others = axle.springs or axle.third or axle.torsion
    if spring.design_force_n is not None and not others:
        held = float(spring.design_force_n) * ratio
        if FORCE_SHARE[0] * load <= held <= FORCE_SHARE[1] * load:
            carried[axle.name] = held
        else:
            text = (
                f"is {float(spring.design_force_n):g} N, which holds up {held:.0f} N at the wheel (motion ratio "
                f"{ratio:.3f}); mass and share of the car ask for {load:.0f} N there, less what is unsprung"
            )
            yield corner.key("force-implausible", "spring.design_force_n", text)


def _rate_slip(rate: float) -> str:
    fits = [n for f, n in RATE_UNITS if 15.0 <= rate * f <= 300.0]
    return f": is it in {fits[-1] if rate > 10_000.0 else fits[0]}?" if fits else ""


def _ride_hz(rate: float, ratio: float, load: float) -> float:
    """Ride frequency of the whole wheel load on the spring alone, Hz; rate N/mm, load N."""
    return sqrt(1000.0 * rate * ratio**2 * GRAVITY / load) / (2.0 * pi)


def _static_load(car: Car, corner: GivenCorner) -> float | None:
    """Static load of one wheel of the axle, N."""
    mass, share = _number(car.data.mass_kg), _number(car.data.front_mass_share)
    if mass is None or share is None:
        return None
    load = 0.5 * mass * GRAVITY * (share if corner.axle.name == "front" else 1.0 - share)
    return load or None
