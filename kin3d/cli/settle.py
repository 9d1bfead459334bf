"""``kin3d settle``: how the car stands under steady braking, cornering and downforce."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from kin3d.cli.screen import Screen

EPILOG = (
    "Examples:\n\n"
    "  kin3d settle models/dunlin/car.toml --braking 1.5 --lateral 1.2\n\n"
    "  kin3d settle models/dunlin/car.toml --lateral=-1.4 --aero-front 300 --aero-rear 450 --out settled.json"
)


def settle(
    screen: Screen,
    car: Annotated[Path, typer.Argument(help="The car file (TOML), with both axles.", show_default=False)],
    braking: Annotated[float, typer.Option(help="Deceleration in g.")] = 0.0,
    driving: Annotated[float, typer.Option(help="Acceleration in g, instead of --braking.")] = 0.0,
    lateral: Annotated[float, typer.Option(help="Acceleration to the left in g; negative for a right turn.")] = 0.0,
    aero_front: Annotated[float, typer.Option(help="Downforce on the front axle in N.")] = 0.0,
    aero_rear: Annotated[float, typer.Option(help="Downforce on the rear axle in N.")] = 0.0,
    rack: Annotated[float, typer.Option(help="Displacement of the front rack in mm, left positive.")] = 0.0,
    out: Annotated[Path | None, typer.Option(help="Write the wheels (.csv) or all figures (.json).")] = None,
) -> None:
    """Find the attitude of the car under steady loads: travels, tyre loads, spring forces, camber and toe.

    Within an axle each tyre works at the same share of its load. A wheel that lifts off is reported, as are springs
    beyond their travel. Exit code 2 when no attitude carries the loads.
    """
    from kin3d import load
    from kin3d.errors import Finding, RequestError
    from kin3d.studies.settle import settle as find
    from kin3d.writing.files import check_place

    if braking and driving:
        raise RequestError(Finding("loads-mixed", "--braking and --driving do not go together; give one of them"))
    if out:
        check_place(out, (".csv", ".json"), "--out")
    found = find(load(car), braking - driving, lateral, aero_front, aero_rear, rack)
    screen.say(found.summary())
    screen.show(found)
    if out:
        found.save(out)
        screen.say(f"Figures written to {out}")
    screen.findings(found.findings)


settle.__doc__ = f"{settle.__doc__}\n\n{EPILOG}"
