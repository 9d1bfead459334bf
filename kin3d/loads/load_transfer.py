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
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from kin3d.loads.members import Statics
from kin3d.measures.anti import BRAKES, BRAKING, DRIVING, brake_share, drive_share, inboard_brakes, lacks_drive
from kin3d.measures.corner import Corner
from kin3d.measures.corner_pair import LEFT, RIGHT, CornerPair
from kin3d.measures.entry import RADIUS, Measure, nothing
from kin3d.spatial.jets import value
from kin3d.spatial.vectors import Vec, add, dot, scale

Array = NDArray[np.float64]
Case = Literal["braking", "driving", "cornering"]
GRAVITY_M_PER_S2 = 9.81


def share(case: Case) -> Callable[[CornerPair], Array]:
    """Share of a case's load transfer that springs and bars take, %, shape (2n,), as a function of both corners."""
    return lambda corner: 100.0 * _left(corner, case)[0] / _left(corner, case)[1]


def load_per_g(case: Case) -> Callable[[CornerPair], Array]:
    """Load on the springs at each wheel in a g, N, shape (2n,), as a function of both corners."""

    def load(corner: CornerPair) -> Array:
        weight = float(corner.car.mass_kg or 0.0) * GRAVITY_M_PER_S2 * _mass_share(case, corner)
        return _left(corner, case)[0] * weight

    return load


def _left(corner: CornerPair, case: Case) -> tuple[Array, Array]:
    """Force left for the springs at each wheel, N per N of weight and g: of the whole case, of the transfer alone."""

    def solve() -> tuple[Array, Array]:
        ground = corner.once(_Ground, lambda: _Ground(corner))
        along, across, transfer = _wheel_forces(case, corner, ground.height)
        hub = case == "driving" or inboard_brakes(corner)
        alone = ground.left_for_springs(0.0, 0.0, transfer, hub)
        return ground.left_for_springs(along, across, transfer, hub), alone

    return corner.once(("left for the springs", case), solve)


def _mass_share(case: Case, corner: CornerPair) -> float:
    """Part of the car's weight that the case's forces are counted for."""
    if case != "cornering":
        return 1.0
    front = float(corner.car.front_mass_share or 0.0)
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

    def __init__(self, corner: CornerPair) -> None:
        self.statics = statics = Statics(corner.model.kernel, corner.variants, corner.lanes, corner.solved)
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


_LONG = "load transfer = height of the mass centre over the ground/(2·wheelbase) of the force"
_LEFT_TURN = (
    "a left turn; the axle carries its own share of the mass, both tyres push alike, load transfer = height/track"
)


def _entries(
    case: Case,
    transfer: str,
    needs: tuple[str, ...],
    weight: tuple[str, ...],
    unless: Callable[[Corner], str] = nothing,
) -> tuple[Measure, Measure]:
    """Share and load of one case; `weight` is what the load needs beside."""
    one_sided: Literal[1, -1] = -1 if case == "cornering" else 1
    common: dict[str, Any] = {"source": "own formula", "group": "load shares", "scope": "axle", "order": 1}
    common |= {"uses": (*BRAKES, "car.front_drive_share"), "unless": unless}
    return (
        Measure(
            name=f"spring_share_{case}_pct",
            label=f"Spring share of the load transfer, {case}",
            unit="%",
            sign="100: springs and bars carry all of it; 0: the links carry it",
            definition="100·λ(horizontal force and load transfer)/λ(load transfer), λ the force at the wheel left for "
            f"springs, from Jᵀλ = −load; {transfer}",
            function=share(case),
            needs=(*needs, *RADIUS),
            usual=case == "braking",
            **common,
        ),
        Measure(
            name=f"spring_load_{case}_n_per_g",
            label=f"Load on the springs at the wheel, {case}",
            unit="N/g",
            sign="pushes the wheel into the body: positive",
            definition=f"λ of the travel row a g of {case}, at the wheel; {transfer}",
            function=load_per_g(case),
            needs=(*needs, *weight, *RADIUS),
            mirror=one_sided,
            **common,
        ),
    )


MEASURES = (
    *_entries("braking", _LONG, BRAKING, ("car.mass_kg",)),
    *_entries("driving", _LONG, DRIVING, ("car.mass_kg",), lacks_drive),
    *_entries("cornering", _LEFT_TURN, ("car.cg_height_mm",), ("car.mass_kg", "car.front_mass_share")),
)
