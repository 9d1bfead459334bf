"""The figures of a settled car from the state that was found: thirteen unknowns become wheels, springs and findings."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from kin3d.errors import Finding, Severity
from kin3d.loads.elastic import PLACE
from kin3d.loads.elements import DAMPER_END
from kin3d.loads.load_transfer import GRAVITY_M_PER_S2
from kin3d.measures.corner import TRAVEL, Corner, ground_normal
from kin3d.measures.corner_pair import CornerPair
from kin3d.measures.ground import camber_ground, toe_ground
from kin3d.spatial.vectors import add, dot
from kin3d.studies.attitude import LEVEL, LOAD, PITCH, ROLL, SIDE, WHEELS, Attitude
from kin3d.studies.ground_contact import directions
from kin3d.studies.settled import ElementState, Settled, WheelState
from kin3d.studies.steady_loads import Loads

Array = NDArray[np.float64]


def settled_car(
    attitude: Attitude, y: Array, loads: Loads, lifted: tuple[bool, ...], findings: Sequence[Finding]
) -> Settled:
    """Figures of a state that was found."""
    wheels = _wheels(attitude, y, loads, lifted)
    elements, energy = _elements(attitude, y, loads)
    force, moment = _left_over(attitude, y, loads, wheels)
    model, centre = attitude.cars.model, attitude.body.sprung_centre[:, 0]
    flat = model.pitch_rad
    design = float(_components(centre - attitude.body.aero[0, :, 0], 0.0, flat)[2])
    height = float(_components(centre, y[ROLL], y[PITCH])[2] - y[LEVEL])
    return Settled(
        title=model.car.title,
        loads=loads,
        heave_mm=float(y[:4].mean()),
        pitch_deg=float(np.degrees(y[PITCH] - flat)),
        roll_deg=float(np.degrees(y[ROLL])),
        centre_height_mm=height,
        centre_rise_mm=height - design,
        wheels=wheels,
        elements=elements,
        error_n=float(np.abs(force).max()),
        error_n_m=float(np.abs(moment).max()) / 1000.0,
        energy_n_mm=energy,
        findings=(*findings, *_lifted(wheels), *_strokes(attitude, elements, {w.name for w in wheels if w.lifted})),
        state=y,
        bends=attitude.bends,
    )


def _components(p: Array, roll: float, pitch: float) -> Array:
    return np.asarray(directions(roll, pitch) @ p)


def _wheels(attitude: Attitude, y: Array, loads: Loads, lifted: tuple[bool, ...]) -> tuple[WheelState, ...]:
    out = []
    body = attitude.body
    normal = tuple(np.full(2, float(c)) for c in ground_normal(float(y[ROLL]), float(y[PITCH])))
    weight = -float(body.mass_kg[0]) * GRAVITY_M_PER_S2 * loads.braking_g
    for axle, (model, shift) in enumerate(zip(attitude.cars.model.axles, attitude.cars.model.shifts, strict=True)):
        lanes = model.pair(y[2 * axle : 2 * axle + 2, None], np.full(1, loads.rack_mm * (axle == 0)))
        solved = model.kernel.solve(model.variants, lanes)
        nx, ny, nz = normal
        corner = attitude.standing(Corner.of(model, lanes, solved, along=TRAVEL, normal=(nx, ny, nz)), axle)
        camber, toe = (np.degrees(np.broadcast_to(m(corner).value, 2)) for m in (camber_ground, toe_ground))
        feet = add(corner.contact, (shift, 0.0, 0.0))
        height = np.broadcast_to(dot(feet, corner.normal).value, 2)
        place = np.stack([np.broadcast_to(c.value, 2) for c in feet], axis=-1)
        both = y[LOAD][2 * axle : 2 * axle + 2]
        front = float(body.front_share[0])
        share = front if axle == 0 else 1.0 - front
        for k in (0, 1):
            number = 2 * axle + k
            load = 0.0 if lifted[number] else float(both[k])
            along = share * weight * load / float(sum(b for j, b in enumerate(both) if not lifted[2 * axle + j]))
            foot = place[k] + (y[LEVEL] - height[k]) * np.array([nx[0], ny[0], nz[0]])
            out.append(
                WheelState(
                    name=WHEELS[number],
                    travel_mm=float(y[number]),
                    load_n=load,
                    side_n=load * float(y[SIDE][axle]),
                    along_n=along,
                    camber_ground_deg=float(camber[k]),
                    toe_ground_deg=float(toe[k]),
                    contact_mm=foot,
                    lifted=lifted[number],
                    gap_mm=float(height[k] - y[LEVEL] - (body.static_give_mm[number, 0] if lifted[number] else 0.0)),
                )
            )
    return tuple(out)


def _elements(attitude: Attitude, y: Array, loads: Loads) -> tuple[tuple[ElementState, ...], float]:
    out, energy = [], 0.0
    for axle, elements in enumerate(attitude.elements):
        model = attitude.cars.model.axles[axle]
        pair = CornerPair.at(model, y[2 * axle], y[2 * axle + 1], loads.rack_mm * (axle == 0), degree=1)
        for e in elements:
            u = float(np.ravel(e.deflection(pair.left, pair.right).value)[0])
            force = float(np.ravel(e.force(u)[0])[0])
            energy += float(np.ravel(e.energy(u))[0])
            slack = float(e.beyond_free_length(u))
            if e.name != DAMPER_END or force:
                out.append(ElementState(model.axle.name, e.label, e.kind, e.unit, u, force, slack))
    return tuple(out), energy


def _left_over(attitude: Attitude, y: Array, loads: Loads, wheels: Sequence[WheelState]) -> tuple[Array, Array]:
    """Force (N) and moment about the origin (N·mm) of the car that are left over, from places and forces anew."""
    frame = directions(float(y[ROLL]), float(y[PITCH]))
    force, moment = np.zeros(3), np.zeros(3)

    def put(place: Array, along: Sequence[float] | Array) -> None:
        nonlocal force, moment
        f = np.asarray(along) @ frame
        force, moment = force + f, moment + np.cross(place, f)

    body = attitude.body
    each = np.array(loads.field_g) * GRAVITY_M_PER_S2
    unsprung = body.unsprung_kg[:, 0]
    put(body.sprung_centre[:, 0], (body.mass_kg[0] - unsprung.sum()) * each)
    for mass, hub in zip(unsprung, _hubs(attitude, y, loads), strict=True):
        put(hub, mass * each)
    for wheel in wheels:
        put(wheel.contact_mm, (wheel.along_n, wheel.side_n, wheel.load_n))
    for place, down in zip(body.aero[:, :, 0], (loads.aero_front_n, loads.aero_rear_n), strict=True):
        put(place, (0.0, 0.0, -down))
    return force, moment


def _hubs(attitude: Attitude, y: Array, loads: Loads) -> Array:
    out = []
    for axle, (model, shift) in enumerate(zip(attitude.cars.model.axles, attitude.cars.model.shifts, strict=True)):
        lanes = model.pair(y[2 * axle : 2 * axle + 2, None], np.full(1, loads.rack_mm * (axle == 0)))
        solved = model.kernel.solve(model.variants, lanes)
        points = model.kernel.points(model.variants, lanes, solved)
        out.append(points[:, model.linkage.index("wheel_centre")] + [shift, 0.0, 0.0])
    rigid = np.concatenate(out)
    return rigid if attitude.bends is None else rigid + attitude.bends[:, PLACE]


def _lifted(wheels: Sequence[WheelState]) -> list[Finding]:
    return [
        Finding(
            "wheel-lifted",
            f"the {w.name} wheel lifts off, {w.gap_mm:.1f} mm over the ground",
            severity=Severity.WARNING,
        )
        for w in wheels
        if w.lifted
    ]


def _strokes(attitude: Attitude, states: Sequence[ElementState], in_air: set[str]) -> list[Finding]:
    """Springs that are slack, stops met, dampers beyond their stroke."""
    out = []
    for s in states:
        place = f"[{s.axle}] {s.name}"
        if s.slack_mm and f"{s.axle} {s.name.split(' ')[-1]}" in in_air:
            text = "does not pull: its wheel hangs in the air, counted as held where the spring is at its free length"
            out.append(Finding("spring-loose", text, place, Severity.WARNING))
        elif s.slack_mm:
            text = f"is slack, {s.slack_mm:.1f} mm beyond its free length: it carries nothing"
            out.append(Finding("spring-loose", text, place, Severity.WARNING))
        if s.kind == "stop" and s.force != 0.0:
            out.append(Finding("stop-met", f"is met, with {abs(s.force):,.0f} N", place, Severity.NOTE))
    for axle in attitude.cars.model.axles:
        damper = axle.axle.damper
        if damper is None:
            continue
        for s in states:
            if s.axle == axle.axle.name and s.kind != "stop" and s.name.split(" ")[0] == damper.on:
                beyond = s.deflection - damper.bump_mm  # in droop it is held by its end
                if beyond > 0.0:
                    text = f"is {beyond:.1f} mm beyond the stroke that the damper has there"
                    place = f"[{s.axle}.damper] {s.name}"
                    out.append(Finding("stroke-exceeded", text, place, Severity.WARNING))
    return out
