"""``kin3d clearance``: what comes near to what over travel and rack."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

import kin3d
from kin3d.cli import options as opt
from kin3d.cli.screen import Screen, check_places

EPILOG = (
    "Examples:\n\n"
    "  kin3d clearance models/dunlin/car.toml --travel=-25:25:5 --rack=-30:30:10 --picture worst.svg\n\n"
    "  kin3d clearance models/dunlin/car.toml --roll=-3:3:1 --rack=-30,30 --gap 6 --out gaps.csv"
)
MANY = f": {opt.RANGE}."


def clearance(
    screen: Screen,
    car: opt.CarPath,
    travel: Annotated[
        str | None, typer.Option(help=f"Wheel travel in mm{MANY} Default -30:30:5 without --roll and --heave.")
    ] = None,
    rack: Annotated[str, typer.Option(help=f"Rack displacement in mm, to the left positive{MANY}")] = "0",
    roll: Annotated[
        str | None, typer.Option(help=f"In place of travel, both wheels on the ground: roll in degrees{MANY}")
    ] = None,
    heave: Annotated[str | None, typer.Option(help=f"Mean travel in mm, with roll or pitch{MANY}")] = None,
    pitch: Annotated[
        str | None, typer.Option(help=f"All four wheels on the ground: pitch in degrees, nose down positive{MANY}")
    ] = None,
    axle: opt.AnyAxle = None,
    gap: Annotated[float, typer.Option(help="Gap in mm that is wanted: where it is used up is told.")] = 4.0,
    sigma: opt.Sigma = None,
    out: opt.OutTables = None,
    plot: opt.Plot = None,
    picture: Annotated[
        Path | None, typer.Option(help="Draw the place of the least gap: .png, .svg or .pdf.")
    ] = None,
) -> None:
    """The least gap of every pair of solids that can move against each other, and where it is.

    Solids are tubes, rim, brake disc and meshes of the car file ([front.solids], [front.links], [front.rod_part]).
    Every travel is looked at with every rack, on both sides; with --roll and --heave both wheels
    stand on the ground, with --pitch all four.
    Pairs that touch in the design position are joined and told apart. With deviations of points each gap has its own,
    and a chance of contact. Exit code 1 when a pair comes to touch or a position is not reached.
    """
    check_places({"--out": out}, {"--plot": plot, "--picture": picture}, arrays=False)
    read = kin3d.load(car)
    ground = {"roll": roll, "heave": heave, "pitch": pitch}
    given = {n: None if v is None else opt.parse_values(v, f"--{n}") for n, v in ground.items()}
    found = kin3d.clearance(
        read,
        None if travel is None else opt.parse_values(travel, "--travel"),
        opt.parse_values(rack, "--rack"),
        roll=given["roll"],
        heave=given["heave"],
        pitch=given["pitch"],
        axle=axle,
        gap=gap,
        sigma=sigma,
    )
    screen.say(found.summary())
    screen.show(found)
    screen.save(found, out)
    screen.plot(found, plot, "Gaps")
    if picture is not None:
        found.picture(picture)
        screen.say(f"Place of the least gap drawn to {picture}")
    screen.findings(read.findings, found.findings)
    if not found.complete:
        screen.fail()


clearance.__doc__ = f"{clearance.__doc__}\n\n{EPILOG}"
