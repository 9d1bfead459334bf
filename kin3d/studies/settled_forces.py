"""Forces in the corners of settled cars: every spring, bar and stop has the force of the attitude.

Of one car they are told corner by corner; as measures they are asked of many cars at once.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from kin3d.linkage.design import SIDES
from kin3d.loads.applied import Acting, RoadLoad, on_wheel
from kin3d.loads.elastic import DISPLACEMENTS, FlexibleCorner, outside
from kin3d.loads.exerted import exerted, whole_elements
from kin3d.loads.held import generalised
from kin3d.loads.joint_forces import JointForces, Push, joint_forces
from kin3d.loads.joint_frames import joint_frames
from kin3d.loads.load_transfer import GRAVITY_M_PER_S2
from kin3d.loads.margins import link_margins
from kin3d.loads.members import Statics
from kin3d.loads.whole_axle import body_on, lane_of, whole_axle
from kin3d.measures.corner import Corner
from kin3d.measures.corner_pair import CornerPair
from kin3d.spatial.jets import over_lanes
from kin3d.studies.attitude import PITCH, ROLL, Attitude, hanging
from kin3d.studies.case_forces import CaseForces
from kin3d.studies.ground_contact import directions
from kin3d.studies.settled import Settled
from kin3d.studies.steady_loads import Loads

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class LoadedAxle:
    """One axle of settled cars under its loads; lanes are all left corners, then all right ones.

    Where both sides are one system every lane is the whole axle, that of a left corner and that of the right one alike.

    Attributes
    ----------
    pair : CornerPair
    seen : Corner
        What the statics are of: the pair, or the whole axle.
    road : RoadLoad
    acting : tuple of Acting
    statics : Statics
    joints : JointForces
    """

    pair: CornerPair
    seen: Corner
    road: RoadLoad
    acting: tuple[Acting, ...]
    statics: Statics
    joints: JointForces


def loaded_axle(attitude: Attitude, y: Array, loads: Loads, lifted: tuple[bool, ...], number: int) -> LoadedAxle:
    """Forces in one axle of cars in balance, states of shape (13, cars)."""
    pair = attitude.cars.pair(number, y[2 * number : 2 * number + 2], loads.rack_mm, degree=1)
    frame = directions(y[ROLL], y[PITCH])
    tyres = attitude.tyres(y, loads, lifted)
    mine = slice(2 * number, 2 * number + 2)
    force, foot = (_in_chassis(v[mine], frame) for v in (tyres.force, tyres.place))
    foot[0] -= np.tile(attitude.cars.shifts[number], 2)
    turns = attitude.body.turns[number]
    road = on_wheel(pair, force, np.zeros_like(force), None if turns else "braked", foot)
    field = np.broadcast_to(np.array(loads.field_g)[:, None], (3, attitude.cars.count))
    weight = GRAVITY_M_PER_S2 * attitude.body.unsprung_kg[mine, None] * field
    hub = over_lanes(pair.centre, 2 * pair.count)
    pushes = [*road.pushes(), Push(pair.linkage.wheel_body, hub, _in_chassis(weight, frame))]
    seen: Corner = pair
    if pair.joined:
        seen = whole_axle(pair)
        acting, turned = whole_elements(attitude.elements[number], pair, seen, hanging(lifted, number))
        pushes = [lane_of(push, pair.linkage, k) for push in pushes for k in range(len(SIDES))]
    else:
        acting, turned = exerted(attitude.elements[number], pair, hanging(lifted, number))
    everything = [*pushes, *(push for one in acting for push in one.pushes()), *turned]
    statics = Statics(seen)
    joints = joint_forces(statics, statics.multipliers(generalised(statics, everything)), everything)
    return LoadedAxle(pair, seen, road, acting, statics, joints)


def _in_chassis(v: Array, frame: Array) -> Array:
    """Components along the ground of both wheels, (2, 3, cars), in the chassis frame over the lanes, (3, lanes)."""
    return np.asarray(np.einsum("sic,ijc->jsc", v, frame)).reshape(3, -1)


def settled_corners(case: str, settled: Settled, attitude: Attitude, number: int) -> list[CaseForces]:
    """Forces in both corners of one axle of a settled car, left and right; of one system both as a whole."""
    wheels = settled.wheels[2 * number : 2 * number + 2]
    lifted = tuple(w.lifted for w in settled.wheels)
    found = loaded_axle(attitude, settled.state[:, None], settled.loads, lifted, number)
    rack = np.array([settled.loads.rack_mm * (number == 0)])
    travels = [np.array([w.travel_mm]) for w in wheels]
    if found.pair.joined:
        return [_whole(case, found, np.mean(travels, axis=0), rack)]
    frames = joint_frames(found.pair, found.joints)
    elastic = FlexibleCorner.of(found.pair, found.statics)
    bent = None if elastic is None else outside(elastic.given(found.joints).sum(axis=0))
    out = []
    for k, side in enumerate(SIDES):
        lane = slice(k, k + 1)
        mine = tuple(one.lane(lane) for one in found.acting if np.any(one.force[:, k]))
        where = case, found.pair.axle.name, side, travels[k], rack, found.pair.ok[:1], found.pair.linkage
        own = found.joints.lane(lane)
        margins, bends = link_margins(found.pair, own), None if bent is None else bent[:, lane]
        parts = tuple(f.lane(lane) for f in frames), margins, bends
        out.append(CaseForces(*where, own, mine, (_lane_of_road(found.road, k),), *parts))
    return out


def _whole(case: str, found: LoadedAxle, travel: Array, rack: Array) -> CaseForces:
    """The whole of an axle whose sides are one system, in the one position that both lanes are."""
    pair, seen, first = found.pair, found.seen, slice(0, 1)
    frames = tuple(f.lane(first) for f in joint_frames(seen, found.joints))
    own = found.joints.lane(first)
    mine = tuple(one.lane(first) for one in found.acting if np.any(one.force))
    roads = tuple(
        replace(_lane_of_road(found.road, k), body=body_on(pair.linkage, found.road.body, side))
        for k, side in enumerate(SIDES)
    )
    where = case, pair.axle.name, "both", travel, rack, pair.ok[:1], seen.linkage
    elastic = FlexibleCorner.of(pair, found.statics)
    bends: tuple[Array | None, ...] = (None, None)
    if elastic is not None:
        bends = tuple(np.split(outside(elastic.given(found.joints).sum(axis=0)), len(SIDES), axis=1))
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
