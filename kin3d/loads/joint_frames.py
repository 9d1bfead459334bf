"""Joints in their own frames: what acts along the axis of the stud or bolt and square to it, and how far it is tilted.

The axis goes with the body that holds the stud: the chassis where it meets the joint, else the body that carries the
wheel, else the first of more than two points. Every other body there has a force and a tilt of its own against it.
A body of more than two points is tilted by the angle between the axis as it would carry it itself and the axis as it
is; a link by its angle to the plane square to the axis, as a rod end is.

Units: N, mm, rad. Frame: vehicle.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from kin3d.linkage.car import Axle
from kin3d.linkage.layout import CHASSIS, Linkage
from kin3d.linkage.part_keys import JointPart
from kin3d.linkage.record import changed
from kin3d.loads.joint_forces import JointForces
from kin3d.loads.whole_axle import names_of, side_of_file
from kin3d.measures.corner import Corner
from kin3d.measures.rod import turned
from kin3d.spatial.jets import over_lanes
from kin3d.spatial.vectors import Vec, vector

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class JointFrame:
    """A joint as one of its bodies has it, over lanes.

    Attributes
    ----------
    point, on : str
        Where, and the body that the force acts on.
    part : JointPart
        What the car file says of it; names alone where it says nothing.
    axis : ndarray, shape (3, lanes)
        Unit vector.
    axial : ndarray, shape (lanes,)
        Force along the axis, N.
    radial : ndarray, shape (lanes,)
        Force square to it, N, without sign.
    tilt : ndarray, shape (lanes,)
        Angle out of line, rad, without sign.
    """

    point: str
    on: str
    part: JointPart
    axis: Array
    axial: Array
    radial: Array
    tilt: Array

    def lane(self, which: slice) -> JointFrame:
        """The same for some of the lanes."""
        cut = {n: getattr(self, n)[which] for n in ("axial", "radial", "tilt")}
        return replace(self, axis=self.axis[:, which], **cut)


def joint_parts(axle: Axle, linkage: Linkage) -> dict[str, JointPart]:
    """What is known of every joint that has a rating or an axis, by point; the rod's ends have theirs of the rod."""
    out: dict[str, JointPart] = {}
    for joint in axle.joints:
        names = names_of(axle, linkage, joint.name)
        out |= {name: changed(joint, joint.own_sigmas, name=name) if len(names) > 1 else joint for name in names}
    for point in linkage.points:
        if linkage.hinge_at(point) is not None and len(linkage.bodies_at(point)) > 1:
            out.setdefault(point, JointPart(name=point))
    if linkage.rocker is not None and axle.rod_part is not None:
        rod = axle.rod_part
        for point, bolt in zip(linkage.rocker.rod, (rod.bolt_outer, rod.bolt_inner), strict=True):
            part = out.get(point, JointPart(name=point))
            out[point] = changed(part, part.own_sigmas, axis=bolt, limit_deg=rod.rod_end_limit_deg)
    return out


def joint_frames(corner: Corner, forces: JointForces) -> tuple[JointFrame, ...]:
    """Every joint that has an axis, in its own frame."""
    out = []
    for point, part in joint_parts(corner.axle, corner.linkage).items():
        axis = design_axis(corner, part)
        if axis is None:
            continue
        holder = stud_of(corner.linkage, point)
        along = over_lanes(_carried(corner, holder, axis), corner.lanes.count)
        for body in corner.linkage.bodies_at(point):
            force = forces.on_body.get((body, point))
            if body == holder or force is None:
                continue
            axial = (force * along).sum(axis=0)
            radial = np.linalg.norm(force - axial * along, axis=0)
            out.append(JointFrame(point, body, part, along, axial, radial, _tilt(corner, body, axis, along)))
    return tuple(out)


def stud_of(linkage: Linkage, point: str) -> str:
    """The body that holds the stud or bolt of a joint."""
    bodies = linkage.bodies_at(point)
    large = [b for b in bodies if b in (CHASSIS, *linkage.wheel_bodies) or len(linkage.bodies[b]) > 2]
    first = [b for b in (CHASSIS, *linkage.wheel_bodies) if b in large]
    return (first or large or list(bodies))[0]


def design_axis(corner: Corner, part: JointPart) -> Vec | None:
    """A joint's axis in the design position over lanes; None where neither the file nor a hinge gives one."""
    if part.axis is not None:  # given for the side of the point table; the other side's is its mirror image
        side = side_of_file(corner.axle, part.name, np.asarray(corner.sign, dtype=float))
        return part.axis[0], part.axis[1] * side, part.axis[2]
    hinge = corner.linkage.hinge_at(part.name)
    if hinge is None:
        return None
    first, second = (over_lanes(corner.motion.design[p], corner.lanes.count) for p in hinge)
    return vector((second - first) / np.linalg.norm(second - first, axis=0))


def _carried(corner: Corner, body: str, axis: Vec) -> Vec:
    return axis if body == CHASSIS else turned(corner, body, axis)


def _tilt(corner: Corner, body: str, axis: Vec, along: Array) -> Array:
    count = corner.lanes.count
    if body != CHASSIS and len(corner.linkage.bodies[body]) == 2:
        first, second = (over_lanes(corner.place(p), count) for p in corner.linkage.bodies[body])
        line = (second - first) / np.linalg.norm(second - first, axis=0)
        return np.asarray(np.abs(np.arcsin(np.clip((line * along).sum(axis=0), -1.0, 1.0))))
    own = over_lanes(_carried(corner, body, axis), count)
    across = np.linalg.norm(np.cross(own, along, axis=0), axis=0)
    return np.asarray(np.arctan2(across, np.abs((own * along).sum(axis=0))))
