"""Forces in every link and joint under the load cases of the car file, from the equations of the motion.

A case is the road's force on one tyre, over a range of travels, or accelerations of the settled car. The rack is held.
In the first the spring takes what balance asks for at the given travel; bars and springs across the car carry nothing,
as the other wheel is not asked. In the second every spring, bar and stop has the force of the settled attitude.
Links weigh nothing; a wheel's unsprung mass acts at its centre.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from kin3d.errors import Finding, RequestError, Severity, raise_errors
from kin3d.linkage.car import Car
from kin3d.linkage.design import SIDES
from kin3d.linkage.keys import LoadCase
from kin3d.linkage.names import AxleName, did_you_mean
from kin3d.loads.elastic import FlexibleCorner, outside
from kin3d.loads.force_measures import of_settled_car
from kin3d.loads.held import held_corner, on_tyre
from kin3d.loads.joint_frames import joint_frames
from kin3d.loads.margins import link_margins
from kin3d.loads.members import Statics
from kin3d.loads.whole_axle import body_on, whole_axle
from kin3d.measures.corner import TRAVEL, Corner
from kin3d.solve.lanes import Lanes, Status
from kin3d.solve.model import AxleModel
from kin3d.studies.case_forces import CaseForces
from kin3d.studies.drive_values import drive_values
from kin3d.studies.forces_result import Forces
from kin3d.studies.settle import in_case, settled_under
from kin3d.studies.settled_forces import settled_corners
from kin3d.studies.steady_loads import Loads

Array = NDArray[np.float64]


def forces(
    car: Car,
    travel: Sequence[float] | Array = (0.0,),
    rack: float = 0.0,
    *,
    axle: AxleName | None = None,
    cases: Sequence[str] | None = None,
) -> Forces:
    """Find the forces in links, joints, pickups and springs under the car's load cases.

    Parameters
    ----------
    car : Car
        With ``[[cases]]``.
    travel : array-like, mm
        Travels at which a force on one tyre is looked at; a settled car has its own.
    rack : float, mm
        Displacement of the front rack in all cases; to the left positive. The rear one's in cases of the rear tyre.
    axle : {"front", "rear"}, optional
        Only this axle. Default: every axle that a case loads.
    cases : sequence of str, optional
        Names of the cases. Default: all.

    Returns
    -------
    Forces
        Vehicle frame, N. Positions that are not reached are left out and told.

    Raises
    ------
    RequestError
        Where the car has no case, a case is not known, something that it needs is not given, or no attitude carries it.
    """
    at = drive_values({"travel": travel, "rack": rack})["travel"]
    parts: list[CaseForces] = []
    findings: list[Finding] = []
    wrong: list[Finding] = []
    for case in _chosen(car, cases):
        place = f'{car.source}, [[cases]] "{case.name}"'
        try:
            if of_settled_car(case):
                found, told = _settled(car, case, rack, axle, place)
                parts += found
                findings += told
            elif axle in (None, case.axle):
                parts.append(_on_one_tyre(car, case, at, rack, place))
            else:
                text = f"is on the {case.axle} axle and left out here"
                findings.append(Finding("case-elsewhere", text, place, Severity.NOTE))
        except RequestError as error:
            wrong += error.findings
    if not parts and not wrong:
        text = f"no case that was chosen loads the {axle} axle"
        wrong.append(Finding("cases-elsewhere", text, str(car.source)))
    raise_errors(list(dict.fromkeys(wrong)), RequestError)
    for part in parts:
        findings += part.findings()
    return Forces(car.title, tuple(parts), tuple(findings))


def _chosen(car: Car, names: Sequence[str] | None) -> list[LoadCase]:
    if not car.cases:
        text = 'there is no load case; give [[cases]] with name = "kerb", axle, side and contact_n, or with braking_g'
        raise RequestError(Finding("cases-missing", text, str(car.source)))
    there = [case.name for case in car.cases]
    wrong = [
        Finding("case-unknown", f'there is no case "{name}"; {did_you_mean(name, there)}', str(car.source))
        for name in names or ()
        if name not in there
    ]
    if wrong:
        raise RequestError(wrong)
    return [case for case in car.cases if names is None or case.name in names]


def _on_one_tyre(car: Car, case: LoadCase, travel: Array, rack: float, place: str) -> CaseForces:
    """Forces in the corner on which the road's force acts."""
    if case.axle is None or case.side is None:
        raise RequestError(Finding("key-missing", "axle and side say which tyre the force acts on", place))
    model = AxleModel.of(car, case.axle)
    if model.axle.loaded_radius_mm is None:
        text = "is missing; it tells where the contact point is"
        raise RequestError(Finding("key-missing", text, f"{car.source}, [{case.axle}] loaded_radius_mm"))
    count = len(travel)
    lanes = Lanes(np.full(count, SIDES.index(case.side)), travel, np.full(count, rack))
    solved = model.kernel.solve(model.variants, lanes)
    corner = Corner.of(model, lanes, solved, along=TRAVEL)
    road = on_tyre(corner, case)
    seen = whole_axle(corner)
    statics = Statics(seen)
    acting, joints = held_corner(corner, road.pushes(), statics)
    ok, racks = solved.status == Status.OK, np.full(count, rack)
    elastic = FlexibleCorner.of(corner, statics)
    bent = None if elastic is None else outside(elastic.given(joints).sum(axis=0))
    roads = (replace(road, body=body_on(corner.linkage, road.body, case.side)),)
    parts = joint_frames(seen, joints), link_margins(seen, joints), bent
    return CaseForces(case.name, case.axle, case.side, travel, racks, ok, seen.linkage, joints, acting, roads, *parts)


def _settled(
    car: Car, case: LoadCase, rack: float, axle: AxleName | None, place: str
) -> tuple[list[CaseForces], list[Finding]]:
    """Forces in the corners of a settled car."""
    try:
        settled, attitude = settled_under(car, Loads.of(case, rack))
    except RequestError as error:
        raise RequestError([in_case(f, place, car) for f in error.findings]) from None
    out: list[CaseForces] = []
    for number, model in enumerate(attitude.cars.model.axles):
        if axle in (None, model.axle.name):
            out += settled_corners(case.name, settled, attitude, number)
    told = [f for f in settled.findings if f.severity is not Severity.NOTE or f.code == "force-assumed"]
    others = tuple(f"[{m.axle.name}" for m in attitude.cars.model.axles if axle not in (None, m.axle.name))
    told = [f for f in told if not (others and f.place.startswith(others))]
    return out, [in_case(f, place, car) for f in told]
