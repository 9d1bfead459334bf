"""``kin3d tune``: which points to move, and how little, to have what a targets file wants."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

import kin3d
from kin3d.cli import options as opt
from kin3d.cli.cluster import executor_at
from kin3d.cli.progress import progress_bar
from kin3d.cli.screen import Screen, check_endings
from kin3d.errors import Finding, RequestError
from kin3d.writing.files import PICTURES


def tune(
    screen: Screen,
    car: opt.CarPath,
    targets: Annotated[Path, typer.Argument(help="The targets file (TOML).", show_default=False)],
    starts: Annotated[int, typer.Option(help="Look for all answers from so many random places in the boxes.")] = 0,
    freedom: Annotated[bool, typer.Option("--freedom", help="Tell directions that change nothing wanted.")] = False,
    trade: Annotated[
        str | None, typer.Option(help="Two wants by number, \"1,3\": how near both can be had together.")
    ] = None,
    robust: Annotated[
        bool, typer.Option("--robust", help="The chance that a made car holds all wants, and a car that raises it.")
    ] = False,
    sigma: opt.Sigma = None,
    consistent: Annotated[
        int, typer.Option(help="Take wants as bands of known figures: cars that agree, from walks of so many steps.")
    ] = 0,
    seed: opt.Seed = 1,
    rounded: Annotated[
        bool, typer.Option("--rounded", help="Write points rounded to 0.5 mm, if all is still met.")
    ] = False,
    compare: Annotated[bool, typer.Option("--compare", help="Compare the car before and after.")] = False,
    out: Annotated[
        Path | None, typer.Option(help="Write the new car (.toml; point tables go beside it) or figures: .csv, .json.")
    ] = None,
    plot: opt.Plot = None,
    narrow: opt.Narrow = False,
    curve: Annotated[Path | None, typer.Option(help="Draw what --trade finds: .png, .svg or .pdf.")] = None,
    workers: opt.Workers = 0,
    cluster: opt.Cluster = None,
) -> None:
    """Find the least change of points with which a car has all that is wanted of it.

    The targets file says how far points may go and what is wanted; `kin3d guide tune` has its keys. Exit code 1 when
    not all can be had: the nearest is shown with what stands in its way, and no car is written.

    Example:  kin3d tune models/dunlin/car.toml models/dunlin/targets.toml --out new.toml
    """
    pictures = [(plot, PICTURES, "--plot"), (curve, PICTURES, "--curve")]
    check_endings([(out, (".toml", ".csv", ".json"), "--out"), *pictures])
    if curve is not None and trade is None:
        raise RequestError(Finding("option-alone", "--curve draws what --trade finds; give both"))
    read = kin3d.load(car)
    pair = [] if trade is None else opt.parse_values(trade, "--trade")
    with progress_bar("Starts", starts) as advance, executor_at(cluster, advance.say if advance else None) as executor:
        found = kin3d.tune(
            read, targets, starts=starts, freedom=freedom, trade=pair, robust=robust, sigma=sigma,
            consistent=consistent, seed=seed, workers=opt.processes(workers), executor=executor, progress=advance,
        )  # fmt: skip
    screen.say(found.summary())
    screen.show(found)
    if compare:
        screen.show(found.comparison())
    screen.plot(found, plot, "Wants", narrow=narrow)
    if curve is not None and found.curve is not None and found.curve.free:
        screen.say(f"No picture was written to {curve}: there is nothing to trade.")
    else:
        screen.plot(found, curve, "Trade-off", narrow=narrow, figure="trade")
    whole = found.met and (not rounded or (found.rounding is not None and found.rounding.met))
    if out and out.suffix.lower() != ".toml":
        screen.save(found, out)
    elif out and whole:
        screen.say(f"Written: {', '.join(str(p) for p in found.save_car(out, rounded=rounded))}")
    screen.findings(read.findings)
    if not whole:
        screen.fail()
