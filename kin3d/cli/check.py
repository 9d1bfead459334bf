"""``kin3d check``: is the car file sound, does the linkage move, what does it look like in the design position."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer
from rich.console import Console

from kin3d.cli.screen import show_finding
from kin3d.linkage.names import AxleName
from kin3d.writing.terminal import print_table, say


def check(
    car: Annotated[Path, typer.Argument(help="The car file (TOML).", show_default=False)],
    axle: Annotated[AxleName | None, typer.Option(help="Only this axle. Default: all there are.")] = None,
) -> None:
    """Read a car file, solve the design position, and say what is there and what looks wrong.

    Shows mobility, findings, how far each corner travels, and the design-position table.

    Example:  kin3d check models/dunlin/car.toml
    """
    from kin3d import load
    from kin3d.studies.check import check as look

    read = load(car)
    console = Console()
    say(console, f"{read.title}, {car}", style="bold")
    for finding in read.findings:
        show_finding(console, finding)
    found = look(read, axle)
    for table in found.tables():
        print_table(console, table)
    for finding in found.findings[len(read.findings) :]:
        show_finding(console, finding)
