"""``kin3d sensitivity``: what a millimetre of each coordinate does to each measure."""

from __future__ import annotations

from typing import Annotated

import typer

import kin3d
from kin3d.cli import options as opt
from kin3d.cli.screen import Screen, check_places


def sensitivity(
    screen: Screen,
    car: opt.CarPath,
    axle: opt.OneAxle = "front",
    measures: opt.Measures = None,
    travel: Annotated[
        float | None, typer.Option("--travel", "--at", help="Wheel travel in mm; bump positive. Default 0.")
    ] = None,
    heave: Annotated[float | None, typer.Option(help="In place of travel, wheels on the ground: heave in mm.")] = None,
    roll: Annotated[float | None, typer.Option(help="Roll of the body in degrees, left side up positive.")] = None,
    pitch: Annotated[float | None, typer.Option(help="Pitch of the body in degrees, nose down; both axles.")] = None,
    lateral: Annotated[float | None, typer.Option(help="In place of all: settled under so many g to the left.")] = None,
    rack: opt.Rack = 0.0,
    side: opt.OneSide = None,
    most: Annotated[int, typer.Option(min=1, help="Coordinates shown for each measure.")] = 6,
    out: opt.Out = None,
    plot: opt.Plot = None,
) -> None:
    """Show the change of every measure, and of its gradient, per mm of each coordinate (exact).

    With --heave, --roll or --pitch both wheels stand on the ground, and a coordinate moves on both sides of the car.

    Example:  kin3d sensitivity models/dunlin/car.toml --measures camber_deg,roll_centre_height_mm --plot heat.png
    """
    check_places({"--out": out}, {"--plot": plot})
    read = kin3d.load(car)
    drives = {"travel": travel, "heave": heave, "roll": roll, "pitch": pitch, "lateral": lateral}
    result = kin3d.sensitivity(read, axle, opt.names_of(measures), **drives, rack=rack, side=side, most=most)
    screen.show(result)
    screen.save(result, out)
    screen.plot(result, plot, "Heat map")
    screen.findings(read.findings, result.findings)
