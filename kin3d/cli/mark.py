"""``kin3d mark``: a window to set marks in photographs."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

import kin3d
from kin3d.cli.screen import Screen

EPILOG = "Example:  kin3d mark models/plover/photos/front.photos.toml"


def mark(
    screen: Screen,
    photographs: Annotated[Path, typer.Argument(help="The file of photographs (NAME.photos.toml).")],
) -> None:
    """Set the marks of photographs in a window, and see at once what they say.

    A list of names leads from mark to mark; wheel: zoom, arrow keys: fine steps, F1: all keys. Every change is saved
    into the table of marks as you go. As soon as there are enough marks, arms, rims and ground are laid over the
    picture, and names that are not yet marked are expected where their ellipses stand. A car named in [same_as] stands
    beside it.
    """
    del screen
    kin3d.mark(photographs)


mark.__doc__ = f"{mark.__doc__}\n\n{EPILOG}"
