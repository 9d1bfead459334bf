"""``kin3d draw``: the construction of roll centre or support lines as a drawing to scale."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Literal

import typer
from rich.console import Console

from kin3d.cli.screen import show_finding
from kin3d.linkage.names import AxleName

EPILOG = (
    "Examples:\n\n"
    "  kin3d draw models/dunlin/car.toml --view front --roll 1.5 --out front.svg\n\n"
    "  kin3d draw models/dunlin/car.toml --view side --pitch 0.5 --out side.pdf"
)


def draw(
    car: Annotated[Path, typer.Argument(help="The car file (TOML).", show_default=False)],
    out: Annotated[Path, typer.Option(help="The drawing: .svg, .pdf (text stays text) or .png.")],
    view: Annotated[
        Literal["front", "side"], typer.Option(help="Roll-centre construction, or support lines.")
    ] = "front",
    axle: Annotated[AxleName, typer.Option(help="Which axle; the side view shows both where there are two.")] = "front",
    heave: Annotated[float, typer.Option(help="Mean travel in mm, bump positive.")] = 0.0,
    roll: Annotated[float, typer.Option(help="Roll of the body in degrees, left side up positive.")] = 0.0,
    pitch: Annotated[float, typer.Option(help="Pitch in degrees, nose down positive (side view of both axles).")] = 0.0,
    rack: Annotated[float, typer.Option(help="Displacement of the rack in mm, left positive.")] = 0.0,
) -> None:
    """Draw the construction to scale: arms, instant centres, roll centre; or support lines and percentages."""
    import kin3d
    from kin3d.writing.files import PICTURES, check_place

    check_place(out, PICTURES, "--out")
    read = kin3d.load(car)
    kin3d.draw(read, view, axle, heave=heave, pitch=pitch, roll=roll, rack=rack).plot(out)
    Console().print(f"Drawing written to {out}", highlight=False, markup=False)
    for finding in read.findings:
        show_finding(Console(stderr=True), finding)


draw.__doc__ = f"{draw.__doc__}\n\n{EPILOG}"
