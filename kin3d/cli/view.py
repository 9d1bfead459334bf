"""``kin3d view``: the linkage in 3D, in a window or as pictures, films and scenes."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Literal

import typer

import kin3d
from kin3d.cli import options as opt
from kin3d.cli.screen import Screen
from kin3d.errors import Finding, RequestError

EPILOG = (
    "Examples:\n\n"
    "  kin3d view models/dunlin/car.toml\n\n"
    "  kin3d view models/dunlin/car.toml models/plover/car.toml --screenshot both.png --view front\n\n"
    "  kin3d view models/plover/car.toml --animation travel.gif --size 960x540\n\n"
    "  kin3d view models/dunlin/car.toml models/plover/car.toml --over roll --animation roll.mp4\n\n"
    "  kin3d view models/dunlin/car.toml models/plover/car.toml --becoming roll_centre_height_mm --animation why.mp4"
)


def view(
    screen: Screen,
    car: opt.CarPath,
    other: Annotated[Path | None, typer.Argument(help="Another car, in its own colour.", show_default=False)] = None,
    axle: opt.OneAxle = "front",
    travel: Annotated[float, typer.Option(help="Wheel travel, mm; bump positive. In roll: the mean of both.")] = 0.0,
    rack: opt.Rack = 0.0,
    roll: Annotated[float, typer.Option(help="Body roll over the ground, deg; left side up positive.")] = 0.0,
    over: Annotated[
        Literal["travel", "rack", "roll"], typer.Option(help="What curves and animation run over.")
    ] = "travel",
    values: Annotated[str | None, typer.Option("--range", help="Values of that, START:STOP:STEP.")] = None,
    screenshot: Annotated[Path | None, typer.Option(help="Write a picture (.png, .jpg); no window.")] = None,
    animation: Annotated[Path | None, typer.Option(help="Write the sweep as a film (.gif, .mp4); no window.")] = None,
    scene: Annotated[Path | None, typer.Option(help="Write the scene (.glb, .html); no window.")] = None,
    becoming: Annotated[
        str, typer.Option(help="Film: the car becomes the other one, cause by cause, and this measure counts along.")
    ] = "",
    case: Annotated[str, typer.Option(help="Show the forces of this load case in links and springs.")] = "",
    from_: Annotated[
        Literal["perspective", "front", "side", "plan"] | None, typer.Option("--view", help="From where.")
    ] = None,
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

    Layers: linkage, wheels, joints, ground, chassis, steering axis, screw axis, front centres, side centres, trails,
    rod force, forces, labels, point names, meshes.
    """
    run_over = opt.parse_values(values, "--range") if values else ()
    read, pixels = kin3d.load(car), _size(size)
    done = kin3d.view(
        read,
        kin3d.load(other) if other else None,
        axle,
        travel=travel,
        rack=rack,
        roll=roll,
        over=over,
        values=run_over,
        screenshot=screenshot,
        animation=animation,
        scene=scene,
        becoming=becoming,
        case=case,
        view=from_ or "",
        focus=focus,
        show=opt.names_of(show) or (),
        hide=opt.names_of(hide) or (),
        curves=opt.names_of(curves),
        size=pixels,
    )
    for sentence in done:
        screen.say(sentence)
    screen.findings(read.findings)


def _size(text: str) -> tuple[int, int]:
    parts = text.lower().replace("×", "x").split("x")
    if len(parts) != 2 or not all(p.strip().isdigit() for p in parts):
        raise RequestError(Finding("size", f'--size "{text}": expected WIDTHxHEIGHT in px, e.g. 1280x800'))
    return int(parts[0]), int(parts[1])


view.__doc__ = f"{view.__doc__}\n\n{EPILOG}"
