"""``kin3d import``: a drawing becomes a point table, with word on how each point was read."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

import typer
from rich.console import Console

if TYPE_CHECKING:
    from rich.table import Table

    from kin3d.reading.dxf import DrawingReading, DrawnPoint


def import_drawing(
    drawing: Annotated[Path, typer.Argument(help="The drawing (DXF, ASCII or binary).", show_default=False)],
    out: Annotated[Path | None, typer.Option(help="Write the points to this CSV (mm, vehicle frame).")] = None,
    units: Annotated[str | None, typer.Option(help="Unit of the drawing: mm, cm, m, in, ft.")] = None,
    axes: Annotated[str | None, typer.Option(help='Axes of a 3D drawing: "x rearward, y right, z up".')] = None,
    side: Annotated[Literal["left", "right"] | None, typer.Option(help="Which corner, if both are drawn.")] = None,
    names: Annotated[Path | None, typer.Option(help="Name table (CSV): label,point.")] = None,
    views: Annotated[Path | None, typer.Option(help="views.toml. Default: the one beside the drawing.")] = None,
    plot: Annotated[Path | None, typer.Option(help="Picture of what was understood (PNG, SVG, PDF).")] = None,
    tolerance: Annotated[float, typer.Option(help="Views that differ by this many mm contradict each other.")] = 2.0,
    accept_spread: Annotated[
        bool, typer.Option("--accept-spread", help="Take the mean of contradicting views.")
    ] = False,
    fit_scales: Annotated[bool, typer.Option("--fit-scales", help="Let the fit correct the views' scales.")] = False,
    repair: Annotated[bool, typer.Option("--repair", help="Read what is left of a damaged file.")] = False,
    partial: Annotated[
        bool, typer.Option("--partial", help="Write the good points even if others are refused.")
    ] = False,
) -> None:
    """Read the pickup points of a drawing: in space, or from a sheet with two or more views.

    Every point is right within the drawing's tolerance, or refused with the reason.
    Exit code 1 when a point was refused, 2 when nothing could be read.

    Example:  kin3d import models/plover/front.dxf --out front.csv --plot front.png
    """
    from kin3d.cli.screen import show_finding
    from kin3d.reading.dxf import read_drawing

    reading = read_drawing(
        drawing, units=units, axes=axes, names=names, views=views, side=side, repair=repair,
        accept_spread=accept_spread, tolerance_mm=tolerance, fit_scales=fit_scales,
    )  # fmt: skip
    console = Console(soft_wrap=True)
    show_reading(console, reading)
    if plot is not None:
        from kin3d.writing.sheet import draw_sheet

        draw_sheet(reading, plot)
        console.print(f"picture: {plot}", highlight=False)
    errors = Console(stderr=True, soft_wrap=True)
    for finding in reading.findings:
        show_finding(errors, finding)
    _write(console, reading, out, partial)
    if reading.failed:
        raise typer.Exit(1)


def show_reading(console: Console, reading: DrawingReading) -> None:
    """Print the views as understood and the table of points, the refused ones below the good ones."""
    from kin3d.reading.dxf.sheet import describe

    for view in reading.views:
        console.print(f"view {describe(view)}", highlight=False, markup=False)
    if reading.points:
        title = f"{reading.source.name}: {len(reading.points)} points, mm, vehicle frame"
        console.print(_table(title, list(reading.points.values())))
    if reading.partial:
        title = f"refused: {len(reading.partial)}; only what is sure of them is shown"
        console.print(_table(title, list(reading.partial.values())))


def _table(title: str, points: list[DrawnPoint]) -> Table:
    from rich.box import SIMPLE_HEAD
    from rich.table import Table as RichTable

    table = RichTable(title=title, title_justify="left", title_style="bold", box=SIMPLE_HEAD)
    table.add_column("point", no_wrap=True)
    for head in ("x", "y", "z", "sigma", "residual"):
        table.add_column(head, justify="right", no_wrap=True)
    table.add_column("read from", overflow="fold")
    for point in points:
        sigma = max((s for s in point.sigma_mm if s == s), default=0.0)
        table.add_row(point.name, *(_figure(c) for c in (*point.xyz_mm, sigma, point.residual_mm)), _origins(point))
    return table


def _figure(value: float) -> str:
    text = f"{value:.3f}" if value == value else "–"
    return text.removeprefix("-") if text.strip("-0.") == "" else text.replace("-", "−")


def _origins(point: DrawnPoint) -> str:
    """Entity, handle, layer and views of one point; what is alike for all views is said once."""
    same = {(s.origin.entity, s.origin.layer, s.how) for s in point.sources}
    if len(same) == 1:
        entity, layer, how = next(iter(same))
        handles = ", ".join(f"{s.view} {s.origin.handle}".strip() for s in point.sources)
        return f"{entity} {handles}, layer {layer}, by {how}"
    return "; ".join(f"{s.view} {s.origin}, by {s.how}".strip() for s in point.sources)


def _write(console: Console, reading: DrawingReading, out: Path | None, partial: bool) -> None:
    if out is None:
        return
    if reading.failed and not partial:
        console.print(f"{out} was not written: points were refused (--partial writes the others)", highlight=False)
        return
    from kin3d.reading.points import write_points_csv

    write_points_csv(reading.table(), out)
    console.print(f"{len(reading.points)} points: {out}", highlight=False)
