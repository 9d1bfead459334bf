"""``kin3d sweep``: a corner over travel and rack, as table, file and picture."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer
from rich.console import Console

from kin3d.cli.shared import parse_values, show_finding
from kin3d.linkage.car import AxleName

if TYPE_CHECKING:
    from kin3d.errors import Finding
    from kin3d.studies.result import SweepResult

EPILOG = (
    "Examples:\n\n"
    "  kin3d sweep models/dunlin/car.toml\n\n"
    "  kin3d sweep models/dunlin/car.toml --axle front --travel=-40:40:2.5 --rack=-20:20:5 --out front.csv\n\n"
    "  kin3d sweep models/plover/car.toml --travel=-30:30:1 --plot curves.svg --measures camber_deg,motion_ratio"
)


def sweep(
    car: Annotated[Path, typer.Argument(help="The car file (TOML).", show_default=False)],
    axle: Annotated[AxleName, typer.Option(help="Which axle.")] = "front",
    travel: Annotated[
        str, typer.Option(help="Wheel travel in mm: START:STOP:STEP with both ends, one value, or a comma list.")
    ] = "-40:40:5",
    rack: Annotated[str, typer.Option(help="Rack displacement in mm, written like --travel.")] = "0",
    measures: Annotated[
        str | None, typer.Option(help="Names of measures, with commas; `kin3d measures` lists them. Default: all.")
    ] = None,
    out: Annotated[Path | None, typer.Option(help="Write the table: .csv, .nc or .json.")] = None,
    plot: Annotated[Path | None, typer.Option(help="Draw the curves: .png, .svg or .pdf.")] = None,
) -> None:
    """Sweep a corner over wheel travel and rack: every measure in every position.

    Exit code 1 when some positions were not reached (they are empty in the table, with a status).
    """
    from kin3d import load
    from kin3d.cli.progress import progress_bar
    from kin3d.studies.sweep import sweep_corner

    travels, racks = parse_values(travel, "--travel"), parse_values(rack, "--rack")
    names = [n.strip() for n in measures.split(",")] if measures else None
    read = load(car)
    with progress_bar("Measures", len(travels) * len(racks)) as advance:
        result = sweep_corner(read, axle, travels, racks, names, advance)
    finish(read.findings, result, out, plot, names is not None)


def finish(
    findings: tuple[Finding, ...], result: SweepResult, out: Path | None, plot: Path | None, chosen: bool
) -> None:
    """Write, draw or print a result; exit code 1 when it is not complete."""
    from kin3d.writing.table import write_table

    console = Console()
    if out:
        write_table(result, out)
        console.print(f"{result.status.size} rows written to {out}", highlight=False)
    if plot:
        from kin3d.writing.curves import draw_curves

        draw_curves(result, plot)
        console.print(f"Curves drawn to {plot}", highlight=False)
    if not out:
        from kin3d.cli.show import show_sweep

        show_sweep(console, result, chosen)
    for finding in (*findings, *result.findings):
        show_finding(Console(stderr=True), finding)
    if not result.complete:
        raise typer.Exit(1)


sweep.__doc__ = f"{sweep.__doc__}\n\n{EPILOG}"
