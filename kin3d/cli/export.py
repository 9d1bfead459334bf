"""``kin3d export``: an axle as a DXF drawing, in space and with the constructions of its centres."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

import kin3d
from kin3d.cli import options as opt
from kin3d.cli.screen import Screen, check_endings

EPILOG = (
    "Examples:\n\n"
    "  kin3d export models/dunlin/car.toml --out front.dxf\n\n"
    "  kin3d export models/plover/car.toml --axle rear --travel=-25,0,25 --dxf-version R12 --out rear.dxf"
)


def export(
    screen: Screen,
    car: opt.CarPath,
    out: Annotated[
        Path, typer.Option(help="The drawing to write: .dxf; or its points: .csv, .json.", show_default=False)
    ],
    axle: opt.OneAxle = "front",
    travel: Annotated[
        str, typer.Option(help="Travels of both wheels in mm: a comma list, or START:STOP:STEP with both ends.")
    ] = "-30,0,30",
    rack: opt.Rack = 0.0,
    version: Annotated[
        str, typer.Option("--dxf-version", help="R12, R2000, R2010 or R2018. R12 cannot say that its unit is mm.")
    ] = "R2010",
) -> None:
    """Write an axle as a DXF drawing, 1 unit = 1 mm.

    The linkage in space at every travel, on layers named for travel and part, every point a block with its name in an
    attribute; front and side view with instant centres, roll centre and anti values, dimensioned, on layers of their
    own. The design position is always there: a car file that names the drawing as its points reads it back.
    """
    check_endings([(out, (".dxf", ".csv", ".json"), "--out")])
    read = kin3d.load(car)
    found = kin3d.export(read, axle, opt.parse_values(travel, "--travel"), rack)
    found.save(out, version=version)
    screen.say(f"Drawing of {found.summary()}: {out}")
    screen.findings(read.findings)


export.__doc__ = f"{export.__doc__}\n\n{EPILOG}"
