"""``kin3d settle``: how the car stands under steady braking, cornering and downforce."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer
from rich.console import Console

from kin3d.cli.screen import show_finding

if TYPE_CHECKING:
    from kin3d.studies.settled import Settled

EPILOG = (
    "Examples:\n\n"
    "  kin3d settle models/dunlin/car.toml --braking 1.5 --lateral 1.2\n\n"
    "  kin3d settle models/dunlin/car.toml --lateral=-1.4 --aero-front 300 --aero-rear 450 --out settled.json"
)


def settle(
    car: Annotated[Path, typer.Argument(help="The car file (TOML), with both axles.", show_default=False)],
    braking: Annotated[float, typer.Option(help="Deceleration in g.")] = 0.0,
    driving: Annotated[float, typer.Option(help="Acceleration in g, instead of --braking.")] = 0.0,
    lateral: Annotated[float, typer.Option(help="Acceleration to the left in g; negative for a right turn.")] = 0.0,
    aero_front: Annotated[float, typer.Option(help="Downforce on the front axle in N.")] = 0.0,
    aero_rear: Annotated[float, typer.Option(help="Downforce on the rear axle in N.")] = 0.0,
    rack: Annotated[float, typer.Option(help="Displacement of the front rack in mm, left positive.")] = 0.0,
    out: Annotated[Path | None, typer.Option(help="Write all figures: .json.")] = None,
) -> None:
    """Find the attitude of the car under steady loads: travels, tyre loads, spring forces, camber and toe.

    Within an axle each tyre works at the same share of its load. A wheel that lifts off is reported, as are springs
    beyond their travel. Exit code 2 when no attitude carries the loads.
    """
    from kin3d import load
    from kin3d.errors import Finding, RequestError
    from kin3d.studies.settle import settle as find
    from kin3d.writing.settled import write_settled
    from kin3d.writing.table import check_ending

    if braking and driving:
        raise RequestError(Finding("loads-mixed", "--braking and --driving do not go together; give one of them"))
    if out:
        check_ending(out, (".json",), "--out")
    found = find(load(car), braking - driving, lateral, aero_front, aero_rear, rack)
    show(Console(), found)
    if out:
        write_settled(found, out)
        Console().print(f"Figures written to {out}", highlight=False, markup=False)
    for finding in found.findings:
        show_finding(Console(stderr=True), finding)


def show(console: Console, found: Settled) -> None:
    """Print the attitude: the body, a row a wheel, a row a spring or bar."""
    from kin3d.writing.settled import element_rows, heading, wheel_rows

    console.print(heading(found), highlight=False, markup=False)
    for head, rows in (wheel_rows(found), element_rows(found)):
        _table(console, head, rows)
    text = f"Forces balance to {found.error_n:.0e} N, moments to {found.error_n_m:.0e} N·m."
    console.print(text, highlight=False, style="dim")


def _table(console: Console, head: list[str], rows: list[list[str]]) -> None:
    from rich.box import SIMPLE_HEAD
    from rich.table import Table

    table = Table(box=SIMPLE_HEAD, header_style="bold")
    for k, name in enumerate(head):
        table.add_column(name, justify="left" if k == 0 else "right", no_wrap=k == 0)
    for row in rows:
        table.add_row(*row)
    console.print(table)


settle.__doc__ = f"{settle.__doc__}\n\n{EPILOG}"
