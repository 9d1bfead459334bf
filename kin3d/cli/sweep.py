"""``kin3d sweep``: a corner over travel and rack, an axle or the car over heave, roll and pitch; table and picture."""

from __future__ import annotations

import math
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer
from rich.console import Console

from kin3d.cli.options import names_of, parse_values
from kin3d.cli.screen import show_finding
from kin3d.errors import Finding, RequestError
from kin3d.linkage.names import AxleName
from kin3d.writing.files import PICTURES, TABLES, check_place
from kin3d.writing.terminal import print_table, say

if TYPE_CHECKING:
    from kin3d.studies.result import SweepResult

MOST_POSITIONS = 500_000  # all measures of so many positions of both sides take some 400 MB
RANGE = "START:STOP:STEP with both ends, one value, or a comma list"

EPILOG = (
    "Examples:\n\n"
    "  kin3d sweep models/dunlin/car.toml\n\n"
    "  kin3d sweep models/dunlin/car.toml --axle front --travel=-40:40:2.5 --rack=-20:20:5 --out front.csv\n\n"
    "  kin3d sweep models/plover/car.toml --travel=-30:30:1 --plot curves.svg --measures camber_deg,motion_ratio\n\n"
    "  kin3d sweep models/dunlin/car.toml --roll=-2:2:0.5 --heave=-10:10:10 --migration roll-centre.svg"
)


def sweep(
    car: Annotated[Path, typer.Argument(help="The car file (TOML).", show_default=False)],
    axle: Annotated[AxleName, typer.Option(help="Which axle.")] = "front",
    travel: Annotated[
        str | None, typer.Option(help=f"Wheel travel in mm: {RANGE}. Default -40:40:5 without the drives below.")
    ] = None,
    heave: Annotated[str | None, typer.Option(help="Both wheels on the ground: mean travel in mm.")] = None,
    roll: Annotated[str | None, typer.Option(help="Roll of the body in degrees, left side up positive.")] = None,
    pitch: Annotated[
        str | None, typer.Option(help="Pitch of the body in degrees, nose down positive; needs both axles.")
    ] = None,
    rack: Annotated[str, typer.Option(help="Rack displacement in mm, written like --travel.")] = "0",
    measures: Annotated[
        str | None, typer.Option(help="Names of measures, with commas; `kin3d measures` lists them. Default: all.")
    ] = None,
    out: Annotated[Path | None, typer.Option(help="Write the table: .csv, .nc or .json.")] = None,
    plot: Annotated[Path | None, typer.Option(help="Draw the curves: .png, .svg or .pdf.")] = None,
    dxf: Annotated[
        Path | None, typer.Option(help="Draw the linkage at both ends of the travel and in design: .dxf.")
    ] = None,
    migration: Annotated[
        Path | None, typer.Option(help="Draw the path of the roll centre (with --roll or --heave): .png, .svg or .pdf.")
    ] = None,
) -> None:
    """Sweep a corner over wheel travel and rack: every measure in every position.

    With --heave, --roll or --pitch both wheels of the axle stand on the ground instead, and its own measures join.

    Exit code 1 when some positions were not reached (they are empty in the table, with a status).
    """
    from kin3d import load
    from kin3d.cli.progress import progress_bar
    from kin3d.studies.sweep import sweep as run

    names = names_of(measures)
    given = {n: v for n, v in (("heave", heave), ("roll", roll), ("pitch", pitch)) if v is not None}
    if migration is not None:
        given = given or {"roll": "0"}
    if given and travel is not None:
        text = "--travel moves one wheel alone; give it without --heave, --roll, --pitch and --migration"
        raise RequestError(Finding("drives-mixed", text))
    if given and dxf:
        text = "--dxf draws the linkage at the ends of --travel; kin3d export draws it at any travel of both wheels"
        raise RequestError(Finding("drives-mixed", text))
    asked = given or {"travel": travel or "-40:40:5"}
    drives = {n: parse_values(v, f"--{n}") for n, v in (asked | {"rack": rack}).items()}
    count = math.prod(len(v) for v in drives.values())
    _check_request(count, out, plot, "--heave, --pitch, --roll and --rack" if given else "--travel and --rack")
    if migration:
        from kin3d.studies.migration import check_migration

        check_migration(migration, drives.get("heave", []), drives.get("roll", []), names)
    read = load(car)
    with progress_bar("Measures", count) as advance:
        result = run(read, axle, **drives, measures=names, progress=advance)
    if dxf:
        from kin3d.cli.export import draw_sweep

        say(Console(), draw_sweep(read, result, dxf))
    if migration:
        from kin3d.studies.migration import draw_migration

        draw_migration(result, migration)
        say(Console(), f"Roll-centre path drawn to {migration}")
    _finish(read.findings, result, out, plot)


def _check_request(positions: int, out: Path | None, plot: Path | None, drives: str) -> None:
    """Refuse before the work what could not be held in memory or written after it."""
    if positions > MOST_POSITIONS:
        text = f"{drives} make {positions:,} positions; {MOST_POSITIONS:,} or fewer are expected"
        raise RequestError(Finding("range", text))
    if out:
        check_place(out, TABLES, "--out")
    if plot:
        check_place(plot, PICTURES, "--plot")


def _finish(findings: tuple[Finding, ...], result: SweepResult, out: Path | None, plot: Path | None) -> None:
    """Write, draw or print a result; exit code 1 when it is not complete."""
    console = Console()
    if out:
        result.save(out)
        console.print(f"{result.status.size} rows written to {out}", highlight=False, markup=False, soft_wrap=True)
    if plot:
        result.plot(plot)
        console.print(f"Curves drawn to {plot}", highlight=False, markup=False, soft_wrap=True)
    if not out:
        for table in result.tables():
            print_table(console, table)
        for note in result.notes():
            say(console, note, "dim")
    for finding in (*findings, *result.findings):
        show_finding(Console(stderr=True), finding)
    if not result.complete:
        raise typer.Exit(1)


sweep.__doc__ = f"{sweep.__doc__}\n\n{EPILOG}"
