"""``kin3d check``: is the car file sound, does the linkage move, what does it look like in the design position."""

from __future__ import annotations

import kin3d
from kin3d.cli import options as opt
from kin3d.cli.screen import Screen, check_places


def check(screen: Screen, car: opt.CarPath, axle: opt.AnyAxle = None, out: opt.OutTables = None) -> None:
    """Read a car file, solve the design position, and say what is there and what looks wrong.

    Shows mobility, findings, how far each corner travels, and the design-position table.

    Example:  kin3d check models/dunlin/car.toml
    """
    check_places({"--out": out}, arrays=False)
    read = kin3d.load(car)
    screen.say(f"{read.title}, {car}", "bold")
    found = kin3d.check(read, axle)
    screen.show(found)
    screen.save(found, out)
    screen.findings(read.findings, found.findings)
