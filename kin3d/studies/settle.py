"""Quasi-static attitude: how the car stands on its tyres under steady braking, cornering and downforce.

Newton's iteration on the exact linkage (`kin3d.studies.attitude`), the loads brought on in steps. A tyre that would
have to pull lifts off and hangs on its springs; a lifted wheel whose free tyre would sink into the ground comes down
again. A state is accepted only if it is stable: one that balances on two wheels is none in which a car stands.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from kin3d.errors import Finding, RequestError, Severity
from kin3d.linkage.car import Car
from kin3d.loads.elements import DAMPER_END, END_RATE, Element, axle_elements, element_findings
from kin3d.loads.load_transfer import GRAVITY_M_PER_S2
from kin3d.measures.anti import inboard_brakes, outboard_drive
from kin3d.measures.corner import TRAVEL, Corner, ground_normal
from kin3d.measures.corner_pair import CornerPair
from kin3d.solve.model import AxleModel
from kin3d.studies.attitude import LEVEL, LOAD, PITCH, SIZE, WHEELS, Attitude, Bodywork, Evaluated
from kin3d.studies.car import CarModel
from kin3d.studies.figure_doubt import figure_doubt
from kin3d.studies.settled import Settled
from kin3d.studies.settled_state import settled_car
from kin3d.studies.steady_loads import Loads

Array = NDArray[np.float64]
FORCE_N, GAP_MM, MOMENT_NMM = 1e-7, 1e-8, 1e-4  # residuals of an accepted state
ITERATIONS = 15
FIRST_G, SMALLEST_G = 0.5, 1e-4  # steps in which the loads are brought on, as a share of the weight
RESOLVED = 5e-4  # the largest load that can be held is found to this part of it
CHANGES = 6  # of the wheels that are lifted, before the search gives up
DOWN = (False, False, False, False)
_TIPS = "the car tips over"
_ENDS = "a linkage comes to its end"
_NONE = "no balance is found"
_NEEDED = ("mass_kg", "front_mass_share", "cg_height_mm")
_TRAVEL_STEP_MM = 15.0  # a Newton step is cut to this travel


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

    Returns
    -------
    Settled
        Body, wheels, springs, what was assumed, and how well forces and moments balance.

    Raises
    ------
    RequestError
        When data are missing, or when no attitude carries these loads (the car tips over, a linkage is at its end).
    """
    found, _ = find_attitude(car, braking, lateral, aero_front, aero_rear, rack, driving=driving, vertical=vertical)
    lifted = tuple(w.lifted for w in found.wheels)
    doubt = figure_doubt(car, found.figures(), lambda c: _beside(c, found.loads, found.state, lifted).figures())
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


def _beside(car: Car, loads: Loads, y: Array, lifted: tuple[bool, ...]) -> Settled:
    """The attitude of a car that differs a little from one that has settled, on the same wheels."""
    model = CarModel.of(car)
    body = _bodywork(model, loads)
    attitude = Attitude(model, _elements(model, body)[0], body)
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


class LoadSteps:
    """Newton's iteration with loads in steps and wheels that lift; `y` and `lifted` are the last state that holds."""

    def __init__(self, attitude: Attitude, start: Array) -> None:
        self.attitude = attitude
        self.y = start
        self.lifted: tuple[bool, ...] = DOWN
        self.reason = ""

    def run(self, loads: Loads, since: Loads | None = None) -> tuple[Array, tuple[bool, ...]]:
        """Bring the loads on; returns the state and which wheels are lifted.

        Parameters
        ----------
        since : Loads, optional
            Those that the last state holds; default: the car is brought to rest first.
        """
        before = since or loads.part(0.0)
        if since is None and not self._balance(before):
            text = "the springs do not hold the car up at rest: the linkage comes to its end first"
            raise RequestError([Finding("no-attitude", text, str(self.attitude.model.car.source)), *self._why()])
        size = self._size(loads, before)
        done, step, halved = 0.0, min(1.0, FIRST_G / size), False
        while done < 1.0:
            ahead = min(step, 1.0 - done)
            if self._balance(loads.part(done + ahead, before)):
                done = 1.0 if ahead >= 1.0 - done else done + ahead
                step, halved = (step if halved else 2.0 * step), False
            elif ahead > max(RESOLVED * done, SMALLEST_G / size):
                step, halved = 0.5 * ahead, True
            else:
                raise RequestError([self._cannot(loads, loads.part(done, before)), *self._why()])
        return self.y, self.lifted

    def _size(self, loads: Loads, before: Loads) -> float:
        """Largest of the changes of load as a share of the weight."""
        weight = self.attitude.body.mass_kg * GRAVITY_M_PER_S2
        pairs = zip(loads.each, before.each, strict=True)
        braking, lateral, front, rear, vertical = (abs(new - old) for new, old in pairs)
        return max(braking, lateral, vertical, (front + rear) / weight, 1e-9)

    def _balance(self, loads: Loads) -> bool:
        """Balance at these loads, lifting and lowering wheels as they ask for it; keeps the state when it is found."""
        lifted, y = self.lifted, self.y.copy()
        free = self.attitude.body.static_give_mm
        for _ in range(CHANGES):
            found = self.newton(y, loads, lifted)
            if found is None:
                return False
            y, here = found
            changed = list(lifted)
            for k in range(4):
                if lifted[k] and here.gap[k] < free[k] - 1e-6:
                    changed[k] = False
                elif not lifted[k] and y[LOAD][k] < -1e-6:
                    changed[k] = True
            if tuple(changed) == lifted:
                if not self.attitude.stable(here, lifted):
                    self.reason = _TIPS
                    return False
                self.y, self.lifted = y, lifted
                return True
            # an axle in the air, or a side of the car: what stands on two wheels falls over
            if any(changed[a] and changed[b] for a, b in ((0, 1), (2, 3), (0, 2), (1, 3))):
                self.reason = _TIPS
                return False
            lifted = tuple(changed)
        self.reason = _NONE
        return False

    def newton(self, start: Array, loads: Loads, lifted: tuple[bool, ...]) -> tuple[Array, Evaluated] | None:
        """The balance near a state; None where there is none."""
        y = start.copy()
        here = self.attitude.evaluate(y, loads, lifted)
        for _ in range(ITERATIONS):
            if here is None:
                self.reason = _ENDS
                return None
            if _small(here):
                return y, here
            try:
                step = np.linalg.solve(here.jacobian, -here.residual)
            except np.linalg.LinAlgError:
                self.reason = _TIPS
                return None
            step *= min(1.0, _TRAVEL_STEP_MM / max(float(np.abs(step[:4]).max()), 1e-12))
            y = y + step
            here = self.attitude.evaluate(y, loads, lifted)
        self.reason = _NONE if here is not None else _ENDS
        return None

    def _cannot(self, loads: Loads, reached: Loads) -> Finding:
        rest = loads.part(0.0)
        done = self._size(reached, rest) / self._size(loads, rest)
        part = f" ({100.0 * done:.4g} % of what was asked for)" if done > 1e-9 else ""
        text = f"no attitude carries these loads: the largest that is held is {reached}{part}; beyond it {self.reason}"
        return Finding("no-attitude", text, str(self.attitude.model.car.source))

    def _why(self) -> list[Finding]:
        up = [w for w, lifted in zip(WHEELS, self.lifted, strict=True) if lifted]
        travel = ", ".join(f"{w} {z:+.1f} mm" for w, z in zip(WHEELS, self.y[:4], strict=True))
        said = f"; lifted: {', '.join(up)}" if up else ""
        return [Finding("last-attitude", f"travels in the last state that holds: {travel}{said}")]


def _small(found: Evaluated) -> bool:
    r = np.abs(found.residual)
    forces, contacts, moments = r[[0, 1, 2, 3, 8, 9]], r[4:8], r[10:]
    return bool(forces.max() < FORCE_N and contacts.max() < GAP_MM and moments.max() < MOMENT_NMM)
