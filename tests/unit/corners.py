"""Small corners and layouts for unit tests, given as data."""

from __future__ import annotations

import numpy as np

from kin3d.linkage.layout import Layout, Linkage
from kin3d.linkage.layout_file import builtin, parse
from kin3d.linkage.resolve import resolve
from kin3d.solve.kernel import Kernel

# a plain left front corner with a push-rod, mm
POINTS = {
    "lower_front": (150, 255, 190),
    "lower_rear": (-190, 250, 182),
    "lower_outer": (8, 690, 165),
    "upper_front": (130, 290, 345),
    "upper_rear": (-150, 285, 335),
    "upper_outer": (-12, 655, 385),
    "tie_inner": (80, 260, 230),
    "tie_outer": (95, 675, 215),
    "wheel_centre": (0, 750, 262),
    "wheel_axis": (0, 850, 259),
    "rod_outer": (5, 620, 185),
    "rod_inner": (0, 300, 450),
    "rocker_axis_1": (60, 270, 400),
    "rocker_axis_2": (-40, 270, 400),
    "spring_outer": (0, 215, 420),
    "spring_inner": (-20, 60, 300),
}
ROD = {"rod_outer", "rod_inner", "rocker_axis_1", "rocker_axis_2", "spring_outer", "spring_inner"}


def double_wishbone(rod_on: str | None = None, **moved) -> tuple[Linkage, np.ndarray]:
    """Linkage and design coordinates of the built-in layout, some points moved."""
    points = {n: p for n, p in (POINTS | moved).items() if rod_on or n not in ROD}
    return linkage(builtin("double wishbone"), points, {"rod_on": rod_on} if rod_on else {})


def linkage(layout: Layout, points, keys=None) -> tuple[Linkage, np.ndarray]:
    made = resolve(layout, points, keys or {})
    full = points if "wheel_axis" in points else points | {"wheel_axis": np.add(points["wheel_centre"], (0, 100, 0))}
    return made, np.array([full[n] for n in made.points], dtype=float)


def layout(bodies, *, wheel="upright", rack=("tie_inner",), sliders=(), **more) -> Layout:
    data = {
        "name": "test layout",
        "bodies": bodies,
        "rack": {"points": list(rack)},
        "wheel": {"body": wheel},
        "sliders": [{"point": p, "line": list(line)} for p, line in sliders],
    } | more
    return parse(data, "test layout")


WISHBONES = {
    "chassis": ["lower_front", "lower_rear", "upper_front", "upper_rear"],
    "lower arm": ["lower_front", "lower_rear", "lower_outer"],
    "upper arm": ["upper_front", "upper_rear", "upper_outer"],
    "upright": ["lower_outer", "upper_outer", "tie_outer"],
    "tie link": ["tie_inner", "tie_outer"],
}
PLAIN = {n: p for n, p in POINTS.items() if n not in ROD}


def sweep(made: Linkage, design: np.ndarray, travel, rack=0.0):
    """Points (lanes, points, 3) and the solved lanes."""
    kernel = Kernel(made, design)
    variants = kernel.variants(design)
    lanes = kernel.lanes(variants, travel, rack)
    solved = kernel.solve(variants, lanes)
    return kernel.points(variants, lanes, solved), solved, kernel
