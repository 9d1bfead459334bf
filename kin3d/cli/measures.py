"""``kin3d measures``: every measure with unit, sign, definition and source."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

import kin3d
from kin3d.cli import options as opt
from kin3d.cli.screen import Screen, check_places


def measures(
    screen: Screen,
    car: Annotated[Path | None, typer.Argument(help="A car file: its forces too.", show_default=False)] = None,
    axle: opt.AnyAxle = None,
    out: opt.OutTables = None,
) -> None:
    """List every measure: name, unit, what a positive value means, definition, source.

    With a car file also the forces under its load cases, by which sweep, tolerance, sensitivity and compare can be
    asked for them: force_CASE_PART_n.

    Example:  kin3d measures models/dunlin/car.toml --axle front
    """
    check_places({"--out": out}, arrays=False)
    found = kin3d.measures(axle, None if car is None else kin3d.load(car))
    if out is None:
        screen.show(found)
    screen.save(found, out)
