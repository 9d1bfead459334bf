"""Load shares: what part of each wheel's load transfer springs and bars must take, from the statics of the linkage.

By virtual work: what the tyre's forces do as the wheel travels a millimetre, the springs have to hold at the wheel. It
is the multiplier of the travel row in Jᵀλ = −load, with the equations of the positions. Computed with the tyre's
horizontal force and load transfer together, and with the load transfer alone; their ratio is the share. Where both
sides are one system, each wheel's travel moves both wheels, and the forces on both do work along it.
The rest runs through the links. In the symmetric design position it is 100 − anti value, or 100·(1 − roll-centre height
over the height of the mass centre); elsewhere the true height over the ground, track and directions count.

Per wheel, a newton of weight and a g: braking and driving force in the shares of the car file, halved between the
wheels; load transfer h/(2·wheelbase); in cornering half a newton of side force at each wheel, load transfer h/track.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Literal

from kin3d.measures.anti import (
    BRAKES,
    BRAKING,
    DRIVES,
    DRIVING,
    brake_share,
    drive_share,
    inboard_brakes,
    lacks_drive,
    outboard_drive,
)
from kin3d.measures.corner import Corner
from kin3d.measures.corner_pair import CornerPair, mean, of_axle
from kin3d.measures.entry import RADIUS, Measure, nothing
from kin3d.measures.two_travels import LEFT, RIGHT, Pair
from kin3d.spatial.vectors import Number, Vec, add, dot, scale

TransferKind = Literal["braking", "driving", "cornering"]
GRAVITY_M_PER_S2 = 9.81


def share(case: TransferKind) -> Callable[[Corner], Any]:
    """Share of a case's load transfer that springs and bars take, %, as a function of both corners."""

    def of_transfer(corner: CornerPair) -> Pair:
        whole, alone = _held(corner, case)
        return 100.0 * whole[LEFT] / alone[LEFT], 100.0 * whole[RIGHT] / alone[RIGHT]

    return of_axle(of_transfer)


def load_per_g(case: TransferKind) -> Callable[[Corner], Any]:
    """Load on the springs at each wheel in a g, N, as a function of both corners."""

    def load(corner: CornerPair) -> Pair:
        weight = corner.of_file("car.mass_kg") * GRAVITY_M_PER_S2 * _mass_share(case, corner)
        whole, _ = _held(corner, case)
        return whole[LEFT] * weight, whole[RIGHT] * weight

    return of_axle(load)


def _held(corner: CornerPair, case: TransferKind) -> tuple[Pair, Pair]:
    """Force left for the springs at each wheel, N per N of weight and g: of the whole case, of the transfer alone."""
    along, across, transfer = _wheel_forces(case, corner)
    chassis = not outboard_drive(corner) if case == "driving" else inboard_brakes(corner)

    def work(centre: Vec, contact: Vec) -> tuple[Pair, Pair]:
        """Of the whole case and of the transfer alone, at each wheel that moves so."""
        ahead = corner.both(corner.over_ground(centre if chassis else contact)[0])
        _, aside, up = (corner.both(c) for c in corner.over_ground(contact))
        alone = transfer[LEFT] * up[LEFT], transfer[RIGHT] * up[RIGHT]
        left, right = (along * ahead[k] + across * aside[k] + alone[k] for k in (LEFT, RIGHT))
        return (left, right), alone

    alike = work(corner.centre_velocity, corner.contact_velocity)
    apart = work(corner.rolling[0], corner.rolling_velocity) if corner.joined else alike
    return corner.by_wheel(alike[0], apart[0]), corner.by_wheel(alike[1], apart[1])


def _mass_share(case: TransferKind, corner: CornerPair) -> Number:
    """Part of the car's weight that the case's forces are counted for."""
    if case != "cornering":
        return 1.0
    front = corner.of_file("car.front_mass_share")
    return front if corner.axle.name == "front" else 1.0 - front


def _wheel_forces(case: TransferKind, corner: CornerPair) -> tuple[Number, Number, Pair]:
    """Force forward, force to the left and load transfer of each wheel, a newton of weight and a g."""
    height = _height(corner)
    if case == "cornering":
        transfer = height / corner.track
        return 0.0, 0.5, (-transfer, transfer)
    to_front = 1.0 if corner.axle.name == "front" else -1.0
    transfer = 0.5 * height / corner.of_file("car.wheelbase_mm") * to_front
    if case == "braking":
        return -0.5 * corner.both(brake_share(corner))[LEFT], 0.0, (transfer, transfer)
    return 0.5 * corner.both(drive_share(corner))[LEFT], 0.0, (-transfer, -transfer)


def _height(corner: CornerPair) -> Number:
    """Height of the mass centre, fixed in the body, over the mid-point of the contact points, shape (n,), mm."""
    left, right = corner.design_contact
    up: Vec = (0.0, 0.0, corner.of_file("car.cg_height_mm"))
    x, y, z = (corner.both(c)[LEFT] for c in corner.normal)
    return dot(add(scale(0.5, add(left, right)), up), (x, y, z)) - mean(corner.stand[2])


_LONG = "load transfer = height of the mass centre over the ground/(2·wheelbase) of the force"
_LEFT_TURN = (
    "a left turn; the axle carries its own share of the mass, both tyres push alike, load transfer = height/track"
)


def _entries(
    case: TransferKind,
    transfer: str,
    needs: tuple[str, ...],
    weight: tuple[str, ...],
    unless: Callable[[Corner], str] = nothing,
) -> tuple[Measure, Measure]:
    """Share and load of one case; `weight` is what the load needs beside."""
    one_sided: Literal[1, -1] = -1 if case == "cornering" else 1
    common: dict[str, Any] = {"source": "own formula", "group": "load shares", "scope": "axle", "order": 1}
    common |= {"uses": (*BRAKES, *DRIVES), "unless": unless}
    return (
        Measure(
            name=f"spring_share_{case}_pct",
            label=f"Spring share of the load transfer, {case}",
            unit="%",
            sign="100: springs and bars carry all of it; 0: the links carry it",
            definition="100·λ(horizontal force and load transfer)/λ(load transfer), λ the force at the wheel left for "
            f"springs, from Jᵀλ = −load (virtual work); {transfer}",
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
