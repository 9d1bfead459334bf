"""Forces in the corners of a settled car: every spring, bar and stop has the force of the attitude."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from kin3d.linkage.design import SIDES
from kin3d.loads.applied import Acting, between, carrier, drawing_on, on_wheel, over_lanes, turning
from kin3d.loads.elastic import FlexibleCorner, outside
from kin3d.loads.elements import Element
from kin3d.loads.held import generalised
from kin3d.loads.joint_forces import Push, joint_forces
from kin3d.loads.joint_frames import joint_frames
from kin3d.loads.load_transfer import GRAVITY_M_PER_S2
from kin3d.loads.margins import link_margins
from kin3d.loads.members import Statics
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
    acting, turned = _elements(attitude.elements[number], pair, in_air)
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
        mine_of_road = replace(road, foot=road.foot[:, lane], force=road.force[:, lane], couple=road.couple[:, lane])
        own = joints.lane(lane)
        parts = tuple(f.lane(lane) for f in frames), link_margins(pair, own), None if bent is None else bent[:, lane]
        out.append(CaseForces(*where, own, mine, mine_of_road, *parts))
    return out


def _lane(acting: Acting, lane: slice) -> Acting:
    return replace(acting, place=acting.place[:, lane], force=acting.force[:, lane], axial=acting.axial[lane])


def _elements(
    elements: Sequence[Element], pair: CornerPair, in_air: dict[str, bool]
) -> tuple[tuple[Acting, ...], list[Push]]:
    """What every spring, bar and stop exerts on left and right (lanes 0 and 1) with the forces of the attitude."""
    acting: list[Acting] = []
    turned: list[Push] = []
    linkage = pair.linkage
    for e in elements:
        u = e.deflection(pair.left, pair.right)
        force = float(np.ravel(e.force(u.value, hangs=in_air.get(e.side, False))[0])[0])
        slopes = np.array([float(np.ravel(np.asarray(u[m]))[0]) for m in ((1, 0), (0, 1))])
        mine = np.array([e.side in (side, "both") for side in SIDES], dtype=float)
        if e.turned is not None:
            turned += turning(e, pair, force * mine, slopes)
        elif e.ends is None:
            raise ValueError(f'"{e.name}" has neither ends nor a body that it turns')
        elif e.kind == "bar":
            acting += drawing_on(e, pair, np.full(2, force), slopes)
        elif e.side == "both":
            acting += _across(e, pair, force)
        else:
            first, second = ((carrier(linkage, p), p, over_lanes(pair.place(p), 2)) for p in e.ends)
            acting += between(e.name, (first, second), force * mine)
    return tuple(acting), turned


def _across(element: Element, pair: CornerPair, force: float) -> tuple[Acting, ...]:
    """A spring across the car: from a point of the left corner to one of the right."""
    left, right = element.ends or ("", "")
    one, other = (over_lanes(pair.place(p), 2) for p in (left, right))
    ends = (
        (carrier(pair.linkage, left), left, one[:, LEFT:][:, :1]),
        (carrier(pair.linkage, right), right, other[:, RIGHT:][:, :1]),
    )
    out = []
    for k, end in enumerate(between(element.name, ends, np.array([force]))):
        mask = np.arange(2) == k
        place = (one, other)[k]
        out.append(replace(end, place=place, force=end.force * mask, axial=end.axial * mask))
    return tuple(out)
