"""``kin3d new``: a commented car file with its tables, to put one's own figures into."""

from __future__ import annotations

import shlex
from importlib.resources import files
from pathlib import Path
from typing import Annotated

import typer

from kin3d.cli.screen import Screen, check_endings
from kin3d.errors import Finding, RequestError
from kin3d.writing.files import with_sum, write_file

FILES = ("car.toml", "front.csv", "rear.csv")


def new(
    screen: Screen,
    folder: Annotated[Path, typer.Argument(help="Folder to write to; it is made if it is not there.")],
    layout: Annotated[
        str | None, typer.Option(help="A built-in layout (`kin3d layouts` lists them): one axle of that kind.")
    ] = None,
) -> None:
    """Write a car file and its point tables, every key with its meaning, to put your own figures into.

    The car in it is invented and complete: every command runs on it as it is.
    Files that you have changed are not replaced.

    Example:  kin3d new mycar --layout "twist beam"
    """
    texts = _texts(layout)
    if folder.is_dir():
        check_endings([(folder / name, (".toml", ".csv"), "FOLDER") for name in texts])
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise RequestError(Finding("not-written", f"cannot be made: {error.strerror or error}", str(folder))) from None
    for name, text in texts.items():
        write_file(folder / name, with_sum(text))
    screen.say(f"Written to {folder}: {', '.join(texts)}. The car is invented: put your own figures in its place.")
    screen.say(f"Then: kin3d check {shlex.quote(str(folder / FILES[0]))}")


def _texts(layout: str | None) -> dict[str, str]:
    """Files of the car to start from, by name."""
    if layout is not None:
        from kin3d.studies.layout_list import starting_car

        made = starting_car(layout)
        if made:
            return made
    return {name: (files("kin3d") / "guide" / "new" / name).read_text("utf-8") for name in FILES}
