"""A layout file as rigid bodies of the whole car: both sides written out, from the TOML and the words of its rules.

Independent of the program's own reading: names that stand once, names of each side, names with a side.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tests.oracles.rigid_bodies import Machine

Array = NDArray[np.float64]
MIRROR = np.array([1.0, -1.0, 1.0])
LAYOUTS = Path(__file__).parents[2] / "kin3d" / "linkage" / "layouts"


def whole_car(kind: str, places: Mapping[str, Any], spin: Array) -> tuple[Machine, dict[str, Array]]:
    """The machine of both sides and its design coordinates.

    Parameters
    ----------
    places : mapping of point to (3,)
        Of the left side; those of parts are left out with them.
    spin : ndarray, shape (3,)
        Unit spin axis of the left wheel.
    """
    data = tomllib.loads((LAYOUTS / f"{kind.replace(' ', '_')}.toml").read_text("utf-8"))
    bodies: dict[str, list[str]] = {b: list(p) for b, p in data["bodies"].items()}
    for part in data.get("parts", []):
        if set(part.get("points", ())) & set(places):
            for body, points in part["bodies"].items():
                bodies.setdefault(body, []).extend(points)
    bodies[data["wheel"]["body"]] += ["wheel_centre", "wheel_axis"]
    at = {n: np.array(p, float) for n, p in places.items()}
    at["wheel_axis"] = at["wheel_centre"] + 100.0 * spin
    across = data.get("across", {})
    once = set(across.get("points", ()))
    alone = {"chassis", *across.get("bodies", ())}

    def on(name: str, side: str) -> str:
        return name if name in once or name.startswith(("left_", "right_")) else f"{side}_{name}"

    def sides(*names: str) -> tuple[str, ...]:
        single = all(n in once or n.startswith(("left_", "right_")) for n in names)
        return ("left",) if single else ("left", "right")

    full: dict[str, list[str]] = {"chassis": []}
    for body, points in bodies.items():
        if body in alone:
            full[body] = list(dict.fromkeys(on(p, s) for s in ("left", "right") for p in points))
        else:
            full |= {f"{s} {body}": [on(p, s) for p in points] for s in ("left", "right")}
    design = {n: p for n, p in at.items() if n in once}
    design |= {f"left_{n}": p for n, p in at.items() if n not in once}
    design |= {f"right_{n}": p * MIRROR for n, p in at.items() if n not in once}
    y = np.array([0.0, 1.0, 0.0])
    moved = {on(p, s): ("rack", y) for p in data.get("rack", {}).get("points", ()) for s in ("left", "right")}
    turns: dict[str, list[tuple[str, str, str]]] = {}
    for name, drive in data.get("drives", {}).items():
        if "turns" in drive:
            first, second = drive["axis"]
            free = next(p for p in bodies[drive["turns"]] if p not in drive["axis"])
            turns[name] = [(on(free, s), on(first, s), on(second, s)) for s in sides(first, second)]
        else:
            first, second = drive["along"]
            for s in sides(first, second, *drive["points"]):
                way = design[on(second, s)] - design[on(first, s)]
                moved |= {on(p, s): (name, way / np.linalg.norm(way)) for p in drive["points"]}
    sliders = [
        (on(e["point"], s), on(e["line"][0], s), on(e["line"][1], s))
        for e in data.get("sliders", [])
        for s in sides(e["point"], *e["line"])
    ]
    guides = [
        (on(e["point"], s), *(on(p, s) for p in e["plane"]))
        for e in data.get("guides", [])
        for s in sides(e["point"], *e["plane"])
    ]
    wheels = {"left": "left_wheel_centre", "right": "right_wheel_centre"}
    return Machine(full, moved, sliders, guides, turns, {}, wheels), design  # type: ignore[arg-type]
