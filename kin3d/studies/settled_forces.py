"""Forces in the corners of a settled car: every spring, bar and stop has the force of the attitude."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from kin3d.linkage.design import SIDES
from kin3d.loads.applied import Acting, RoadLoad, on_wheel, over_lanes
from kin3d.loads.elastic import DISPLACEMENTS, FlexibleCorner, outside
from kin3d.loads.exerted import exerted, whole_elements
from kin3d.loads.held import generalised
from kin3d.loads.joint_forces import Push, joint_forces
from kin3d.loads.joint_frames import joint_frames
from kin3d.loads.load_transfer import GRAVITY_M_PER_S2
from kin3d.loads.margins import link_margins
from kin3d.loads.members import Statics
from kin3d.loads.whole_axle import body_on, lane_of, whole_axle
from kin3d.measures.corner_pair import CornerPair
from kin3d.measures.two_travels import LEFT, RIGHT
from kin3d.studies.attitude import PITCH, ROLL, Attitude
from kin3d.studies.case_forces import CaseForces
from kin3d.studies.ground_contact import directions
from kin3d.studies.settled import Settled

Array = NDArray[np.float64]


def settled_corners(case: str, settled: Settled, attitude: Attitude, number: int) -> list[CaseForces]:
    """Forces in both corners of one axle of a settled car, left and right."""
    model, shift = attitude.model.axles[number], attitude.model.shifts[number]
    wheels = settled.wheels[2 * number : 2 * number + 2]
    rack = settled.loads.rack_mm * (number == 0)
    pair = CornerPair.at(model, wheels[0].travel_mm, wheels[1].travel_mm, rack, degree=1)
    frame = directions(float(settled.state[ROLL]), float(settled.state[PITCH]))
    force = np.stack([np.array([w.along_n, w.side_n, w.load_n]) @ frame for w in wheels], axis=1)
    foot = np.stack([w.contact_mm - [shift, 0.0, 0.0] for w in wheels], axis=1)
    turns = attitude.body.turns[number]
    road = on_wheel(pair, force, np.zeros_like(force), None if turns else "braked", foot)
    weight = GRAVITY_M_PER_S2 * attitude.body.unsprung_kg[2 * number] * (np.array(settled.loads.field_g) @ frame)
    hub = over_lanes(pair.centre, 2)
    pushes = [*road.pushes(), Push(pair.linkage.wheel_body, hub, np.tile(weight[:, None], 2))]
    in_air: dict[str, bool] = {s: wheels[k].lifted for k, s in enumerate(SIDES)}
    if pair.joined:
        return [_settled_whole(case, settled, attitude, number, pair, road, pushes, in_air)]
    acting, turned = exerted(attitude.elements[number], pair, in_air)
    out = []  # lane 0 is the left one, lane 1 the right one
    statics = Statics(pair)
    loads = [*pushes, *(push for one in acting for push in one.pushes()), *turned]
    multipliers = statics.multipliers(generalised(statics, loads))
    joints = joint_forces(statics, multipliers, loads)
    frames = joint_frames(pair, joints)
    elastic = FlexibleCorner.of(pair, statics)
    bent = None if elastic is None else outside(elastic.given(joints).sum(axis=0))
    for k, side in enumerate(SIDES):
        lane = slice(k, k + 1)
        mine = tuple(_lane(one, lane) for one in acting if np.any(one.force[:, k]))
        travel, racks = np.array([wheels[k].travel_mm]), np.array([rack])
        where = (case, model.axle.name, side, travel, racks, pair.ok[:1], pair.linkage)
        own = joints.lane(lane)
        parts = tuple(f.lane(lane) for f in frames), link_margins(pair, own), None if bent is None else bent[:, lane]
        out.append(CaseForces(*where, own, mine, (_lane_of_road(road, k),), *parts))
    return out


def _settled_whole(
    case: str,
    settled: Settled,
    attitude: Attitude,
    number: int,
    pair: CornerPair,
    road: RoadLoad,
    pushes: Sequence[Push],
    in_air: dict[str, bool],
) -> CaseForces:
    """The whole of an axle whose sides are one system, in the one position that both lanes are."""
    linkage, seen, first = pair.linkage, whole_axle(pair), slice(0, 1)
    acting, turned = whole_elements(attitude.elements[number], pair, seen, in_air)
    loads = [lane_of(push, linkage, k) for push in pushes for k in (LEFT, RIGHT)]
    loads += [*(push for one in acting for push in one.pushes()), *turned]
    statics = Statics(seen)
    joints = joint_forces(statics, statics.multipliers(generalised(statics, loads)), loads)
    frames = tuple(f.lane(first) for f in joint_frames(seen, joints))
    own = joints.lane(first)
    travel = np.array([np.mean([w.travel_mm for w in settled.wheels[2 * number : 2 * number + 2]])])
    rack = np.array([settled.loads.rack_mm * (number == 0)])
    mine = tuple(_lane(one, first) for one in acting if np.any(one.force))
    roads = tuple(
        replace(_lane_of_road(road, k), body=body_on(linkage, road.body, side)) for k, side in enumerate(SIDES)
    )
    where = (case, pair.axle.name, "both", travel, rack, pair.ok[:1], seen.linkage)
    elastic = FlexibleCorner.of(pair, statics)
    bends: tuple[Array | None, ...] = (None, None)
    if elastic is not None:
        bends = tuple(np.split(outside(elastic.given(joints).sum(axis=0)), len(SIDES), axis=1))
    return CaseForces(*where, own, mine, roads, frames, link_margins(seen, own), *bends)


def _lane_of_road(road: RoadLoad, lane: int) -> RoadLoad:
    at = slice(lane, lane + 1)
    return replace(road, foot=road.foot[:, at], force=road.force[:, at], couple=road.couple[:, at])


def bends_of(settled: Settled, attitude: Attitude) -> Array | None:
    """How far the wheels of a settled car have given way from joints without load, shape (4, displacements).

    None where both axles are rigid.
    """
    corners = [c for number in (0, 1) for c in settled_corners("", settled, attitude, number)]
    wheels = [way for c in corners for way in ((c.bent, c.bent_right) if c.side == "both" else (c.bent,))]
    if all(way is None for way in wheels):
        return None
    rigid = np.zeros(len(DISPLACEMENTS))
    return np.stack([rigid if way is None else way[:, 0] for way in wheels])


def _lane(acting: Acting, lane: slice) -> Acting:
    return replace(acting, place=acting.place[:, lane], force=acting.force[:, lane], axial=acting.axial[lane])
