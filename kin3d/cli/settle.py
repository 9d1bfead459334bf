"""``kin3d settle``: how the car stands under steady braking, cornering and downforce."""

from __future__ import annotations

from typing import Annotated

import typer

import kin3d
from kin3d.cli import options as opt
from kin3d.cli.screen import Screen, check_places

EPILOG = (
    "Examples:\n\n"
    "  kin3d settle models/dunlin/car.toml --braking 1.5 --lateral 1.2\n\n"
    "  kin3d settle models/dunlin/car.toml --lateral=-1.4 --aero-front 300 --aero-rear 450 --out settled.json"
)


def settle(
    screen: Screen,
    car: opt.CarPath,
    braking: Annotated[float, typer.Option(help="Deceleration in g.")] = 0.0,
    driving: Annotated[float, typer.Option(help="Acceleration in g, instead of --braking.")] = 0.0,
    lateral: Annotated[float, typer.Option(help="Acceleration to the left in g; negative for a right turn.")] = 0.0,
    aero_front: Annotated[float, typer.Option(help="Downforce on the front axle in N.")] = 0.0,
    aero_rear: Annotated[float, typer.Option(help="Downforce on the rear axle in N.")] = 0.0,
    rack: opt.Rack = 0.0,
    compliance: Annotated[
        bool, typer.Option("--compliance", help="Let elastic joints and links give way, from the car at rest on.")
    ] = False,
    out: opt.OutTables = None,
) -> None:
    """Find the attitude of the car under steady loads: travels, tyre loads, spring forces, camber and toe.

    Within an axle each tyre works at the same share of its load. A wheel that lifts off is reported, as are springs
    beyond their travel. Exit code 2 when no attitude carries the loads.
    """
    check_places({"--out": out}, arrays=False)
    read = kin3d.load(car)
    found = kin3d.settle(read, braking, lateral, aero_front, aero_rear, rack, driving=driving, compliance=compliance)
    screen.say(found.summary())
    screen.show(found)
    screen.save(found, out)
    screen.findings(read.findings, found.findings)


settle.__doc__ = f"{settle.__doc__}\n\n{EPILOG}"
