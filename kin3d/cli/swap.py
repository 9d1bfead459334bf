"""``kin3d swap``: a push-rod corner becomes a pull-rod corner or back, its motion ratios kept."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Literal

import typer

import kin3d
from kin3d.cli import options as opt
from kin3d.cli.screen import Screen, check_endings
from kin3d.writing.files import PICTURES

EPILOG = (
    "Examples:\n\n"
    "  kin3d swap models/dunlin/car.toml --axle front --to pull --out pull.toml --plot pull.svg\n\n"
    "  kin3d swap models/plover/car.toml --to push --mount upright --box box.csv --out push.toml"
)


def swap(
    screen: Screen,
    car: opt.CarPath,
    to: Annotated[Literal["push", "pull"], typer.Option(help="The kind of rod that is wanted.", show_default=False)],
    axle: opt.OneAxle = "front",
    mount: Annotated[
        str | None, typer.Option(help="Body that carries the rod. Default: highest arm to pull, lowest to push.")
    ] = None,
    box: Annotated[
        Path | None,
        typer.Option(help="Where points may go (CSV: point,x_min,x_max,y_min,...; mm, x forward, y left, z up)."),
    ] = None,
    travel: Annotated[str, typer.Option(help="Travel over which the ratio is kept: its ends, in mm.")] = "-30,30",
    within: Annotated[float, typer.Option(help="Deviation of the motion ratio that counts as a match, in %.")] = 0.5,
    load: Annotated[str, typer.Option(help="Wheel loads for the rod force, in N, with commas.")] = "1000,3000",
    out: Annotated[
        Path | None, typer.Option(help="Write the new car (.toml; point tables go beside it) or figures: .csv, .json.")
    ] = None,
    plot: opt.Plot = None,
) -> None:
    """Find rod and rocker of the other kind, with the same motion ratio over the travel.

    The wheel's own links are not touched. Points without a box go in a default space about a starting layout.
    Exit code 1 when no layout fits: the nearest one is shown with what stands in its way, and nothing is written.
    """
    check_endings([(out, (".toml", ".csv", ".json"), "--out"), (plot, PICTURES, "--plot")])
    loads, span = opt.parse_values(load, "--load"), opt.parse_values(travel, "--travel")
    read = kin3d.load(car)
    found = kin3d.swap(read, axle, to, mount, box, span, within, load=loads)
    screen.say(found.summary())
    screen.show(found)
    screen.plot(found, plot, "Picture")
    if out and out.suffix.lower() != ".toml":
        screen.save(found, out)
    elif out and found.fits:
        screen.say(f"Written: {', '.join(str(p) for p in found.save_car(out))}")
    screen.findings(read.findings)
    if not found.fits:
        screen.fail()


swap.__doc__ = f"{swap.__doc__}\n\n{EPILOG}"
