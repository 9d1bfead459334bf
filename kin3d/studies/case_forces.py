"""The forces of one corner under one load case: on which body, at which point, along which link."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kin3d.errors import Finding, Severity
from kin3d.linkage.layout import CHASSIS, Linkage
from kin3d.linkage.names import AxleName
from kin3d.loads.applied import Acting, RoadLoad
from kin3d.loads.elastic import bent_too_far
from kin3d.loads.joint_forces import JointForces
from kin3d.loads.joint_frames import JointFrame
from kin3d.loads.listed import Force, listed_forces
from kin3d.loads.margins import LinkMargin

Array = NDArray[np.float64]
CAUTION = (
    "Forces of rigid links without weight and friction, from the points and loads given. Strength and safety are for "
    "qualified people and local codes."
)


@dataclass(frozen=True, slots=True)
class CaseForces:
    """One corner under one case over positions, or the whole of an axle whose sides are one system.

    Attributes
    ----------
    case, axle, side : str
        Of a whole axle the side of the tyre that is loaded, or ``"both"``.
    travel_mm, rack_mm : ndarray, shape (lanes,)
    ok : ndarray of bool
        Where the position was reached.
    linkage : Linkage
    joints : JointForces
    acting : tuple of Acting
        What springs and stops exert.
    roads : tuple of RoadLoad
        What the road exerts on the body that carries the wheel; on each wheel's of an axle that is one system.
    frames : tuple of JointFrame
        Joints that have an axis, in their own frames.
    margins : tuple of LinkMargin
        Links whose tubes the car file gives.
    bent : ndarray, shape (displacements, lanes), or None
        What elastic joints and links add to toe, camber, caster and the wheel's place (`loads.elastic.DISPLACEMENTS`),
        in degrees and mm; None where all is rigid. Of a whole axle that of the loaded wheel, or the left one.
    bent_right : ndarray, shape (displacements, lanes), or None
        The same of the right wheel, of a whole axle whose `side` is ``"both"``.
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
    roads: tuple[RoadLoad, ...]
    frames: tuple[JointFrame, ...] = ()
    margins: tuple[LinkMargin, ...] = ()
    bent: Array | None = None
    bent_right: Array | None = None

    @property
    def nearest(self) -> int:
        """The lane whose travel is nearest to 0, of those that are reached."""
        return int(np.argmin(np.where(self.ok, np.abs(self.travel_mm), np.inf)))

    def bends(self) -> Iterator[tuple[str, Array]]:
        """Each wheel that gives way, by its side, with how far, shape (displacements, lanes)."""
        if self.bent is not None:
            yield "left" if self.side == "both" else self.side, self.bent
        if self.bent_right is not None:
            yield "right", self.bent_right

    def bends_too_far(self) -> list[Finding]:
        """The angle that changes most, where it is more than a degree."""
        if not self.ok.any():
            return []
        out = []
        for side, way in self.bends():
            most = np.nan_to_num(np.abs(way[:, self.ok])).max(axis=1)
            out += bent_too_far(most[None], [f'case "{self.case}", {self.axle} {side}'])
        return out

    def forces(self) -> Iterator[Force]:
        """Links, joints, pickups, springs, in this order."""
        return listed_forces(self.linkage, self.joints, self.acting)

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
