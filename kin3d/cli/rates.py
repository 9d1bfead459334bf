"""``kin3d rates``: motion ratios, rates and frequencies of the inboard elements."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer
from rich.console import Console

from kin3d.cli.screen import show_finding
from kin3d.cli.shared import parse_values
from kin3d.linkage.names import AxleName

if TYPE_CHECKING:
    from kin3d.linkage.car import Car
    from kin3d.studies.frequencies import CarRates

EPILOG = (
    "Examples:\n\n"
    "  kin3d rates models/dunlin/car.toml --axle front\n\n"
    "  kin3d rates models/dunlin/car.toml --travel=-30:30:5 --out rates.csv --plot rates.svg"
)


def rates(
    car: Annotated[Path, typer.Argument(help="The car file (TOML).", show_default=False)],
    axle: Annotated[AxleName, typer.Option(help="Which axle.")] = "front",
    travel: Annotated[
        str, typer.Option(help="Heave of both wheels in mm: START:STOP:STEP, one value, or a comma list.")
    ] = "-30:30:10",
    out: Annotated[Path | None, typer.Option(help="Write the table: .csv.")] = None,
    plot: Annotated[
        Path | None, typer.Option(help="Draw ratio, rate and rod force over travel and the rocker: .png, .svg or .pdf.")
    ] = None,
) -> None:
    """Motion ratios and rates of every spring, bar and stop in heave, roll and on one wheel.

    Rates hold the second term, force times the slope of the ratio. Ride frequencies follow where masses are given.
    """
    from kin3d import load
    from kin3d.cli.show_rates import show_car, show_rates
    from kin3d.studies.rates import axle_rates
    from kin3d.writing.rates import write_rates

    read = load(car)
    found = axle_rates(read, axle, parse_values(travel, "--travel"))
    console = Console()
    if out:
        write_rates(found, out)
        console.print(f"Rates written to {out}", highlight=False)
    if plot:
        from kin3d.studies.inboard import inboard_curves
        from kin3d.studies.inboard_plot import draw_inboard

        draw_inboard([inboard_curves(read, axle, found.travel_mm)], plot)
        console.print(f"Curves drawn to {plot}", highlight=False)
    show_rates(console, found)
    show_car(console, _whole(read))
    for finding in (*read.findings, *found.findings):
        show_finding(Console(stderr=True), finding)
    if not found.ok.all():
        raise typer.Exit(1)


def _whole(car: Car) -> CarRates:
    """Figures of the car from both axles' design positions; an axle without elements is left out."""
    from kin3d.errors import RequestError
    from kin3d.studies.frequencies import car_rates
    from kin3d.studies.rates import axle_rates

    axles = {}
    for axle in car.axles():
        try:
            axles[axle.name] = axle_rates(car, axle.name, [0.0])
        except RequestError:
            continue
    return car_rates(car, {str(name): found for name, found in axles.items()})


rates.__doc__ = f"{rates.__doc__}\n\n{EPILOG}"
