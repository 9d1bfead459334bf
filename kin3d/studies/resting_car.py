"""Cars as designed, ready to be loaded: masses and their places, springs with what holds them up, the state at rest."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from kin3d.errors import Finding, Severity
from kin3d.loads.elements import DAMPER_END, END_RATE, Element, axle_elements, element_findings
from kin3d.loads.load_transfer import GRAVITY_M_PER_S2
from kin3d.measures.anti import inboard_brakes, outboard_drive
from kin3d.measures.corner import TRAVEL, ground_normal
from kin3d.measures.corner_pair import CornerPair
from kin3d.solve.model import AxleModel
from kin3d.spatial.jets import over_lanes
from kin3d.studies.attitude import LEVEL, LOAD, PITCH, SIZE, Attitude
from kin3d.studies.car_variants import Bodywork, CarVariants
from kin3d.studies.load_steps import DOWN
from kin3d.studies.steady_loads import Loads

Array = NDArray[np.float64]


def attitude_of(cars: CarVariants, loads: Loads, bends: Array | None = None) -> tuple[Attitude, list[Finding]]:
    """The equations of cars under loads of a kind, and what was assumed of springs."""
    body = _bodywork(cars, loads)
    elements, assumed = _elements(cars, body)
    return Attitude(cars, elements, body, bends), assumed


def at_rest(attitude: Attitude) -> Array:
    """Design position with static tyre loads, shape (13, cars)."""
    return _start(attitude.cars, attitude.body)


def _bodywork(cars: CarVariants, loads: Loads) -> Bodywork:
    """Masses and their places in the design position."""
    mass, share, height = (_number(cars, f"car.{k}") for k in ("mass_kg", "front_mass_share", "cg_height_mm"))
    feet, hubs = _design(cars)
    middle = share * feet[:2].mean(axis=0) + (1.0 - share) * feet[2:].mean(axis=0)
    centre = middle + height * _normal(cars)
    names = [m.axle.name for m in cars.axles]
    each = np.repeat([_number(cars, f"{n}.unsprung_mass_kg") for n in names], 2, axis=0)
    sprung = (mass * centre - (each[:, None] * hubs).sum(axis=0)) / (mass - each.sum(axis=0))
    front, rear = (0.5 * mass * GRAVITY_M_PER_S2 * s for s in (share, 1.0 - share))
    rates = [_number(cars, f"{n}.tyre_rate_n_per_mm") for n in names]
    give = np.repeat([np.where(r > 0.0, 1.0 / np.where(r > 0.0, r, 1.0), 0.0) for r in rates], 2, axis=0)
    driven, free = loads.braking_g < 0.0, loads.braking_g <= 0.0
    one, other = cars.axles
    return Bodywork(
        mass_kg=mass,
        unsprung_kg=each,
        sprung_centre=sprung,
        aero=np.stack([feet[:2].mean(axis=0), feet[2:].mean(axis=0)]),
        static_n=np.stack([front, front, rear, rear]),
        tyre_mm_per_n=give,
        front_share=_driven_share(cars) if driven else _number(cars, "car.front_brake_share"),
        turns=(_turns(one, driven, free), _turns(other, driven, free)),
    )


def _number(cars: CarVariants, key: str) -> Array:
    """A figure of every car; 0 where the file does not give it."""
    given = cars.figure(key)
    return np.broadcast_to(np.asarray(0.0 if given is None else given, dtype=float), cars.count)


def _turns(axle: AxleModel, driven: bool, free: bool) -> bool:
    """Whether the wheel turns freely in its upright, which takes no torque then."""
    return not outboard_drive(axle) if driven else free or inboard_brakes(axle)


def _driven_share(cars: CarVariants) -> Array:
    share = {"front": 1.0, "rear": 0.0}.get(str(cars.model.car.data.drive))
    return _number(cars, "car.front_drive_share") if share is None else np.full(cars.count, share)


def _normal(cars: CarVariants) -> Array:
    """The ground's normal in the chassis frame as designed, shape (3, cars)."""
    return over_lanes(ground_normal(np.zeros(cars.count), cars.pitch_rad), cars.count)


def _design(cars: CarVariants) -> tuple[Array, Array]:
    """Contact points and wheel centres in the design position, each (4, 3, cars), frame of the front points, mm."""
    feet: list[Array] = []
    hubs: list[Array] = []
    lanes = 2 * cars.count
    normal = ground_normal(np.zeros(lanes), np.tile(cars.pitch_rad, 2))
    for axle, shift in enumerate(cars.shifts):
        corner = cars.corners(axle, np.zeros((2, cars.count)), 0.0, TRAVEL, normal)
        for out, point in ((feet, corner.contact), (hubs, corner.centre)):
            moved = (point[0].value + np.tile(shift, 2), point[1].value, point[2].value)
            out.append(over_lanes(moved, lanes).reshape(3, 2, cars.count).swapaxes(0, 1))
    return np.concatenate(feet), np.concatenate(hubs)


def _start(cars: CarVariants, body: Bodywork) -> Array:
    y = np.zeros((SIZE, cars.count))
    y[LOAD] = body.static_n
    y[LEVEL] = (body.aero.mean(axis=0) * _normal(cars)).sum(axis=0)
    y[PITCH] = cars.pitch_rad
    return y


def _elements(cars: CarVariants, body: Bodywork) -> tuple[list[tuple[Element, ...]], list[Finding]]:
    """Springs and bars of both axles; a spring without a given force gets the one that holds the car up as designed."""
    out, findings = [], []
    for number, axle in enumerate(cars.axles):
        design = cars.pair(number, np.zeros((2, cars.count)), 0.0, degree=1)
        elements = axle_elements(cars.as_filed(number), design)
        if any(e.kind in ("spring", "torsion") and e.design_force is None for e in elements):
            elements, note = _preloaded(cars, body, number, elements, design)
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
    stiff: dict[str, Any] = {
        "kind": "stop", "name": DAMPER_END, "design_force": 0.0, "gap": damper.droop_mm, "sense": -1.0
    }  # fmt: skip
    on = [e for e in elements if e.name == damper.on and e.kind != "stop"]
    return [replace(e, rate=END_RATE * e.rate, **stiff) for e in on]


def _preloaded(
    cars: CarVariants, body: Bodywork, number: int, elements: tuple[Element, ...], design: CornerPair
) -> tuple[tuple[Element, ...], Finding]:
    name = next(e.name for e in elements if e.kind in ("spring", "torsion") and e.design_force is None)
    attitude = Attitude(cars, [elements if k == number else () for k in (0, 1)], body)
    found = attitude.evaluate(_start(cars, body), Loads(), DOWN)
    lacking = [k for k, e in enumerate(elements) if e.name == name and e.kind in ("spring", "torsion")]
    given = [elements[k].deflection(design.left, design.right) for k in lacking]
    rates = np.stack(
        [np.stack([np.broadcast_to(u[m], cars.count) for u in given], axis=-1) for m in ((1, 0), (0, 1))], axis=1
    )
    left = np.nan_to_num(found.residual[2 * number : 2 * number + 2]).T[..., None]
    forces = (np.linalg.pinv(rates) @ left)[..., 0].T  # one row a spring
    out = list(elements)
    for k, force in zip(lacking, forces, strict=True):
        out[k] = replace(elements[k], design_force=force if cars.count > 1 else float(force[0]))
    unit = "N" if elements[0].unit == "mm" else "N·mm"
    text = f'"{name}" has no force in the design position'
    assumed = f"{forces[0, 0]:,.0f} {unit}, which holds the static load there"
    return tuple(out), Finding("force-assumed", text, f"[{cars.axles[number].axle.name}]", Severity.NOTE, assumed)
