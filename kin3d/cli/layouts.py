"""``kin3d layouts``: the built-in layouts, and the points of each."""

from __future__ import annotations

from typing import Annotated

import typer

import kin3d
from kin3d.cli import options as opt
from kin3d.cli.screen import Screen, check_places


def layouts(
    screen: Screen,
    name: Annotated[str | None, typer.Argument(help="One of them: its points, and where each is on the car.")] = None,
    out: opt.OutTables = None,
    plot: opt.Plot = None,
) -> None:
    """List the built-in layouts, or the points of one; drawn with their names.

    Example:  kin3d layouts "twist beam" --plot twist_beam.svg
    """
    check_places({"--out": out}, {"--plot": plot}, arrays=False)
    found = kin3d.layouts(name)
    if out is None and plot is None:
        screen.show(found)
    screen.save(found, out)
    screen.plot(found, plot, "Layout")
