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
    at: Annotated[float, typer.Option(help="Wheel travel of the position in mm; bump positive.")] = 0.0,
    rack: opt.Rack = 0.0,
    side: opt.OneSide = None,
    most: Annotated[int, typer.Option(min=1, help="Coordinates shown for each measure.")] = 6,
    out: opt.Out = None,
    plot: opt.Plot = None,
) -> None:
    """Show the change of every measure, and of its gradient over travel, per mm of each coordinate (exact).

    Example:  kin3d sensitivity models/dunlin/car.toml --measures camber_deg,roll_centre_height_mm --plot heat.png
    """
    check_places({"--out": out}, {"--plot": plot})
    read = kin3d.load(car)
    result = kin3d.sensitivity(read, axle, opt.names_of(measures), at=at, rack=rack, side=side, most=most)
    screen.show(result)
    screen.save(result, out)
    screen.plot(result, plot, "Heat map")
    screen.findings(read.findings)
