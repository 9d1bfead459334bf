"""``kin3d export``: an axle as a DXF drawing, in space and with the constructions of its centres."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer
from rich.console import Console

from kin3d.cli.options import parse_values
from kin3d.cli.screen import show_finding
from kin3d.errors import Finding, RequestError
from kin3d.linkage.names import AxleName

if TYPE_CHECKING:
    from kin3d.linkage.car import Car
    from kin3d.studies.result import SweepResult

EPILOG = (
    "Examples:\n\n"
    "  kin3d export models/dunlin/car.toml --out front.dxf\n\n"
    "  kin3d export models/plover/car.toml --axle rear --travel=-25,0,25 --dxf-version R12 --out rear.dxf"
)


def export(
    car: Annotated[Path, typer.Argument(help="The car file (TOML).", show_default=False)],
    out: Annotated[Path, typer.Option(help="The drawing to write (.dxf).", show_default=False)],
    axle: Annotated[AxleName, typer.Option(help="Which axle.")] = "front",
    travel: Annotated[
        str, typer.Option(help="Travels of both wheels in mm: a comma list, or START:STOP:STEP with both ends.")
    ] = "-30,0,30",
    rack: Annotated[float, typer.Option(help="Rack displacement, mm; to the left positive.")] = 0.0,
    version: Annotated[
        str, typer.Option("--dxf-version", help="R12, R2000, R2010 or R2018. R12 cannot say that its unit is mm.")
    ] = "R2010",
) -> None:
    """Write an axle as a DXF drawing, 1 unit = 1 mm.

    The linkage in space at every travel, on layers named for travel and part, every point a block with its name in an
    attribute; front and side view with instant centres, roll centre and anti values, dimensioned, on layers of their
    own. The design position is always there: a car file that names the drawing as its points reads it back.
    """
    from kin3d import load

    read = load(car)
    for finding in read.findings:
        show_finding(Console(stderr=True), finding)
    said = _write(read, axle, parse_values(travel, "--travel"), rack, out, version, "--out")
    Console().print(said, highlight=False, soft_wrap=True)


def draw_sweep(car: Car, result: SweepResult, out: Path) -> str:
    """Draw the design position and the ends of a sweep that were reached; gives a sentence that says which."""
    from kin3d.solve.status import Status

    travels, racks = result.drives["travel_mm"], result.drives["rack_mm"]
    column = int(abs(racks).argmin())  # the rack nearest to the middle
    reached = (result.status[:, column] == Status.OK).all(axis=-1)
    if not reached.any():
        raise RequestError(Finding("out-of-reach", "no position of the sweep was reached: nothing to draw", str(out)))
    there = travels[reached]
    ends = [float(there.min()), float(there.max())]
    return _write(car, result.axle, ends, float(racks[column]), out, "R2010", "--dxf")


def _write(car: Car, axle: AxleName, travels: list[float], rack: float, out: Path, version: str, option: str) -> str:
    """Solve and write; the sentence for the terminal."""
    import kin3d

    made = kin3d.export(car, axle, travels, rack)
    made.write(out, version, option)
    return f"Drawing of {made.summary()}: {out}"


export.__doc__ = f"{export.__doc__}\n\n{EPILOG}"
