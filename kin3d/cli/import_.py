"""``kin3d import``: a drawing, or a part's mesh, becomes a point table, with word on how each point was read."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

import kin3d
from kin3d.cli import options as opt
from kin3d.cli.screen import Screen, check_places
from kin3d.errors import Finding, RequestError
from kin3d.linkage.names import Side


def import_drawing(
    screen: Screen,
    drawing: Annotated[
        Path, typer.Argument(help="The drawing (DXF), or a part's mesh (STL, OBJ, PLY, GLB).", show_default=False)
    ],
    out: Annotated[
        Path | None, typer.Option(help="Write the points (mm, vehicle frame): .csv; all that was read: .json.")
    ] = None,
    units: Annotated[str | None, typer.Option(help="Unit of the drawing: mm, cm, m, in, ft.")] = None,
    axes: Annotated[str | None, typer.Option(help='Axes of a 3D drawing: "x rearward, y right, z up".')] = None,
    side: Annotated[Side | None, typer.Option(help="Which corner, if both are drawn.")] = None,
    names: Annotated[Path | None, typer.Option(help="Name table (CSV): label,point.")] = None,
    views: Annotated[Path | None, typer.Option(help="views.toml. Default: the one beside the drawing.")] = None,
    plot: opt.Plot = None,
    draft: Annotated[
        Path | None,
        typer.Option(help="Folder for a draft: views, names, a numbered picture, a page to name places on."),
    ] = None,
    tolerance: Annotated[float, typer.Option(help="Views that differ by this many mm contradict each other.")] = 2.0,
    accept_spread: Annotated[
        bool, typer.Option("--accept-spread", help="Take the mean of contradicting views.")
    ] = False,
    fit_scales: Annotated[bool, typer.Option("--fit-scales", help="Let the fit correct the views' scales.")] = False,
    near: Annotated[
        Path | None, typer.Option(help="Of a mesh: points (CSV) and about where each is, in the mesh's unit and axes.")
    ] = None,
    known: Annotated[
        Path | None, typer.Option(help="Of a mesh in its own frame: three or more points in the vehicle, mm (CSV).")
    ] = None,
    body: Annotated[str | None, typer.Option(help="Of a mesh: which part it is, for the points' notes.")] = None,
    repair: Annotated[bool, typer.Option("--repair", help="Read what is left of a damaged file.")] = False,
    partial: Annotated[
        bool, typer.Option("--partial", help="Write the good points even if others are refused.")
    ] = False,
) -> None:
    """Read the pickup points of a drawing: in space, or from a sheet with two or more views.

    Every point is right within the drawing's tolerance, or refused with the reason. Where it is refused, --draft writes
    what you can fill in and hand back with --views and --names. Of a mesh, the bore or spherical seat near each point
    of --near is found, with its deviation; --units has to be given, and --axes if they are not the vehicle's.
    Exit code 1 when a point was refused, 2 when nothing could be read.

    Example:  kin3d import models/plover/front.dxf --out front.csv --plot front.png
    """
    check_places({"--out": out}, {"--plot": plot}, arrays=False)
    if near is not None:
        found = kin3d.import_bores(drawing, near, units=units, axes=axes, known=known, body=body or "")
        screen.say(found.summary())
        screen.show(found)
        screen.plot(found, plot, "Bores")
        screen.findings(found.findings)
        screen.save(found, out)
        if not found.complete:
            screen.fail()
        return
    if drawing.suffix.lower() in (".stl", ".obj", ".ply", ".glb") or known is not None or body is not None:
        text = "is missing; a mesh has no named points: give a table of about where each is (point,x,y,z)"
        raise RequestError(Finding("near-missing", text, "--near"))
    reading = kin3d.import_drawing(
        drawing, units=units, axes=axes, names=names, views=views, side=side, repair=repair,
        accept_spread=accept_spread, tolerance=tolerance, fit_scales=fit_scales, draft=draft,
    )  # fmt: skip
    screen.show(reading)
    screen.plot(reading, plot, "What was understood")
    screen.findings(reading.findings)
    if out and not reading.complete and not partial:
        screen.say(f"{out} was not written: points were refused (--partial writes the others)")
    else:
        screen.save(reading, out)
    if not reading.complete:
        screen.fail()
