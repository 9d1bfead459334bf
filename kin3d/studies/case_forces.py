"""The forces of one corner under one load case: on which body, at which point, along which link."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from kin3d.errors import Finding, Severity
from kin3d.linkage.layout import CHASSIS, Linkage
from kin3d.linkage.names import AxleName
from kin3d.loads.applied import Acting, RoadLoad
from kin3d.loads.joint_forces import JointForces
from kin3d.loads.joint_frames import JointFrame
from kin3d.loads.margins import LinkMargin

Array = NDArray[np.float64]
ForceKind = Literal["link", "joint", "pickup", "spring"]
CAUTION = (
    "Forces of rigid links without weight and friction, from the points and loads given. Strength and safety are for "
    "qualified people and local codes."
)


@dataclass(frozen=True, slots=True)
class Force:
    """One force over the positions of a case: on a body, shape (3, lanes), and along a link or spring, (lanes,)."""

    kind: ForceKind
    name: str
    on: str
    force: Array
    axial: Array | None = None

    @property
    def size(self) -> Array:
        """Its resultant, N, shape (lanes,)."""
        return np.asarray(np.linalg.norm(self.force, axis=0))


@dataclass(frozen=True, slots=True)
class CaseForces:
    """One corner under one case over positions.

    Attributes
    ----------
    case, axle, side : str
    travel_mm, rack_mm : ndarray, shape (lanes,)
    ok : ndarray of bool
        Where the position was reached.
    linkage : Linkage
    joints : JointForces
    acting : tuple of Acting
        What springs and stops exert.
    road : RoadLoad
        What the road exerts on the body that carries the wheel.
    frames : tuple of JointFrame
        Joints that have an axis, in their own frames.
    margins : tuple of LinkMargin
        Links whose tubes the car file gives.
    """

    case: str
    axle: AxleName
    side: str
    travel_mm: Array
    rack_mm: Array
    ok: NDArray[np.bool_]
    linkage: Linkage
    joints: JointForces
    acting: tuple[Acting, ...]
    road: RoadLoad
    frames: tuple[JointFrame, ...] = ()
    margins: tuple[LinkMargin, ...] = ()

    def forces(self) -> Iterator[Force]:
        """Links, joints, pickups, springs, in this order."""
        at, on_body = self.joints.at, self.joints.on_body
        for link, axial in self.joints.axial.items():
            end, other = self._ends(link)
            line = at[other] - at[end]
            pull = axial * line / np.linalg.norm(line, axis=0)
            yield Force("link", link, self._partner(link, end), pull, axial)
        for (body, point), force in on_body.items():
            if body != CHASSIS and (CHASSIS, point) not in on_body:
                yield Force("joint", point, body, force)
        for (body, point), force in on_body.items():
            if body == CHASSIS:
                yield Force("pickup", point, CHASSIS, force)
        for one in self.acting:
            if one.body == CHASSIS:
                yield Force("pickup", one.point, CHASSIS, one.force)
        for one in self.acting:
            if one.body != CHASSIS:
                yield Force("spring", one.name, one.body, one.force, one.axial)

    def _ends(self, link: str) -> tuple[str, str]:
        """Ends of a link, the moving one that is farther from the chassis first."""
        first, second = self.linkage.bodies[link]
        held = {*self.linkage.fixed, *self.linkage.rack}
        return (second, first) if first in held else (first, second)

    def _partner(self, link: str, point: str) -> str:
        """The body that a link acts on at its end."""
        bodies = [b for b, points in self.linkage.bodies.items() if point in points and b != link]
        large = [b for b in bodies if len(self.linkage.bodies[b]) > 2]
        return (large or bodies or [CHASSIS])[0]

    def label(self, force: Force) -> str:
        """For a person: a link or spring by its name, a joint or pickup with the bodies that meet there."""
        if force.axial is not None:
            return force.name
        bodies = [b for b, points in self.linkage.bodies.items() if force.name in points]
        bodies += [CHASSIS] if force.kind == "pickup" else []
        return f"{force.name} ({', '.join(bodies)})" if len(bodies) > 1 else force.name

    def findings(self) -> list[Finding]:
        """Positions that are not reached."""
        if self.ok.all():
            return []
        where = ", ".join(f"{t:g}" for t in self.travel_mm[~self.ok])
        text = f"travel {where} mm is not reached by the linkage; its rows are left out"
        return [Finding("not-reached", text, f"{self.case}, {self.axle} {self.side}", Severity.WARNING)]

    @property
    def error(self) -> float:
        """Largest force (N) or moment (N·m) that is left over on a body."""
        return float(self.joints.error[self.ok].max(initial=0.0))
