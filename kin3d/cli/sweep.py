"""``kin3d sweep``: a corner over travel and rack, an axle or the car over heave, roll and pitch; table and picture."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

import kin3d
from kin3d.cli import options as opt
from kin3d.cli.progress import progress_bar
from kin3d.cli.screen import Screen, check_endings, check_places
from kin3d.errors import Finding, RequestError
from kin3d.solve.engine import using_engine

MOST_POSITIONS = 500_000  # all measures of so many positions of both sides take some 400 MB

EPILOG = (
    "Examples:\n\n"
    "  kin3d sweep models/dunlin/car.toml\n\n"
    "  kin3d sweep models/dunlin/car.toml --axle front --travel=-40:40:2.5 --rack=-20:20:5 --out front.csv\n\n"
    "  kin3d sweep mycar/car.toml --drive pitman=-30:30:5 --measures steer_deg\n\n"
    "  kin3d sweep models/plover/car.toml --travel=-30:30:1 --plot curves.svg --measures camber_deg,motion_ratio\n\n"
    "  kin3d sweep models/dunlin/car.toml --roll=-2:2:0.5 --heave=-10:10:10 --migration roll-centre.svg"
)


def sweep(
    screen: Screen,
    car: opt.CarPath,
    axle: opt.OneAxle = "front",
    travel: Annotated[
        str | None, typer.Option(help=f"Wheel travel in mm: {opt.RANGE}. Default -40:40:5 without the drives below.")
    ] = None,
    heave: Annotated[str | None, typer.Option(help="Both wheels on the ground: mean travel in mm.")] = None,
    roll: Annotated[str | None, typer.Option(help="Roll of the body in degrees, left side up positive.")] = None,
    pitch: Annotated[
        str | None, typer.Option(help="Pitch of the body in degrees, nose down positive; needs both axles.")
    ] = None,
    drive: Annotated[
        list[str] | None,
        typer.Option(help="A drive of the axle's layout, NAME=START:STOP:STEP, deg or mm; repeatable."),
    ] = None,
    rack: Annotated[str, typer.Option(help="Rack displacement in mm, written like --travel.")] = "0",
    measures: opt.Measures = None,
    out: opt.Out = None,
    plot: opt.Plot = None,
    narrow: opt.Narrow = False,
    dxf: Annotated[
        Path | None, typer.Option(help="Draw the linkage at both ends of the travel and in design: .dxf.")
    ] = None,
    migration: Annotated[
        Path | None, typer.Option(help="Draw the path of the roll centre (with --roll or --heave): .png, .svg or .pdf.")
    ] = None,
    engine: opt.Engine = None,
) -> None:
    """Sweep a corner over wheel travel and rack: every measure in every position.

    With --heave, --roll or --pitch both wheels of the axle stand on the ground instead, and its own measures join.

    Exit code 1 when some positions were not reached (they are empty in the table, with a status).
    """
    check_places({"--out": out}, {"--plot": plot, "--migration": migration})
    check_endings([(dxf, (".dxf",), "--dxf")])
    given = {n: v for n, v in (("heave", heave), ("roll", roll), ("pitch", pitch)) if v is not None}
    if migration is not None:
        given = given or {"roll": "0"}
    if given and travel is not None:
        text = "--travel moves one wheel alone; give it without --heave, --roll, --pitch and --migration"
        raise RequestError(Finding("drives-mixed", text))
    if given and dxf:
        text = "--dxf draws the linkage at the ends of --travel; kin3d export draws it at any travel of both wheels"
        raise RequestError(Finding("drives-mixed", text))
    asked = (given or {"travel": travel or "-40:40:5"}) | {"rack": rack}
    drives = {name: opt.parse_values(text, f"--{name}") for name, text in asked.items()}
    own = opt.parse_drives(drive or [])
    count = _positions(drives | own)
    names = opt.names_of(measures)
    read = kin3d.load(car)
    with using_engine(engine), progress_bar("Measures", count) as advance:
        result = kin3d.sweep(read, axle, **drives, drives=own, measures=names, progress=advance)
    screen.plot(result, migration, "Roll-centre path", narrow=narrow, figure="migration")
    if dxf:
        ends, straight = result.ends()
        drawing = kin3d.export(read, axle, ends, straight)
        drawing.save(dxf)
        screen.say(f"Drawing of {drawing.summary()}: {dxf}")
    screen.save(result, out)
    screen.plot(result, plot, "Curves", narrow=narrow)
    if not out:
        screen.show(result)
    screen.findings(read.findings, result.findings)
    if not result.complete:
        screen.fail()


def _positions(drives: dict[str, list[float]]) -> int:
    """How many positions the drives make; refuses what could not be held in memory."""
    count = 1
    for values in drives.values():
        count *= len(values)
    if count > MOST_POSITIONS:
        *first, last = (f"--{name}" for name in drives)
        text = f"{', '.join(first)} and {last} make {count:,} positions; {MOST_POSITIONS:,} or fewer are expected"
        raise RequestError(Finding("range", text))
    return count


sweep.__doc__ = f"{sweep.__doc__}\n\n{EPILOG}"
