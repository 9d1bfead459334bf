"""``kin3d view``: the linkage in 3D, in a window or as pictures, films and scenes."""

from __future__ import annotations

from importlib import import_module
from pathlib import Path
from typing import Annotated, Literal

import typer
from rich.console import Console

from kin3d.cli.shared import parse_values
from kin3d.errors import Finding, RequestError
from kin3d.linkage.names import AxleName

EPILOG = (
    "Examples:\n\n"
    "  kin3d view models/dunlin/car.toml\n\n"
    "  kin3d view models/dunlin/car.toml models/plover/car.toml --screenshot both.png --view front\n\n"
    "  kin3d view models/plover/car.toml --animation travel.gif --size 960x540"
)

_DRIVE = {"travel": "travel_mm", "rack": "rack_mm", "roll": "roll_deg"}


def view(
    car: Annotated[Path, typer.Argument(help="The car file (TOML).", show_default=False)],
    other: Annotated[Path | None, typer.Argument(help="Another car, drawn as a ghost.", show_default=False)] = None,
    axle: Annotated[AxleName, typer.Option(help="Which axle.")] = "front",
    travel: Annotated[float, typer.Option(help="Wheel travel, mm; bump positive. In roll: the mean of both.")] = 0.0,
    rack: Annotated[float, typer.Option(help="Rack displacement, mm; to the left positive.")] = 0.0,
    roll: Annotated[float, typer.Option(help="Body roll over the ground, deg; left side up positive.")] = 0.0,
    over: Annotated[
        Literal["travel", "rack", "roll"], typer.Option(help="What curves and animation run over.")
    ] = "travel",
    sweep: Annotated[str | None, typer.Option("--range", help="Values of that, START:STOP:STEP.")] = None,
    screenshot: Annotated[Path | None, typer.Option(help="Write a picture (.png, .jpg); no window.")] = None,
    animation: Annotated[Path | None, typer.Option(help="Write the sweep as a film (.gif, .mp4); no window.")] = None,
    scene: Annotated[Path | None, typer.Option(help="Write the scene (.glb, .html); no window.")] = None,
    from_: Annotated[
        Literal["perspective", "front", "side", "plan"], typer.Option("--view", help="From where.")
    ] = "perspective",
    focus: Annotated[Literal["axle", "left", "right"], typer.Option(help="What fills the picture.")] = "axle",
    show: Annotated[str, typer.Option(help="Layers to add, e.g. 'front centres,screw axis'.")] = "",
    hide: Annotated[str, typer.Option(help="Layers to leave out, e.g. 'wheels,labels'.")] = "",
    curves: Annotated[
        str | None, typer.Option(help="Measures drawn beside the picture, e.g. camber_deg,toe_deg.")
    ] = None,
    size: Annotated[str, typer.Option(help="Width x height of pictures, px.")] = "1280x800",
) -> None:
    """See the linkage move in 3D: drag a point, and every curve, axis and centre follows.

    Without --screenshot, --animation or --scene a window opens (pip install "kin3d[viewer]"); its F1 lists all keys.

    Layers: linkage, wheels, joints, ground, steering axis, screw axis, front centres, side centres, rod
    force, labels, point names, meshes.
    """
    from kin3d import load

    command, model = import_module("kin3d_viewer.command"), import_module("kin3d_viewer.model")
    request = command.Request(
        axle=axle,
        drives=model.Drives(travel, rack, roll),
        over=_DRIVE[over],
        sweep=parse_values(sweep, "--range") if sweep else (),
        screenshot=screenshot,
        animation=animation,
        scene=scene,
        view=from_,
        focus=focus,
        show=_names(show),
        hide=_names(hide),
        curves=None if curves is None else _names(curves),
        size=_size(size),
    )
    command.check(request)
    for sentence in command.run(load(car), load(other) if other else None, request):
        Console().print(sentence, highlight=False, soft_wrap=True)


def _names(text: str) -> tuple[str, ...]:
    return tuple(part.strip() for part in text.split(",") if part.strip())


def _size(text: str) -> tuple[int, int]:
    parts = text.lower().replace("×", "x").split("x")
    if len(parts) != 2 or not all(p.strip().isdigit() for p in parts):
        raise RequestError(Finding("size", f'--size "{text}": expected WIDTHxHEIGHT in px, e.g. 1280x800'))
    return int(parts[0]), int(parts[1])
