"""``kin3d rates``: motion ratios, rates and frequencies of the inboard elements."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from kin3d.cli.screen import Screen
from kin3d.cli.shared import parse_values
from kin3d.linkage.names import AxleName

EPILOG = (
    "Examples:\n\n"
    "  kin3d rates models/dunlin/car.toml --axle front\n\n"
    "  kin3d rates models/dunlin/car.toml --travel=-30:30:5 --out rates.csv --plot rates.svg"
)


def rates(
    screen: Screen,
    car: Annotated[Path, typer.Argument(help="The car file (TOML).", show_default=False)],
    axle: Annotated[AxleName, typer.Option(help="Which axle.")] = "front",
    travel: Annotated[
        str, typer.Option(help="Heave of both wheels in mm: START:STOP:STEP, one value, or a comma list.")
    ] = "-30:30:10",
    out: Annotated[Path | None, typer.Option(help="Write the table: .csv, .json or .nc.")] = None,
    plot: Annotated[
        Path | None, typer.Option(help="Draw ratio, rate and rod force over travel and the rocker: .png, .svg or .pdf.")
    ] = None,
) -> None:
    """Motion ratios and rates of every spring, bar and stop in heave, roll and on one wheel.

    Rates hold the second term, force times the slope of the ratio. Ride frequencies follow where masses are given.
    """
    from kin3d import load
    from kin3d.studies.rates_result import rates as find
    from kin3d.writing.files import PICTURES, TABLES, check_place

    for place, endings, option in ((out, TABLES, "--out"), (plot, PICTURES, "--plot")):
        if place:
            check_place(place, endings, option)
    read = load(car)
    found = find(read, axle, parse_values(travel, "--travel"))
    if out:
        screen.save(found, out)
    if plot:
        screen.plot(found, plot, "Curves")
    screen.show(found)
    screen.findings((*read.findings, *found.findings))
    if not found.complete:
        screen.fail()


rates.__doc__ = f"{rates.__doc__}\n\n{EPILOG}"
