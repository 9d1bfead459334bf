"""``kin3d measures``: every measure with unit, sign, definition and source."""

from __future__ import annotations

import kin3d
from kin3d.cli import options as opt
from kin3d.cli.screen import Screen, check_places


def measures(screen: Screen, axle: opt.AnyAxle = None, out: opt.OutTables = None) -> None:
    """List every measure: name, unit, what a positive value means, definition, source.

    Example:  kin3d measures --axle front
    """
    check_places({"--out": out}, arrays=False)
    found = kin3d.measures(axle)
    if out is None:
        screen.show(found)
    screen.save(found, out)
