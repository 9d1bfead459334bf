"""Quasi-static attitude: how the car stands on its tyres under steady braking, cornering and downforce.

Newton's iteration on the exact linkage (`kin3d.studies.attitude`, `load_steps`). Where joints and links give way, the
car is settled and bent in turns until nothing changes.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from kin3d.errors import Finding, RequestError, Severity
from kin3d.linkage.car import Car
from kin3d.loads.elastic import bent_too_far
from kin3d.loads.elements import DAMPER_END, END_RATE, Element, axle_elements, element_findings
from kin3d.loads.load_transfer import GRAVITY_M_PER_S2
from kin3d.measures.anti import inboard_brakes, outboard_drive
from kin3d.measures.corner import TRAVEL, Corner, ground_normal
from kin3d.measures.corner_pair import CornerPair
from kin3d.solve.model import AxleModel
from kin3d.studies.attitude import LEVEL, LOAD, PITCH, SIZE, Attitude, Bodywork
from kin3d.studies.car import CarModel
from kin3d.studies.figure_doubt import figure_doubt
from kin3d.studies.load_steps import DOWN, LoadSteps
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
    loads = {"driving": driving, "vertical": vertical}
    found, attitude = find_attitude(car, braking, lateral, aero_front, aero_rear, rack, **loads)
    if compliance:
        found = _given_way(car, found, attitude)
    doubt = figure_doubt(car, found.figures(), lambda c: _beside(c, found).figures())
    return replace(found, doubt=doubt)


def find_attitude(
    car: Car,
    braking: float = 0.0,
    lateral: float = 0.0,
    aero_front: float = 0.0,
    aero_rear: float = 0.0,
    rack: float = 0.0,
    *,
    driving: float = 0.0,
    vertical: float = 1.0,
) -> tuple[Settled, Attitude]:
    """The settled car as `settle` gives it, with the equations that it was found by."""
    if braking and driving:
        raise RequestError(Finding("loads-mixed", "braking and driving do not go together; give one of them"))
    loads = Loads(braking - driving, lateral, aero_front, aero_rear, rack, vertical)
    steps, findings = load_steps(car, loads)
    y, lifted = steps.run(loads)
    return settled_car(steps.attitude, y, loads, lifted, findings), steps.attitude


def load_steps(car: Car, loads: Loads) -> tuple[LoadSteps, tuple[Finding, ...]]:
    """The search for the attitude of a car under loads of a kind, as it begins at rest; and what was assumed for it."""
    _check(car, loads)
    model = CarModel.of(car)
    body = _bodywork(model, loads)
    elements, assumed = _elements(model, body)
    attitude = Attitude(model, elements, body)
    return LoadSteps(attitude, _start(model, body)), (*car.findings, *model.findings, *assumed)


def _given_way(car: Car, rigid: Settled, attitude: Attitude) -> Settled:
    """The same car with elastic joints and links, which are unbent in the car at rest."""
    still, _ = find_attitude(car, rack=rigid.loads.rack_mm)
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
        attitude = Attitude(attitude.model, attitude.elements, attitude.body, bends)
        steps = LoadSteps(attitude, found.state)
        steps.lifted = tuple(w.lifted for w in found.wheels)
        if not steps.balance(found.loads):  # from where it stands; else the loads are brought on anew
            steps = LoadSteps(attitude, _start(attitude.model, attitude.body))
            steps.run(found.loads)
        found = settled_car(attitude, steps.y, found.loads, steps.lifted, rigid.findings)
    raise RequestError(Finding("no-attitude", "what bends does not come to rest: it is too soft", str(car.source)))


def _beside(car: Car, there: Settled) -> Settled:
    """The attitude of a car that differs a little from one that has settled, on the same wheels, bent alike."""
    loads, y, lifted = there.loads, there.state, tuple(w.lifted for w in there.wheels)
    model = CarModel.of(car)
    body = _bodywork(model, loads)
    attitude = Attitude(model, _elements(model, body)[0], body, there.bends)
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


def _bodywork(model: CarModel, loads: Loads) -> Bodywork:
    """Masses and their places in the design position."""
    data, axles = model.car.data, model.axles
    mass, share = float(data.mass_kg or 0.0), float(data.front_mass_share or 0.0)
    feet, hubs = _design(model)
    n = np.array([float(c) for c in ground_normal(0.0, model.pitch_rad)])
    middle = share * feet[:2].mean(axis=0) + (1.0 - share) * feet[2:].mean(axis=0)
    centre = middle + float(data.cg_height_mm or 0.0) * n
    each = [float(m.axle.unsprung_mass_kg or 0.0) for m in axles]
    unsprung = (each[0], each[0], each[1], each[1])
    sprung = (mass * centre - np.array(unsprung) @ hubs) / (mass - sum(unsprung))
    front, rear = (0.5 * mass * GRAVITY_M_PER_S2 * s for s in (share, 1.0 - share))
    rates = [m.axle.tyre_rate_n_per_mm for m in axles]
    give = np.repeat([1.0 / r if r else 0.0 for r in rates], 2)
    driven, free = loads.braking_g < 0.0, loads.braking_g <= 0.0
    return Bodywork(
        mass_kg=mass,
        unsprung_kg=unsprung,
        sprung_centre=sprung,
        aero=np.stack([feet[:2].mean(axis=0), feet[2:].mean(axis=0)]),
        static_n=np.array([front, front, rear, rear]),
        tyre_mm_per_n=give,
        front_share=_driven_share(model) if driven else float(data.front_brake_share or 0.0),
        turns=(_turns(axles[0], driven, free), _turns(axles[1], driven, free)),
    )


def _turns(axle: AxleModel, driven: bool, free: bool) -> bool:
    """Whether the wheel turns freely in its upright, which takes no torque then."""
    return not outboard_drive(axle) if driven else free or inboard_brakes(axle)


def _driven_share(model: CarModel) -> float:
    data = model.car.data
    return {"front": 1.0, "rear": 0.0}.get(str(data.drive), float(data.front_drive_share or 0.0))


def _design(model: CarModel) -> tuple[Array, Array]:
    """Contact points and wheel centres in the design position, each (4, 3), frame of the front points, mm."""
    feet: list[Array] = []
    hubs: list[Array] = []
    normal = ground_normal(np.zeros(2), np.full(2, model.pitch_rad))
    for axle, shift in zip(model.axles, model.shifts, strict=True):
        lanes = axle.pair(np.zeros((2, 1)), np.zeros(1))
        solved = axle.kernel.solve(axle.variants, lanes)
        corner = Corner.of(axle, lanes, solved, along=TRAVEL, normal=normal)
        for out, point in ((feet, corner.contact), (hubs, corner.centre)):
            moved = (point[0].value + shift, point[1].value, point[2].value)
            out.append(np.stack([np.broadcast_to(c, 2) for c in moved], axis=-1))
    return np.concatenate(feet), np.concatenate(hubs)


def _start(model: CarModel, body: Bodywork) -> Array:
    """Design position with static tyre loads."""
    y = np.zeros(SIZE)
    y[LOAD] = body.static_n
    n = np.array([float(c) for c in ground_normal(0.0, model.pitch_rad)])
    y[LEVEL] = float(body.aero.mean(axis=0) @ n)
    y[PITCH] = model.pitch_rad
    return y


def _elements(model: CarModel, body: Bodywork) -> tuple[list[tuple[Element, ...]], list[Finding]]:
    """Springs and bars of both axles; a spring without a given force gets the one that holds the car up as designed."""
    out, findings = [], []
    for number, axle in enumerate(model.axles):
        elements = axle_elements(axle)
        if any(e.kind in ("spring", "torsion") and e.design_force is None for e in elements):
            elements, note = _preloaded(model, body, number, elements)
            findings.append(note)
        else:
            findings += list(element_findings(axle))
        out.append((*elements, *_droop_ends(axle, elements)))
    return out, findings


def _droop_ends(axle: AxleModel, elements: Sequence[Element]) -> list[Element]:
    """The damper's end in droop, on which a wheel hangs when its spring no longer holds the damper together."""
    damper = axle.axle.damper
    if damper is None:
        return []
    stiff = {"kind": "stop", "name": DAMPER_END, "design_force": 0.0, "gap": damper.droop_mm, "sense": -1.0}
    on = [e for e in elements if e.name == damper.on and e.kind != "stop"]
    return [replace(e, rate=END_RATE * e.rate, **stiff) for e in on]  # type: ignore[arg-type]


def _preloaded(
    model: CarModel, body: Bodywork, number: int, elements: tuple[Element, ...]
) -> tuple[tuple[Element, ...], Finding]:
    axle = model.axles[number]
    name = next(e.name for e in elements if e.kind in ("spring", "torsion") and e.design_force is None)
    attitude = Attitude(model, [elements if k == number else () for k in (0, 1)], body)
    found = attitude.evaluate(_start(model, body), Loads(), DOWN)
    pair = CornerPair.at(axle, 0.0, 0.0, degree=1)
    lacking = [k for k, e in enumerate(elements) if e.name == name and e.kind in ("spring", "torsion")]
    given = [elements[k].deflection(pair.left, pair.right) for k in lacking]
    rates = np.array([[float(np.ravel(u[m])[0]) for u in given] for m in ((1, 0), (0, 1))])
    left = np.zeros(2) if found is None else found.residual[2 * number : 2 * number + 2]
    forces = np.linalg.lstsq(rates, left)[0]
    out = list(elements)
    for k, force in zip(lacking, forces, strict=True):
        out[k] = replace(elements[k], design_force=float(force))
    unit = "N" if elements[0].unit == "mm" else "N·mm"
    text = f'"{name}" has no force in the design position'
    assumed = f"{forces[0]:,.0f} {unit}, which holds the static load there"
    return tuple(out), Finding("force-assumed", text, f"[{axle.axle.name}]", Severity.NOTE, assumed)
