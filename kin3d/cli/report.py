"""``kin3d report``: one page to hand on."""

from __future__ import annotations

import shlex
import sys
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer
from rich.console import Console

from kin3d.cli.options import Seed, Sigma, Travel, Workers, processes
from kin3d.cli.screen import show_finding
from kin3d.cli.shared import parse_values
from kin3d.linkage.names import AxleName
from kin3d.studies.fit import Scale

if TYPE_CHECKING:
    from kin3d.studies.report_data import ReportData


_VIEWER = ("model", "page", "pictures", "session")


def report(
    cars: Annotated[list[Path], typer.Argument(help="One car file, or several to compare.", show_default=False)],
    out: Annotated[Path, typer.Option(help="The page: .html.")] = Path("report.html"),
    axle: Annotated[AxleName | None, typer.Option(help="Only this axle. Default: all that the cars share.")] = None,
    travel: Travel = "-40:40:2.5",
    sigma: Sigma = None,
    samples: Annotated[int, typer.Option(help="Sampled cars for bands and probabilities; 0: first order.")] = 4_000,
    threshold: Annotated[float, typer.Option(help="Probability from which on a difference can be said.")] = 0.95,
    scale: Annotated[Scale, typer.Option(help="Scale the other cars to the first one's track or wheelbase.")] = "none",
    align: Annotated[bool, typer.Option(help="Set the other cars' wheel centres on the first one's (x, z).")] = False,
    scene: Annotated[bool, typer.Option(help="With the linkage in motion in the page.")] = True,
    seed: Seed = 1,
    workers: Workers = 0,
) -> None:
    """Write one self-contained page: what was read, curves with bands, constructions, comparison and its causes.

    It opens offline in any browser, and reads well on paper and on a phone.

    Example:  kin3d report models/dunlin/car.toml models/plover/car.toml --out report.html
    """
    from kin3d import load
    from kin3d.report.page import write_report
    from kin3d.studies.report_data import collect
    from kin3d.writing.files import check_place

    check_place(out, (".html",), "--out")
    travels = parse_values(travel, "--travel")
    read = [load(car) for car in cars]
    data = collect(
        read,
        [axle] if axle else None,
        travels,
        sigma_mm=sigma,
        samples=samples,
        seed=seed,
        threshold=threshold,
        scale=scale,
        align=align,
        workers=processes(workers),
    )
    write_report(data, out, _command(), _scenes(data) if scene else {})
    Console().print(f"Report written to {out}", highlight=False)
    for finding in (f for car in read for f in car.findings):
        show_finding(Console(stderr=True), finding)


def _command() -> str:
    """What was typed, as it can be typed again."""
    return shlex.join(["kin3d", *sys.argv[1:]])


def _scenes(data: ReportData) -> dict[str, str]:
    """A page with the moving linkage for each axle, by the viewer; none where the viewer is not installed."""
    try:
        model, page, pictures, session = (import_module(f"kin3d_viewer.{n}") for n in _VIEWER)
    except ImportError:
        return {}
    out: dict[str, str] = {}
    for part in data.axles:
        first, *others = (c.fitted.car for c in part.comparison.cars)
        shown = session.Session.of(first, part.axle, model.Drives(), others[0] if others else None)
        out[part.axle] = page.page(shown, pictures.PictureOptions())
    return out
