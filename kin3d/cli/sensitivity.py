"""``kin3d sensitivity``: what a millimetre of each coordinate does to each measure."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from kin3d.cli.options import Measures, names_of
from kin3d.cli.screen import Screen, check_places
from kin3d.linkage.names import AxleName, Side


def sensitivity(
    screen: Screen,
    car: Annotated[Path, typer.Argument(help="The car file (TOML).", show_default=False)],
    axle: Annotated[AxleName, typer.Option(help="Which axle.")] = "front",
    measures: Measures = None,
    at: Annotated[float, typer.Option(help="Wheel travel of the position, mm.")] = 0.0,
    rack: Annotated[float, typer.Option(help="Rack displacement of the position, mm.")] = 0.0,
    side: Annotated[Side | None, typer.Option(help="Default: the side that the points were given for.")] = None,
    most: Annotated[int, typer.Option(min=1, help="Coordinates shown for each measure.")] = 6,
    out: Annotated[Path | None, typer.Option(help="Write all coordinates: .csv, .json or .nc.")] = None,
    plot: Annotated[Path | None, typer.Option(help="Draw a heat map: .png, .svg or .pdf.")] = None,
) -> None:
    """Show the change of every measure, and of its gradient over travel, per mm of each coordinate (exact).

    Example:  kin3d sensitivity models/dunlin/car.toml --measures camber_deg,roll_centre_height_mm --plot heat.png
    """
    from kin3d import load
    from kin3d.studies.sensitivity import sensitivity as study

    check_places(tables={"--out": out}, pictures={"--plot": plot})
    read = load(car)
    result = study(read, axle, names_of(measures), travel_mm=at, rack_mm=rack, side=side, most=most)
    screen.show(result)
    if out:
        screen.save(result, out)
    if plot:
        screen.plot(result, plot, "Heat map")
    screen.findings(read.findings)
