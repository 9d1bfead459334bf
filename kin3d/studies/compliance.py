"""Compliance: what elastic joints and links add to toe, camber, caster and the wheel's place, per unit and in cases."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from kin3d.errors import Finding, RequestError, Severity
from kin3d.linkage.car import Car
from kin3d.linkage.design import SIDES
from kin3d.linkage.names import AxleName
from kin3d.loads.elastic import FlexibleCorner
from kin3d.measures.corner import TRAVEL, Corner
from kin3d.solve.lanes import Lanes, Status
from kin3d.solve.model import AxleModel
from kin3d.spatial.jets import over_lanes
from kin3d.studies.case_forces import CaseForces
from kin3d.studies.compliance_result import AxleCompliance, Compliance
from kin3d.studies.drive_values import drive_values
from kin3d.studies.forces import forces

Array = NDArray[np.float64]
LOADS = ("Fx", "Fy", "Fz", "Mz")


def compliance(
    car: Car,
    travel: Sequence[float] | Array = (0.0,),
    rack: float = 0.0,
    *,
    axle: AxleName | None = None,
    cases: Sequence[str] | None = None,
) -> Compliance:
    """Find what elastic joints and links add to the wheel's angles and place, per kN and N·m and under load cases.

    Parameters
    ----------
    car : Car
        With ``radial_n_per_mm`` or ``axial_n_per_mm`` of joints, or tubes of links.
    travel : array-like, mm
    rack : float, mm
        Displacement of the rack; to the left positive.
    axle : {"front", "rear"}, optional
        Default: every axle that has something elastic.
    cases : sequence of str, optional
        Names of load cases of the car file. Default: all.

    Returns
    -------
    Compliance
        Of the left side, and of the right one where it has points of its own. Vehicle frame.

    Raises
    ------
    RequestError
        Where nothing is elastic, nothing holds the wheel up, or so much bends that linear figures do not hold.
    """
    at = drive_values({"travel": travel, "rack": rack})["travel"]
    chosen = [a for a in car.axles() if axle in (None, a.name)]
    parts: list[AxleCompliance] = []
    findings: list[Finding] = []
    for one in chosen:
        model = AxleModel.of(car, one.name)
        for side in SIDES if one.other_points is not None else SIDES[:1]:
            found = _corner(model, side, at, rack)
            parts += [found] if found is not None else []
    if not parts:
        where = " or ".join(f"[{a.name}.joints.POINT]" for a in chosen)
        text = f"nothing is elastic; give radial_n_per_mm and axial_n_per_mm in {where}, or the tubes of links"
        raise RequestError(Finding("stiffness-missing", text, str(car.source)))
    soft = [f for part in parts for f in part.too_soft()]
    if soft:
        raise RequestError(soft)
    for part in parts:
        if not part.ok.all():
            where = ", ".join(f"{t:g}" for t in part.travel_mm[~part.ok])
            text = f"travel {where} mm is not reached by the linkage; its rows are left out"
            findings.append(Finding("not-reached", text, f"{part.axle} {part.side}", Severity.WARNING))
    bent, told = _under_cases(car, at, rack, axle, cases)
    return Compliance(car.title, tuple(parts), tuple(findings + told), bent)


def _corner(model: AxleModel, side: str, travel: Array, rack: float) -> AxleCompliance | None:
    count = len(travel)
    lanes = Lanes(np.full(count, SIDES.index(side)), travel, np.full(count, rack))
    solved = model.kernel.solve(model.variants, lanes)
    corner = Corner.of(model, lanes, solved, along=TRAVEL)
    elastic = FlexibleCorner.of(corner)
    if elastic is None:
        return None
    upward = np.zeros((3, count))
    upward[2] = 1.0
    about_z = elastic.under_couple(upward)
    loads = {("wheel centre", n): j for n, j in zip(LOADS, (*elastic.at_centre, about_z), strict=True)}
    if corner.axle.loaded_radius_mm is not None:
        foot = over_lanes(corner.contact, count)
        at_foot = [elastic.under_force(foot, k) for k in range(3)]
        loads |= {("contact point", n): j for n, j in zip(LOADS, (*at_foot, about_z), strict=True)}
    given = np.stack([elastic.given(j) for j in loads.values()], axis=1)
    ok = np.asarray(solved.status == Status.OK)
    racks = np.full(count, rack)
    named = tuple((p.kind, p.name, p.on) for p in elastic.parts)
    return AxleCompliance(corner.axle.name, side, travel, racks, ok, tuple(loads), named, given)


def _under_cases(
    car: Car, travel: Array, rack: float, axle: AxleName | None, names: Sequence[str] | None
) -> tuple[tuple[CaseForces, ...], list[Finding]]:
    """Corners that bend under load cases; what stands in the way of a case is told, and refused if it was asked for."""
    if not car.cases and names is None:
        return (), []
    out: list[CaseForces] = []
    told: list[Finding] = []
    for one in names or [c.name for c in car.cases]:
        try:
            found = forces(car, travel, rack, axle=axle, cases=[one])
        except RequestError as error:
            if names is not None:
                raise
            told += [replace(f, severity=Severity.NOTE) for f in error.findings if f.code != "cases-elsewhere"]
            continue
        out += [part for part in found.parts if part.bent is not None]
        told += [f for f in found.findings if f.severity is not Severity.NOTE]
    soft = [f for part in out for f in part.bends_too_far()]
    if soft:
        raise RequestError(soft)
    return tuple(out), told
