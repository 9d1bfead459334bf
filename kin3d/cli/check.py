"""``kin3d check``: is the car file sound, does the linkage move, what does it look like in the design position."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer
from rich.console import Console
from rich.text import Text

from kin3d.cli.screen import show_finding
from kin3d.linkage.names import AxleName

if TYPE_CHECKING:
    from kin3d.studies.check import AxleCheck


def check(
    car: Annotated[Path, typer.Argument(help="The car file (TOML).", show_default=False)],
    axle: Annotated[AxleName | None, typer.Option(help="Only this axle. Default: all there are.")] = None,
) -> None:
    """Read a car file, solve the design position, and say what is there and what looks wrong.

    Shows mobility, findings, how far each corner travels, and the design-position table.

    Example:  kin3d check models/dunlin/car.toml
    """
    from kin3d import load
    from kin3d.studies.check import check_axle

    read = load(car)
    console = Console()
    # as Text: brackets in a title or path are no markup
    console.print(Text.assemble((read.title, "bold"), f", {car}"))
    for finding in read.findings:
        show_finding(console, finding)
    names: list[AxleName] = [axle] if axle else [a.name for a in read.axles()]
    for name in names:
        _show(console, check_axle(read, name))


def _show(console: Console, found: AxleCheck) -> None:
    from kin3d.cli.show import show_design, show_left_out

    for side, name in enumerate(found.sides):
        console.print()
        show_design(console, found.design, f"{found.axle} axle, design position, {name} side", side)
    parts = ", ".join(found.parts) or "no rod, no rocker"
    lines = [f"linkage: {found.layout}; {parts}", f"mobility: {found.mobility}", *found.reach]
    for line in lines:
        console.print(line, highlight=False, markup=False)
    show_left_out(console, found.design)
    for finding in (*found.findings, *found.design.findings):
        show_finding(console, finding)
