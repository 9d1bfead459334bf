"""``kin3d draw``: the construction of roll centre or support lines as a drawing to scale."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Literal

import typer

import kin3d
from kin3d.cli import options as opt
from kin3d.cli.screen import Screen, check_endings
from kin3d.linkage.names import AxleName
from kin3d.writing.files import PICTURES

EPILOG = (
    "Examples:\n\n"
    "  kin3d draw models/dunlin/car.toml --view front --roll 1.5 --out front.svg\n\n"
    "  kin3d draw models/dunlin/car.toml --view side --pitch 0.5 --out side.pdf\n\n"
    "  kin3d draw models/plover/photos/car.toml --photo quarter --ghost models/dunlin/photos/car.toml --out pit.svg"
)


def draw(
    screen: Screen,
    car: opt.CarPath,
    out: Annotated[
        Path, typer.Option(help="The drawing: .svg, .pdf (text stays text) or .png; or its points: .csv, .json.")
    ],
    view: Annotated[
        Literal["front", "side"], typer.Option(help="Roll-centre construction, or support lines.")
    ] = "front",
    axle: Annotated[
        AxleName, typer.Option(help="Which axle; the side view shows both where there are two.")
    ] = "front",
    heave: Annotated[float, typer.Option(help="Mean travel in mm, bump positive.")] = 0.0,
    roll: Annotated[float, typer.Option(help="Roll of the body in degrees, left side up positive.")] = 0.0,
    pitch: Annotated[float, typer.Option(help="Pitch in degrees, nose down positive (side view of both axles).")] = 0.0,
    rack: opt.Rack = 0.0,
    photo: Annotated[
        str | None, typer.Option(help="Draw it back onto this photograph, by its name in the file of photographs.")
    ] = None,
    ghost: Annotated[
        Path | None, typer.Option(help="With --photo: car file of another car, drawn through the same camera.")
    ] = None,
    crop: Annotated[bool, typer.Option("--crop", help="With --photo: show the car alone.")] = False,
    plain: Annotated[bool, typer.Option("--plain", help="With --photo: the drawing without the picture.")] = False,
) -> None:
    """Draw the construction: arms, instant centres, roll centre, to scale or on a photograph; or support lines."""
    check_endings([(out, (*PICTURES, ".csv", ".json"), "--out")])
    read = kin3d.load(car)
    other = None if ghost is None else kin3d.load(ghost)
    found = kin3d.draw(
        read, view, axle, heave=heave, pitch=pitch, roll=roll, rack=rack, photo=photo, ghost=other, crop=crop,
        plain=plain,
    )  # fmt: skip
    if photo is not None:
        screen.say(found.summary())
    if out.suffix.lower() in PICTURES:
        found.plot(out)
        screen.say(f"Drawing written to {out}")
    else:
        screen.save(found, out)
    screen.findings(read.findings)


draw.__doc__ = f"{draw.__doc__}\n\n{EPILOG}"
