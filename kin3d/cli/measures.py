"""``kin3d measures``: every measure with unit, sign, definition and source."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from kin3d.cli.screen import Screen
from kin3d.linkage.names import AxleName


def measures(
    screen: Screen,
    axle: Annotated[AxleName | None, typer.Option(help="Only what this axle has. Default: both.")] = None,
    out: Annotated[Path | None, typer.Option(help="Write them, one a row: .csv or .json.")] = None,
) -> None:
    """List every measure: name, unit, what a positive value means, definition, source."""
    from kin3d.studies.measure_list import list_measures

    found = list_measures(axle)
    if out:
        screen.save(found, out)
    else:
        screen.show(found)
