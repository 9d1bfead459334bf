"""``kin3d swap``: a push-rod corner becomes a pull-rod corner or back, its motion ratios kept."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from kin3d.cli.screen import Screen
from kin3d.cli.shared import parse_values
from kin3d.linkage.names import AxleName

if TYPE_CHECKING:
    from kin3d.studies.swap import Kind

EPILOG = (
    "Examples:\n\n"
    "  kin3d swap models/dunlin/car.toml --axle front --to pull --out pull.toml --plot pull.svg\n\n"
    "  kin3d swap models/plover/car.toml --to push --mount upright --box box.csv --out push.toml"
)


class KindChoice(StrEnum):
    """Which kind of rod."""

    push = "push"
    pull = "pull"


def swap(
    screen: Screen,
    car: Annotated[Path, typer.Argument(help="The car file (TOML).", show_default=False)],
    to: Annotated[KindChoice, typer.Option(help="The kind of rod that is wanted.", show_default=False)],
    axle: Annotated[AxleName, typer.Option(help="Which axle.")] = "front",
    mount: Annotated[
        str | None, typer.Option(help="Body that carries the rod. Default: highest arm to pull, lowest to push.")
    ] = None,
    box: Annotated[
        Path | None,
        typer.Option(help="Where points may go (CSV: point,x_min,x_max,y_min,...; mm, x forward, y left, z up)."),
    ] = None,
    travel: Annotated[str, typer.Option(help="Travel over which the ratio is kept: its ends, in mm.")] = "-30,30",
    within: Annotated[float, typer.Option(help="Deviation of the motion ratio that counts as a match, in %.")] = 0.5,
    load: Annotated[str, typer.Option(help="Wheel loads for the rod force, in N, with commas.")] = "1000,3000",
    out: Annotated[
        Path | None, typer.Option(help="Write the new car (.toml; point tables go beside it) or figures: .csv, .json.")
    ] = None,
    plot: Annotated[Path | None, typer.Option(help="Draw both: .png, .svg or .pdf.")] = None,
) -> None:
    """Find rod and rocker of the other kind, with the same motion ratio over the travel.

    The wheel's own links are not touched. Points without a box go in a default space about a starting layout.
    Exit code 1 when no layout fits: the nearest one is shown with what stands in its way, and nothing is written.
    """
    from kin3d import load as load_car
    from kin3d.cli.progress import progress_bar
    from kin3d.reading.boxes import read_boxes
    from kin3d.studies.swap import STARTS
    from kin3d.studies.swap import swap as find
    from kin3d.writing.files import PICTURES, check_place

    for place, endings, option in ((out, (".toml", ".csv", ".json"), "--out"), (plot, PICTURES, "--plot")):
        if place:
            check_place(place, endings, option)
    read = load_car(car)
    boxes = read_boxes(box) if box else None
    loads = parse_values(load, "--load")
    span = parse_values(travel, "--travel")
    kind: Kind = "pull" if to is KindChoice.pull else "push"
    with progress_bar("Starts", STARTS) as advance:
        found = find(read, axle, kind, mount, boxes, span, within, advance, loads_n=loads)
    screen.say(found.summary())
    screen.show(found)
    if plot:
        screen.plot(found, plot, "Picture")
    if out and out.suffix.lower() != ".toml":
        screen.save(found, out)
    elif out and found.fits:
        screen.say(f"Written: {', '.join(str(p) for p in found.save_car(out))}")
    screen.findings(read.findings)
    if not found.fits:
        screen.fail()


swap.__doc__ = f"{swap.__doc__}\n\n{EPILOG}"
