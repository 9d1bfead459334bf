"""``kin3d locate``: marks in photographs become pickup points with their whole covariance."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

import kin3d
from kin3d.cli import options as opt
from kin3d.cli.screen import Screen, check_places
from kin3d.errors import Severity


def locate(
    screen: Screen,
    photographs: Annotated[
        Path,
        typer.Argument(help="A file of photographs (.photos.toml), or a car file with one.", show_default=False),
    ],
    out: Annotated[
        Path | None,
        typer.Option(help="Write the points, with NAME.covariance.csv beside them: .csv; everything: .json."),
    ] = None,
    plot: Annotated[
        Path | None, typer.Option(help="Draw every photograph with its marks and misses: .png, .svg or .pdf.")
    ] = None,
    measures: Annotated[
        str | None,
        typer.Option(help="Measures that the points are wanted for, with commas; `kin3d measures` lists them."),
    ] = None,
) -> None:
    """Locate pickup points from marks in photographs, each with its deviation and the whole covariance.

    Says which marks and figures cannot be right, what rests on assumptions, and which mark, figure or photograph more
    would help the wanted measures most. The car named in [same_as] is adjusted with it. In a car file the photographs
    stand in place of a table: points = "front.photos.toml".

    Example:  kin3d locate front.photos.toml --out points.csv --plot check.png
    """
    check_places({"--out": out}, {"--plot": plot}, arrays=False)
    found = kin3d.locate(photographs, opt.names_of(measures))
    screen.show(found)
    screen.save(found, out)
    screen.plot(found, plot, "Marks")
    screen.findings(f for f in found.findings if f.severity is not Severity.NOTE)
