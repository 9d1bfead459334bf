"""Quasi-static attitude: how the car stands on its tyres under steady braking, cornering and downforce.

Newton's iteration on the exact linkage (`kin3d.studies.attitude`, `load_steps`). Where joints and links give way, the
car is settled and bent in turns until nothing changes.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from kin3d.errors import Finding, RequestError
from kin3d.linkage.car import Car
from kin3d.loads.elastic import bent_too_far
from kin3d.studies.attitude import Attitude
from kin3d.studies.car import CarModel
from kin3d.studies.car_variants import CarVariants
from kin3d.studies.figure_doubt import figure_doubt
from kin3d.studies.load_steps import LoadSteps
from kin3d.studies.resting_car import at_rest, attitude_of
from kin3d.studies.settled import Settled
from kin3d.studies.settled_forces import bends_of
from kin3d.studies.settled_state import settled_car
from kin3d.studies.steady_loads import Loads

Array = NDArray[np.float64]
ROUNDS, BENT_MM = 12, 1e-8  # of bending and settling again, until nothing changes by so much (mm, deg)
_NEEDED = ("mass_kg", "front_mass_share", "cg_height_mm")


def settle(
    car: Car,
    braking: float = 0.0,
    lateral: float = 0.0,
    aero_front: float = 0.0,
    aero_rear: float = 0.0,
    rack: float = 0.0,
    *,
    driving: float = 0.0,
    vertical: float = 1.0,
    compliance: bool = False,
) -> Settled:
    """Find the attitude of a car under steady loads.

    Parameters
    ----------
    car : Car
        With both axles, their springs, mass, its share at the front, height of the mass centre, brake or drive shares.
    braking : float, g
        Deceleration.
    lateral : float, g
        Acceleration to the left (a left turn); negative for a right turn.
    aero_front, aero_rear : float, N
        Downforce at each axle; negative is lift.
    rack : float, mm
        Displacement of the front rack; to the left positive.
    driving : float, g
        Acceleration, in place of `braking`.
    vertical : float, g
        Weight over that at rest: 1 on a flat road, more in a hollow.
    compliance : bool
        Whether elastic joints and links give way, linearly, from the car at rest on; their stiffness as
        `kin3d.compliance` takes it.

    Returns
    -------
    Settled
        Body, wheels, springs, what was assumed, and how well forces and moments balance.

    Raises
    ------
    RequestError
        When data are missing, or when no attitude carries these loads (the car tips over, a linkage is at its end);
        with `compliance` when nothing is elastic, or a wheel bends by more than a degree.
    """
    if braking and driving:
        raise RequestError(Finding("loads-mixed", "braking and driving do not go together; give one of them"))
    loads = Loads(braking - driving, lateral, aero_front, aero_rear, rack, vertical)
    found, attitude = settled_under(car, loads)
    if compliance:
        found = _given_way(car, found, attitude)
    doubt = figure_doubt(car, found.figures(), lambda c: _beside(c, found).figures())
    return replace(found, doubt=doubt)


def settled_under(car: Car, loads: Loads) -> tuple[Settled, Attitude]:
    """The settled car under given loads as `settle` has it, with the equations that it was found by."""
    steps, findings = load_steps(car, loads)
    y, lifted = steps.run(loads)
    return settled_car(steps.attitude, y, loads, lifted, findings), steps.attitude


def load_steps(car: Car, loads: Loads) -> tuple[LoadSteps, tuple[Finding, ...]]:
    """The search for the attitude of a car under loads of a kind, as it begins at rest; and what was assumed for it."""
    _check(car, loads)
    model = CarModel.of(car)
    attitude, assumed = attitude_of(CarVariants.alone(model), loads)
    return LoadSteps(attitude, at_rest(attitude)[:, 0]), (*car.findings, *model.findings, *assumed)


def _given_way(car: Car, rigid: Settled, attitude: Attitude) -> Settled:
    """The same car with elastic joints and links, which are unbent in the car at rest."""
    still, _ = settled_under(car, Loads(rack_mm=rigid.loads.rack_mm))
    unbent = bends_of(still, attitude)
    if unbent is None:
        text = "nothing is elastic; give radial_n_per_mm and axial_n_per_mm of joints ([front.joints.POINT]), or tubes"
        raise RequestError(Finding("stiffness-missing", text, str(car.source)))
    found, bends = rigid, np.zeros_like(unbent)
    for _ in range(ROUNDS):
        before, now = bends, bends_of(found, attitude)
        bends = before if now is None else now - unbent
        soft = bent_too_far(bends, [w.name for w in found.wheels])
        if soft:
            raise RequestError(soft)
        if np.nanmax(np.abs(bends - before)) < BENT_MM:
            return replace(found, bends=bends)
        attitude = Attitude(attitude.cars, attitude.elements, attitude.body, bends)
        steps = LoadSteps(attitude, found.state)
        steps.lifted = tuple(w.lifted for w in found.wheels)
        if not steps.balance(found.loads):  # from where it stands; else the loads are brought on anew
            steps = LoadSteps(attitude, at_rest(attitude)[:, 0])
            steps.run(found.loads)
        found = settled_car(attitude, steps.y, found.loads, steps.lifted, rigid.findings)
    raise RequestError(Finding("no-attitude", "what bends does not come to rest: it is too soft", str(car.source)))


def _beside(car: Car, there: Settled) -> Settled:
    """The attitude of a car that differs a little from one that has settled, on the same wheels, bent alike."""
    loads, y, lifted = there.loads, there.state, tuple(w.lifted for w in there.wheels)
    attitude = attitude_of(CarVariants.alone(CarModel.of(car)), loads, there.bends)[0]
    found = LoadSteps(attitude, y).newton(y, loads, lifted)
    if found is None:
        raise RequestError(Finding("no-attitude", "no balance is found beside it", str(car.source)))
    return settled_car(attitude, found[0], loads, lifted, ())


def _check(car: Car, loads: Loads) -> None:
    """Refuse what cannot be computed, all at once."""
    needed = [*_NEEDED]
    if loads.braking_g > 0.0:
        needed.append("front_brake_share")
    if loads.braking_g < 0.0:
        needed += ["drive"] + (["front_drive_share"] if car.data.drive == "all" else [])
    found = [
        Finding("key-missing", "is missing; the attitude under load needs it", f"{car.source}, [car] {k}")
        for k in needed
        if getattr(car.data, k) is None
    ]
    for axle in car.axles():
        if not (axle.spring or axle.torsion or axle.springs or axle.third):
            text = f"is missing; give the springs of the {axle.name} axle"
            found.append(Finding("spring-missing", text, f"{car.source}, [{axle.name}.spring]"))
    for name in ("braking_g", "lateral_g", "aero_front_n", "aero_rear_n", "rack_mm", "vertical_g"):
        if not np.isfinite(getattr(loads, name)):
            option = "--" + name.rpartition("_")[0].replace("_", "-")
            found.append(Finding("load-not-finite", f"{option}: a finite number is expected"))
    if found:
        raise RequestError(found)


def in_case(finding: Finding, place: str, car: Car) -> Finding:
    """A finding of a settled car with the load case that it belongs to; the file is named once."""
    where = finding.place.removeprefix(str(car.source)).lstrip(", ")
    return replace(finding, place=f"{place}: {where}" if where else place)
