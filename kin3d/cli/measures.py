"""``kin3d measures``: every measure with unit, sign, definition and source."""

from __future__ import annotations

from typing import Annotated

import typer
from rich.console import Console

from kin3d.linkage.names import AxleName


def measures(
    axle: Annotated[AxleName, typer.Option(help="Which axle.")] = "front",
) -> None:
    """List every measure: name, unit, what a positive value means, definition, source."""
    from kin3d.loads.load_transfer import MEASURES as SHARES
    from kin3d.measures.axle import axle_measures
    from kin3d.measures.car import MEASURES as CAR
    from kin3d.measures.compute import corner_measures

    console = Console()
    group = ""
    corner = corner_measures(axle)
    on_ground = [m for m in axle_measures(axle) if m not in corner]
    for m in (*corner, *on_ground, *SHARES, *(c.entry for c in CAR)):
        if m in on_ground and on_ground.index(m) == 0:
            console.print("\n[bold]With both wheels on the ground (--heave, --roll, --pitch)[/bold]")
        if m.group != group:
            console.print(f"\n[bold]{m.group}[/bold]")
            group = m.group
        console.print(f"  [bold]{m.name}[/bold]  ({m.unit})  {m.label}; {m.sign}", highlight=False)
        console.print(f"      {m.definition}", highlight=False, markup=False)
        console.print(f"      source: {m.source}", highlight=False, markup=False, style="dim")
