"""What elastic joints and links give way, by the unit-load theorem: C = Σ fᵢ·c·fⱼ over all of them.

fᵢ is the force in a joint or link under the i-th unit load, c what it gives way per newton: for a joint a tensor,
1/k along its axis and 1/k square to it, for a tube L/(E·A). What has no stiffness is rigid. The two pickups of a hinge
share the force along their line so that the energy is least, that is as their stiffness has it.
(Unit-load theorem and Maxwell's reciprocity: S. P. Timoshenko and D. H. Young, *Theory of Structures*, 1965, from
memory.)

Units: N, mm. Frame: vehicle.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kin3d.loads.joint_forces import JointForces
from kin3d.loads.joint_frames import JointFrame
from kin3d.loads.margins import section, tubes_of
from kin3d.measures.corner import Corner

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Flexible:
    """An elastic joint or link over lanes.

    Attributes
    ----------
    kind : str
        ``"joint"`` or ``"link"``.
    name, on : str
        The joint's point and the body that gives way there, or the link.
    give : ndarray, shape (3, 3, lanes)
        Way in mm per N; of a link along its line alone.
    """

    kind: str
    name: str
    on: str
    give: Array


def flexible_parts(corner: Corner, frames: Sequence[JointFrame], forces: JointForces) -> tuple[Flexible, ...]:
    """Joints and links of a corner that are not rigid."""
    out = [Flexible("joint", f.point, f.on, _of_joint(f)) for f in frames]
    for link, tube in tubes_of(corner.axle, corner.linkage).items():
        area = section(tube)
        if area is None or tube.modulus_n_per_mm2 is None:
            continue
        first, second = (forces.at[p] for p in corner.linkage.bodies[link])
        length = np.linalg.norm(second - first, axis=0)
        line = (second - first) / length
        out.append(Flexible("link", link, link, line[:, None] * line * length / (tube.modulus_n_per_mm2 * area)))
    return tuple(one for one in out if np.any(one.give))


def _of_joint(frame: JointFrame) -> Array:
    along = frame.axis[:, None] * frame.axis
    radial, axial = frame.part.radial_n_per_mm, frame.part.axial_n_per_mm
    out = np.zeros_like(along)
    if radial is not None:
        out = out + (np.eye(3)[:, :, None] - along) / radial
    return out if axial is None else out + along / axial


def forces_in(parts: Sequence[Flexible], forces: JointForces, bodies: Mapping[str, tuple[str, ...]]) -> list[Array]:
    """The force in each elastic part under one load, shape (3, lanes) each, hinges shared by stiffness."""
    out = [_force(part, forces, bodies) for part in parts]
    where = {(part.on, part.name): k for k, part in enumerate(parts) if part.kind == "joint"}
    for one, other, p, q in forces.hinges:
        line = forces.at[q] - forces.at[p]
        line = line / np.linalg.norm(line, axis=0)
        for body in (one, other):
            ends = [where.get((body, point)) for point in (p, q)]
            slack: Array = np.zeros(line.shape[1])
            wanted: Array = np.zeros(line.shape[1])
            for k, sign in zip(ends, (1.0, -1.0), strict=True):
                if k is not None:
                    slack = slack + np.einsum("al,abl,bl->l", line, parts[k].give, line)
                    wanted = wanted - sign * np.einsum("al,abl,bl->l", line, parts[k].give, out[k])
            share = np.where(slack > 0.0, wanted / np.where(slack > 0.0, slack, 1.0), 0.0) * line
            for k, sign in zip(ends, (1.0, -1.0), strict=True):
                if k is not None:
                    out[k] = out[k] + sign * share
    return out


def _force(part: Flexible, forces: JointForces, bodies: Mapping[str, tuple[str, ...]]) -> Array:
    if part.kind == "joint":
        return forces.on_body[part.on, part.name]
    first, second = (forces.at[p] for p in bodies[part.name])
    return np.asarray(forces.axial[part.name] * (second - first) / np.linalg.norm(second - first, axis=0))


def given_way(parts: Sequence[Flexible], under: Sequence[Array], asked: Sequence[Array]) -> Array:
    """What each part adds to a displacement under a load, shape (parts, lanes).

    Parameters
    ----------
    under, asked : sequence of ndarray
        Forces in the parts under the load, and under the unit load that belongs to the displacement.
    """
    return np.stack(
        [np.einsum("al,abl,bl->l", f, p.give, g) for p, f, g in zip(parts, under, asked, strict=True)]
    )
