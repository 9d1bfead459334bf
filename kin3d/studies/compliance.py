"""Compliance: what elastic joints and links add to toe, camber, caster and the wheel's place per unit of load.

Linear, about a position without load, the spring held at its length, the rack held. Each displacement of the wheel's
carrier has a unit load that belongs to it: to a place of the wheel centre a force there, to an angle the couple
spin × d(angle)/d(spin), or kingpin × d(caster)/d(kingpin), since the carrier turns as one.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kin3d.errors import Finding, RequestError, Severity
from kin3d.linkage.car import Car
from kin3d.linkage.design import SIDES
from kin3d.linkage.joined import independent_only
from kin3d.linkage.names import AxleName
from kin3d.loads.applied import over_lanes
from kin3d.loads.flexibility import Flexible, flexible_parts, forces_in, given_way
from kin3d.loads.held import held_corner
from kin3d.loads.joint_forces import JointForces, Push
from kin3d.loads.joint_frames import joint_frames
from kin3d.loads.members import Statics
from kin3d.measures.corner import TRAVEL, Corner
from kin3d.solve.lanes import Lanes, Status
from kin3d.solve.model import AxleModel
from kin3d.studies.compliance_result import ASKED, AxleCompliance, Compliance

Array = NDArray[np.float64]
LOADS = ("Fx", "Fy", "Fz", "Mz")


def compliance(
    car: Car, travel: Sequence[float] | Array = (0.0,), rack: float = 0.0, *, axle: AxleName | None = None
) -> Compliance:
    """Find what elastic joints and links add to the wheel's angles and place, per kN and N·m.

    Parameters
    ----------
    car : Car
        With ``radial_n_per_mm`` or ``axial_n_per_mm`` of joints, or tubes of links.
    travel : array-like, mm
    rack : float, mm
        Displacement of the rack; to the left positive.
    axle : {"front", "rear"}, optional
        Default: every axle that has something elastic.

    Returns
    -------
    Compliance
        Of the left side, and of the right one where it has points of its own. Vehicle frame.

    Raises
    ------
    RequestError
        Where nothing is elastic, nothing holds the wheel up, or so much bends that linear figures do not hold.
    """
    at = np.atleast_1d(np.asarray(travel, dtype=float))
    if not at.size or not np.isfinite(at).all() or not np.isfinite(rack):
        raise RequestError(Finding("drive-empty", "travel and rack: finite numbers in mm are expected"))
    chosen = [a for a in car.axles() if axle in (None, a.name)]
    independent_only("compliance", chosen)
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
    return Compliance(car.title, tuple(parts), tuple(findings))


@dataclass(frozen=True, slots=True)
class _Loaded:
    """Forces of a corner under unit loads."""

    corner: Corner
    statics: Statics

    def under(self, pushes: Sequence[Push]) -> JointForces:
        return held_corner(self.corner, pushes, self.statics)[1]

    def force(self, place: Array, direction: int) -> JointForces:
        unit = np.zeros_like(place)
        unit[direction] = 1.0
        return self.under([Push(self.corner.linkage.wheel_body, place, unit)])

    def couple(self, moment: Array) -> JointForces:
        hub = over_lanes(self.corner.centre, moment.shape[1])
        return self.under(Push.couple(self.corner.linkage.wheel_body, hub, moment))


def _corner(model: AxleModel, side: str, travel: Array, rack: float) -> AxleCompliance | None:
    count = len(travel)
    lanes = Lanes(np.full(count, SIDES.index(side)), travel, np.full(count, rack))
    solved = model.kernel.solve(model.variants, lanes)
    corner = Corner.of(model, lanes, solved, along=TRAVEL)
    loaded = _Loaded(corner, Statics(corner))
    centre = over_lanes(corner.centre, count)
    upward = np.zeros_like(centre)
    upward[2] = 1.0
    at_centre = [loaded.force(centre, k) for k in range(3)]
    about_z = loaded.couple(upward)
    parts = flexible_parts(corner, joint_frames(corner, at_centre[0]), at_centre[0])
    if not parts:
        return None
    loads = {("wheel centre", n): j for n, j in zip(LOADS, (*at_centre, about_z), strict=True)}
    if corner.axle.loaded_radius_mm is not None:
        foot = over_lanes(corner.contact, count)
        at_foot = [loaded.force(foot, k) for k in range(3)]
        loads |= {("contact point", n): j for n, j in zip(LOADS, (*at_foot, about_z), strict=True)}
    asked = [None if m is None else loaded.couple(m) for m in _couples(corner, count)]
    given = _contributions(corner, parts, list(loads.values()), [*asked, *at_centre])
    ok = np.asarray(solved.status == Status.OK)
    racks = np.full(count, rack)
    named = tuple((p.kind, p.name, p.on) for p in parts)
    return AxleCompliance(corner.axle.name, side, travel, racks, ok, tuple(loads), named, given)


def _contributions(
    corner: Corner, parts: Sequence[Flexible], loads: Sequence[JointForces], asked: Sequence[JointForces | None]
) -> Array:
    """Shape (parts, loads, displacements, lanes), rad or mm per N or N·mm; NaN for what the layout does not have."""
    bodies = corner.linkage.bodies
    out = np.full((len(parts), len(loads), len(ASKED), corner.lanes.count), np.nan)
    under = [forces_in(parts, load, bodies) for load in loads]
    for k, one in enumerate(asked):
        if one is not None:
            mine = forces_in(parts, one, bodies)
            for n, f in enumerate(under):
                out[:, n, k] = given_way(parts, f, mine)
    return out


def _couples(corner: Corner, count: int) -> tuple[Array | None, ...]:
    """Couples that belong to toe, camber and caster: what they do on a small turn is the change of the angle, rad."""
    a = over_lanes(corner.spin, count)
    s = np.broadcast_to(np.asarray(corner.sign, dtype=float), count)
    zero = np.zeros(count)
    toe = s * np.stack([a[1], -a[0], zero]) / (a[0] ** 2 + a[1] ** 2)
    camber = np.stack([zero, zero, -1.0 / np.sqrt(1.0 - a[2] ** 2)])
    caster = None
    if corner.linkage.steering_axis is not None:
        k = over_lanes(corner.steering_axis[1], count)
        caster = np.cross(k, np.stack([-k[2], zero, k[0]]) / (k[0] ** 2 + k[2] ** 2), axis=0)
    return np.cross(a, toe, axis=0), np.cross(a, camber, axis=0), caster
