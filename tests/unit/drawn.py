"""Draws drawings for the tests with ezdxf primitives: in space, and sheets of views. Knows nothing of the reader."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import ezdxf
import numpy as np

POINTS = {
    "lower_front": (162.0, 241.5, 148.0), "lower_rear": (-171.0, 236.0, 139.5), "lower_outer": (6.5, 655.0, 131.0),
    "upper_front": (121.0, 268.0, 312.0), "upper_rear": (-143.0, 262.5, 301.0), "upper_outer": (-11.0, 633.0, 352.0),
    "tie_inner": (84.0, 249.0, 187.0), "tie_outer": (91.5, 646.0, 176.0), "wheel_centre": (0.0, 701.0, 241.0),
    "rod_outer": (2.5, 611.0, 152.0), "rod_inner": (-4.0, 322.0, 441.0), "rocker_axis_1": (-33.0, 281.0, 402.0),
    "rocker_axis_2": (27.0, 279.0, 404.0), "spring_outer": (-6.0, 247.0, 452.0), "spring_inner": (3.0, 52.0, 437.0),
}  # fmt: skip
LINKS = (
    ("lower_front", "lower_outer"), ("lower_rear", "lower_outer"), ("upper_front", "upper_outer"),
    ("upper_rear", "upper_outer"), ("tie_inner", "tie_outer"), ("rod_outer", "rod_inner"),
    ("rocker_axis_1", "rocker_axis_2"), ("spring_outer", "spring_inner"),
)  # fmt: skip
Point3 = Sequence[float]
View = dict[str, Any]


def new(units: int | None = 4, version: str = "R2010") -> Any:
    doc = ezdxf.new(version, setup=False)
    doc.header["$INSUNITS"] = units if units is not None else 0
    return doc


def side_view(origin: Sequence[float], scale: float, nose: str = "left") -> View:
    return {"name": "side", "axes": ["-x" if nose == "left" else "x", "z"], "origin": list(origin), "m": scale}


def three_views(scale: float = 5.0, at: tuple[float, float] = (0.0, 0.0), spacing: float = 1100.0) -> list[View]:
    """Third angle, seen from the front, the left and above; `scale` in mm of the car per drawing unit."""
    x, y, d = at[0], at[1], spacing / scale
    return [
        {"name": "front", "axes": ["y", "z"], "origin": [x, y], "m": scale},
        {"name": "side", "axes": ["-x", "z"], "origin": [x + 1.4 * d, y], "m": scale},
        {"name": "plan", "axes": ["-x", "-y"], "origin": [x + 1.4 * d, y + 1.5 * d], "m": scale},
    ]


def place(view: View, xyz: Point3) -> np.ndarray:
    """Place on the sheet, shape (2,)."""
    return np.array(
        [o + (-1.0 if a[0] == "-" else 1.0) * xyz["xyz".index(a[-1])] / view["m"]
         for a, o in zip(view["axes"], view["origin"], strict=True)]
    )  # fmt: skip


def plan_of(views: Sequence[View], unit_mm: float = 1.0, region: bool = False) -> dict[str, Any]:
    """What views.toml says of these views."""
    return {
        "views": {
            v["name"]: {
                "axes": v["axes"],
                "origin": [float(c) for c in v["origin"]],
                "scale": f"1:{v['m'] / unit_mm:g}",
            }
            for v in views
        }
    }


def draw_views(
    doc: Any,
    views: Sequence[View],
    points: Mapping[str, Point3] = POINTS,
    rng: np.random.Generator | None = None,
    leader: str | None = "LINE",
    noise_mm: float = 0.0,
    height: float = 1.8,
    label: Any = str,
    offset: tuple[float, float] | None = None,
) -> None:
    """Draw links, circles, labels and leaders of all views; label offsets are random unless given (drawing units)."""
    space, rng = doc.modelspace(), rng or np.random.default_rng(5)
    for view in views:
        at = {n: place(view, p) + rng.normal(0.0, noise_mm, 2) / view["m"] for n, p in points.items()}
        for a, b in LINKS:
            if a in at and b in at:
                space.add_line(tuple(at[a]), tuple(at[b]), dxfattribs={"layer": "LINKS"})
        for name, uv in at.items():
            space.add_circle(tuple(uv), 1.0, dxfattribs={"layer": "POINTS"})
            turn = rng.uniform(0.0, 2.0 * np.pi)
            step = np.array(offset) if offset else rng.uniform(4.0, 9.0) * np.array([np.cos(turn), np.sin(turn)])
            _label(space, uv, uv + step, label(name), leader, height)
        if "wheel_centre" in at:
            space.add_circle(tuple(at["wheel_centre"]), 250.0 / view["m"], dxfattribs={"layer": "TYRE"})
        title = tuple(np.min(list(at.values()), axis=0) - (0.0, 14.0))
        space.add_text(
            view.get("title", f"{view['name'].upper()} VIEW"), height=1.6 * height, dxfattribs={"insert": title}
        )


def _label(space: Any, uv: np.ndarray, tail: np.ndarray, text: str, leader: str | None, height: float) -> None:
    right = tail[0] < uv[0]
    align = {"halign": 2, "align_point": tuple(tail)} if right else {}
    space.add_text(text, height=height, dxfattribs={"insert": tuple(tail), "layer": "TEXT", **align})
    if leader == "LINE":
        space.add_line(tuple(uv), tuple(tail), dxfattribs={"layer": "LEADERS"})
    elif leader == "LEADER":
        space.add_leader([tuple(uv), tuple(tail)], dxfattribs={"layer": "LEADERS"})
    elif leader == "POLYLINE":
        knee = (uv + tail) / 2.0 + (0.3, -0.2)
        space.add_lwpolyline([tuple(uv), tuple(knee), tuple(tail)], dxfattribs={"layer": "LEADERS"})


def draw_space(
    doc: Any,
    points: Mapping[str, Point3] = POINTS,
    unit_mm: float = 1.0,
    step: Point3 = (5.0, 5.0, 0.0),
    label: Any = str,
    layer: str = "HP",
) -> None:
    """Draw points in space with a text beside each, all by the same step (mm)."""
    space = doc.modelspace()
    for name, xyz in points.items():
        p = np.array(xyz) / unit_mm
        space.add_point(tuple(p), dxfattribs={"layer": layer})
        space.add_text(
            label(name),
            height=6.0 / unit_mm,
            dxfattribs={"insert": tuple(p + np.array(step) / unit_mm), "layer": layer},
        )


def save(doc: Any, path: Path, binary: bool = False) -> Path:
    doc.saveas(path, fmt="bin" if binary else "asc")
    return path


def errors_mm(points: Mapping[str, Any], truth: Mapping[str, Point3] = POINTS) -> dict[str, float]:
    """Largest coordinate error of every point read."""
    return {n: float(np.abs(p.xyz_mm - truth[n]).max()) for n, p in points.items()}
