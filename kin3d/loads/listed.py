"""Every force of a corner by its name: along links and springs, at joints and pickups, and on which body it acts."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from kin3d.linkage.layout import CHASSIS, Linkage
from kin3d.loads.applied import Acting
from kin3d.loads.joint_forces import JointForces

Array = NDArray[np.float64]
ForceKind = Literal["link", "joint", "pickup", "spring"]


@dataclass(frozen=True, slots=True)
class Force:
    """One force over lanes: on a body, shape (3, lanes), and along a link or spring, (lanes,), tension positive; N."""

    kind: ForceKind
    name: str
    on: str
    force: Array
    axial: Array | None = None

    @property
    def size(self) -> Array:
        """Its resultant, N, shape (lanes,)."""
        return np.asarray(np.linalg.norm(self.force, axis=0))


def listed_forces(linkage: Linkage, joints: JointForces, acting: Sequence[Acting]) -> Iterator[Force]:
    """Links, joints, pickups, springs, in this order."""
    at, on_body = joints.at, joints.on_body
    for link, axial in joints.axial.items():
        end, other = _ends(linkage, link)
        line = at[other] - at[end]
        pull = axial * line / np.linalg.norm(line, axis=0)
        yield Force("link", link, _partner(linkage, link, end), pull, axial)
    for (body, point), force in on_body.items():
        if body != CHASSIS and (CHASSIS, point) not in on_body:
            yield Force("joint", point, body, force)
    for (body, point), force in on_body.items():
        if body == CHASSIS:
            yield Force("pickup", point, CHASSIS, force)
    for one in acting:
        if one.body == CHASSIS:
            yield Force("pickup", one.point, CHASSIS, one.force)
    for one in acting:
        if one.body != CHASSIS:
            yield Force("spring", one.name, one.body, one.force, one.axial)


def _ends(linkage: Linkage, link: str) -> tuple[str, str]:
    """Ends of a link, the moving one that is farther from the chassis first."""
    first, second = linkage.bodies[link]
    held = {*linkage.fixed, *linkage.rack}
    return (second, first) if first in held else (first, second)


def _partner(linkage: Linkage, link: str, point: str) -> str:
    """The body that a link acts on at its end."""
    bodies = [b for b, points in linkage.bodies.items() if point in points and b != link]
    large = [b for b in bodies if len(linkage.bodies[b]) > 2]
    return (large or bodies or [CHASSIS])[0]
