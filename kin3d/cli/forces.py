"""``kin3d forces``: forces in links, joints, pickups and springs under the car's load cases."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

import kin3d
from kin3d.cli import options as opt
from kin3d.cli.screen import Screen, check_places
from kin3d.errors import Finding, RequestError
from kin3d.linkage.car import Car

if TYPE_CHECKING:
    from kin3d.studies.compliance_result import Compliance
    from kin3d.studies.forces_result import Forces

EPILOG = (
    "Examples:\n\n"
    "  kin3d forces models/dunlin/car.toml --travel=-25:25:5 --out forces.csv\n\n"
    "  kin3d forces models/dunlin/car.toml --cases kerb --travel=-25:25:5 --plot kerb.svg"
)


def forces(
    screen: Screen,
    car: opt.CarPath,
    travel: opt.Travel = "0",
    rack: opt.Rack = 0.0,
    axle: opt.AnyAxle = None,
    cases: Annotated[str | None, typer.Option(help="Names of load cases, with commas. Default: all.")] = None,
    compliance: Annotated[
        bool, typer.Option("--compliance", help="What elastic joints and links add to toe, camber, caster and place.")
    ] = False,
    out: opt.Out = None,
    plot: opt.Plot = None,
    narrow: opt.Narrow = False,
    bodies: Annotated[
        Path | None, typer.Option(help="Draw upright, arms and rocker apart with their forces, of one case.")
    ] = None,
) -> None:
    """Forces in every link, joint, chassis pickup and spring under the [[cases]] of the car file.

    A case is the road's force on one tyre, looked at over --travel, or accelerations of the settled car, which has
    travels of its own. The rack is held. Tension is positive; vectors are in the vehicle frame. Exit code 1 when a
    travel is not reached. --compliance gives what elastic joints and links of the car file add to toe, camber, caster
    and the wheel's place, per kN and N·m and in each case. Strength is for qualified people.
    """
    check_places({"--out": out}, {"--plot": plot, "--bodies": bodies})
    if compliance:
        _without({"--plot": plot, "--bodies": bodies})
    read, at = kin3d.load(car), opt.parse_values(travel, "--travel")
    chosen = opt.names_of(cases)
    if compliance:
        _tell(screen, read, kin3d.compliance(read, at, rack, axle=axle, cases=chosen), out)
        return
    found = kin3d.forces(read, at, rack, axle=axle, cases=chosen)
    found.refuse_pictures(plot, bodies)
    _tell(screen, read, found, out)
    screen.plot(found, plot, "Forces", narrow=narrow)
    if bodies is not None:
        found.bodies(bodies)
        screen.say(f"Free bodies drawn to {bodies}")


def _tell(screen: Screen, read: Car, found: Forces | Compliance, out: Path | None) -> None:
    screen.say(found.summary())
    screen.show(found)
    screen.save(found, out)
    screen.findings(read.findings, found.findings)
    if not found.complete:
        screen.fail()


def _without(others: dict[str, object]) -> None:
    """Refuse what --compliance has no use for."""
    given = [name for name, value in others.items() if value is not None]
    if given:
        text = f"has no use for {', '.join(given)}; leave that out"
        raise RequestError(Finding("options-mixed", text, "--compliance"))


forces.__doc__ = f"{forces.__doc__}\n\n{EPILOG}"
