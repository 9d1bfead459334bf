"""Car files whose points come from synthetic photographs, written as a user would write them."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from pathlib import Path

from tests.photo_scenes import FRONT, QUARTER, Scene, scene, write_files

CAR = """title = "{name}"
[car]
cg_height_mm = 285
front_brake_share = 0.62
{more}
[front]
points = "{name}.photos.toml"
layout = "double wishbone"
"""


def photographed(folder: Path, seed: int, names=("dunlin", "plover"), shots=(FRONT, QUARTER), more="", **options):
    """Write a scene's files and a car file for each of its cars; the scene and the paths of the car files."""
    made = whole_rims(scene(names, shots, seed, template_off=10.0, **options))
    write_files(made, folder)
    paths = []
    for name in names:
        paths.append(folder / f"{name}.toml")
        paths[-1].write_text(CAR.format(name=name, more=more), "utf-8")
    return made, paths


def whole_rims(made: Scene) -> Scene:
    """The scene without the marks of rims of which fewer than five are seen."""
    done = None
    for car in made.car.cars():
        count = Counter((m.photo, m.name, m.side) for m in car.marks if m.kind == "rim")
        kept = tuple(m for m in car.marks if m.kind != "rim" or count[m.photo, m.name, m.side] >= 5)
        done = replace(car, marks=kept, same_as=done)
    return replace(made, car=done)
