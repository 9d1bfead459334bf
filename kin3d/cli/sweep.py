"""``kin3d sweep``: a corner over travel and rack, an axle or the car over heave, roll and pitch; table and picture."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer
from rich.console import Console

from kin3d.cli.options import names_of
from kin3d.cli.screen import show_finding
from kin3d.cli.shared import parse_values
from kin3d.errors import Finding, RequestError
from kin3d.linkage.names import AxleName

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
    from kin3d.studies.sweep import sweep_corner

    racks, names = parse_values(rack, "--rack"), names_of(measures)
    if heave is not None or roll is not None or pitch is not None or migration is not None:
        if travel is not None:
            text = "--travel moves one wheel alone; give it without --heave, --roll, --pitch and --migration"
            raise RequestError(Finding("drives-mixed", text))
        _on_ground(car, axle, (heave, pitch, roll, racks), names, out, plot, migration)
        return
    travels = parse_values(travel or "-40:40:5", "--travel")
    _check_request(len(travels) * len(racks), out, plot, "--travel and --rack")
    read = load(car)
    with progress_bar("Measures", len(travels) * len(racks)) as advance:
        result = sweep_corner(read, axle, travels, racks, names, advance)
    if dxf:
        from kin3d.cli.export import draw_sweep

        Console().print(draw_sweep(read, result, dxf), highlight=False, soft_wrap=True)
    finish(read.findings, result, out, plot, names is not None)


def _on_ground(
    car: Path,
    axle: AxleName,
    drives: tuple[str | None, str | None, str | None, list[float]],
    names: list[str] | None,
    out: Path | None,
    plot: Path | None,
    migration: Path | None,
) -> None:
    """Sweep an axle, or with pitch the car, on the ground."""
    from kin3d import load
    from kin3d.cli.progress import progress_bar
    from kin3d.studies.axle import sweep_axle
    from kin3d.studies.car import sweep_car
    from kin3d.writing.migration import check_migration, draw_migration

    heaves, pitches, rolls = (
        parse_values(v or "0", f"--{n}") for v, n in zip(drives[:3], ("heave", "pitch", "roll"), strict=True)
    )
    racks = drives[3]
    count = len(heaves) * len(pitches) * len(rolls) * len(racks)
    _check_request(count, out, plot, "--heave, --pitch, --roll and --rack")
    if migration:
        check_migration(migration, heaves, rolls, names)
    read = load(car)
    if drives[1] is not None:
        result = sweep_car(read, heaves, pitches, rolls, racks, names).of(axle)
    else:
        with progress_bar("Measures", count) as advance:
            result = sweep_axle(read, axle, heaves, rolls, racks, names, advance)
    if migration:
        draw_migration(result, migration)
        Console().print(f"Roll-centre path drawn to {migration}", highlight=False, markup=False)
    finish(read.findings, result, out, plot, names is not None)


def _check_request(positions: int, out: Path | None, plot: Path | None, drives: str) -> None:
    """Refuse before the work what could not be held in memory or written after it."""
    from kin3d.writing.table import ENDINGS, check_ending

    if positions > MOST_POSITIONS:
        text = f"{drives} make {positions:,} positions; {MOST_POSITIONS:,} or fewer are expected"
        raise RequestError(Finding("range", text))
    if out:
        check_ending(out, ENDINGS, "--out")
    if plot:
        from kin3d.writing.curves import PICTURES

        check_ending(plot, PICTURES, "--plot")


def finish(
    findings: tuple[Finding, ...], result: SweepResult, out: Path | None, plot: Path | None, chosen: bool
) -> None:
    """Write, draw or print a result; exit code 1 when it is not complete."""
    from kin3d.writing.table import write_table

    console = Console()
    if out:
        write_table(result, out)
        console.print(f"{result.status.size} rows written to {out}", highlight=False, markup=False, soft_wrap=True)
    if plot:
        from kin3d.writing.curves import draw_curves

        draw_curves(result, plot)
        console.print(f"Curves drawn to {plot}", highlight=False, markup=False, soft_wrap=True)
    if not out:
        from kin3d.cli.show import show_sweep

        show_sweep(console, result, chosen)
    for finding in (*findings, *result.findings):
        show_finding(Console(stderr=True), finding)
    if not result.complete:
        raise typer.Exit(1)


sweep.__doc__ = f"{sweep.__doc__}\n\n{EPILOG}"
