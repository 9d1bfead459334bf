"""Load shares: what part of each wheel's load transfer springs and bars must take, from the statics of the linkage.

Jᵀλ = −load with the equations of the positions: λ of the travel row is what the springs have to hold. It is computed
with the tyre's horizontal force and load transfer together, and with the load transfer alone; their ratio is the share.
The rest runs through the links. In the symmetric design position it is 100 − anti value, or 100·(1 − roll-centre height
over the height of the mass centre); elsewhere the true height over the ground, track and directions count.

Per wheel, a newton of weight and a g: braking and driving force in the shares of the car file, halved between the
wheels; load transfer h/(2·wheelbase); in cornering half a newton of side force at each wheel, load transfer h/track.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from kin3d.loads.members import Statics
from kin3d.measures.anti import brake_share, drive_share, lacks_braking, lacks_driving
from kin3d.measures.corner import Corner
from kin3d.measures.corner_pair import LEFT, RIGHT, CornerPair
from kin3d.measures.table import Measure, lacks_radius
from kin3d.solve.kernel import Solved
from kin3d.solve.lanes import Lanes
from kin3d.solve.model import AxleModel
from kin3d.spatial.jets import value
from kin3d.spatial.vectors import Vec, add, dot, scale

Array = NDArray[np.float64]
Case = Literal["braking", "driving", "cornering"]
GRAVITY_M_PER_S2 = 9.81


@dataclass(frozen=True, slots=True)
class Share:
    """One case: what a wheel feels, and how its results are named."""

    case: Case
    pct: Measure
    force: Measure


def _not_here(_corner: Corner) -> Array:
    raise TypeError("load shares need the statics of the linkage")


def _lacks_cornering(corner: Corner) -> str:
    return "[car] cg_height_mm is not given" if corner.car.cg_height_mm is None else lacks_radius(corner)


def _heavy(lacks: Callable[[Corner], str]) -> Callable[[Corner], str]:
    def both(corner: Corner) -> str:
        return lacks(corner) or ("[car] mass_kg is not given" if corner.car.mass_kg is None else "")

    return both


def _share(case: Case, transfer: str, lacks: Callable[[Corner], str]) -> Share:
    made = []
    for name, label, unit, sign, definition, needs in (
        (
            f"spring_share_{case}_pct",
            f"Spring share of the load transfer, {case}",
            "%",
            "100: springs and bars carry all of it; 0: the links carry it",
            "100·λ(horizontal force and load transfer)/λ(load transfer), λ the force at the wheel left for springs, "
            f"from Jᵀλ = −load; {transfer}",
            lacks,
        ),
        (
            f"spring_load_{case}_n_per_g",
            f"Load on the springs at the wheel, {case}",
            "N/g",
            "pushes the wheel into the body: positive",
            f"λ of the travel row a g of {case}, at the wheel; {transfer}",
            _heavy(lacks),
        ),
    ):
        made.append(Measure(name, label, unit, sign, definition, "own formula", _not_here, needs, 1, "load shares"))
    return Share(case, made[0], made[1])


_LONG = "load transfer = height of the mass centre over the ground/(2·wheelbase) of the force"
SHARES = (
    _share("braking", _LONG, lacks_braking),
    _share("driving", _LONG, lacks_driving),
    _share(
        "cornering",
        "a left turn; the axle carries its own share of the mass, both tyres push alike, load transfer = height/track",
        _lacks_cornering,
    ),
)
MEASURES = tuple(m for s in SHARES for m in (s.pct, s.force))


def shares(model: AxleModel, corner: CornerPair, lanes: Lanes, solved: Solved) -> dict[str, Array]:
    """Values of all shares that there is data for, each (2n,), by name.

    Parameters
    ----------
    model : AxleModel
    corner : CornerPair
        Over the same lanes.
    """
    statics = Statics(model.kernel, model.variants, lanes, solved)
    ground = _Ground(statics, corner)
    out: dict[str, Array] = {}
    for s in SHARES:
        if s.pct.lacks(corner):
            continue
        along, across, transfer = _wheel_forces(s.case, corner, ground.height)
        hub = s.case == "driving" or corner.car.brakes == "inboard"
        alone = ground.left_for_springs(0.0, 0.0, transfer, hub)
        whole = ground.left_for_springs(along, across, transfer, hub)
        with np.errstate(all="ignore"):
            out[s.pct.name] = 100.0 * whole / alone
        if not s.force.lacks(corner):
            share = _mass_share(s.case, corner)
            if share is not None:
                out[s.force.name] = whole * float(corner.car.mass_kg or 0.0) * GRAVITY_M_PER_S2 * share
    return out


def _mass_share(case: Case, corner: CornerPair) -> float | None:
    """Part of the car's weight that the case's forces are counted for; None where it is not known."""
    if case != "cornering":
        return 1.0
    front = corner.car.front_mass_share
    if front is None:
        return None
    return front if corner.axle.name == "front" else 1.0 - front


def _wheel_forces(case: Case, corner: CornerPair, height: Array) -> tuple[float, float, Array]:
    """Force forward, force to the left and load transfer of each wheel, a newton of weight and a g; the last (2n,)."""
    if case == "cornering":
        transfer = height / corner.twice(corner.track)
        return 0.0, 0.5, -np.asarray(value(corner.sign)) * transfer
    to_front = 1.0 if corner.axle.name == "front" else -1.0
    transfer = 0.5 * height / float(corner.car.wheelbase_mm or 1.0)
    if case == "braking":
        return -0.5 * brake_share(corner), 0.0, to_front * transfer
    return 0.5 * drive_share(corner), 0.0, -to_front * transfer


class _Ground:
    """The linkage's statics with the ground's directions, over stacked lanes."""

    def __init__(self, statics: Statics, corner: CornerPair) -> None:
        self.statics = statics
        self.ahead, self.aside, self.up = (_numbers(v) for v in (corner.ahead, corner.aside, corner.normal))
        body = corner.linkage.wheel_body
        self.foot = statics.on_body(body, _numbers(corner.contact))
        self.hub = statics.on_body(body, _numbers(corner.centre))
        self.height = _height(corner)
        self._travel = next(k for k, r in enumerate(statics.equations.rows) if r.kind == "travel")

    def left_for_springs(self, along: float, across: float, up: Array, hub: bool) -> Array:
        """Force that the springs have to take at the wheel, N, shape (2n,)."""
        down = add(scale(across, self.aside), scale(up, self.up))
        load = self.statics.load(self.foot, down)
        load = load + self.statics.load(self.hub if hub else self.foot, scale(along, self.ahead))
        return np.asarray(-self.statics.multipliers(load)[self._travel])


def _numbers(v: Vec) -> Vec:
    x, y, z = (value(c) for c in v)
    return x, y, z


def _height(corner: CornerPair) -> Array:
    """Height of the mass centre, fixed in the body, over the mid-point of the contact points, shape (2n,), mm."""
    middle = corner.design_contact.mean(axis=0) + np.array([0.0, 0.0, float(corner.car.cg_height_mm or 0.0)])
    centre = dot((float(middle[0]), float(middle[1]), float(middle[2])), _numbers(corner.normal))
    foot = corner.stand[2]
    over = np.broadcast_to(np.asarray(centre), 2 * foot.shape[1]).reshape(2, -1) - 0.5 * (foot[LEFT] + foot[RIGHT])
    return np.asarray(over.reshape(-1))
