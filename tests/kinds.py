"""A car of each built-in layout, made of the demo table that the layout has."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import kin3d
from kin3d.linkage.car import Car
from kin3d.linkage.layout_file import builtin, builtin_names
from kin3d.linkage.names import AxleName

KINDS = tuple(n for n in builtin_names() if builtin(n).demo)


def demo_car(
    folder: Path, kind: str, axle: AxleName = "rear", more: str = "", side: str = "left", **moved: Any
) -> Car:
    """A car with one axle of that layout; `moved` are points in other places, or None for those left out."""
    places = {n: p for n, p in (dict(builtin(kind).demo) | moved).items() if p is not None}
    folder.mkdir(parents=True, exist_ok=True)
    rows = [f"{n},{','.join(repr(float(c)) for c in p)}" for n, p in places.items()]
    (folder / "points.csv").write_text("\n".join(["point,x,y,z", *rows, ""]), "utf-8")
    text = (
        f'title = "{kind}"\n[car]\nwheelbase_mm = 2500\ncg_height_mm = 450\nmass_kg = 1100\nfront_mass_share = 0.5\n'
        f'front_brake_share = 0.6\ndrive = "{axle}"\n[{axle}]\npoints = "points.csv"\nunits = "mm"\nside = "{side}"\n'
        f'axes = "x forward, y left, z up"\nlayout = "{kind}"\nloaded_radius_mm = 290\ncamber_deg = -1\ntoe_deg = 0.1\n'
    )
    (folder / "car.toml").write_text(text + more, "utf-8")
    return kin3d.load(folder / "car.toml")
