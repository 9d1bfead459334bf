"""What a person has marked: names of picked points with their places, and the distance between two places."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from kin3d.writing.numbers import fixed
from kin3d_viewer.primitives import Array, Ball, Label, Line, Primitive, Scene


def with_marks(scene: Scene, marked: Sequence[str], ruler: tuple[str, str] | None) -> Scene:
    """The scene with names beside marked balls and a line between two; what is not there now is left out.

    Parameters
    ----------
    marked : sequence of str
        Names of balls.
    ruler : (str, str) or None
        Names of two balls.
    """
    if not marked and ruler is None:
        return scene
    balls = {p.name: p for p in scene.items if isinstance(p, Ball)}
    out: list[Primitive] = []
    for name in marked:
        if name in balls:
            text = f"{name.split('/')[-1]}  ({', '.join(fixed(float(v), 1) for v in balls[name].centre)})"
            out.append(Label(f"picked/{name}", "picked name", text, balls[name].centre, -2))
    if ruler is not None and all(name in balls for name in ruler):
        ends = np.array([balls[name].centre for name in ruler])
        out.append(Line("measure/line", "measure", ends))
        out.append(Label("measure/label", "measure", distance_words(ends), ends.mean(axis=0), -1))
    return replace(scene, items=(*scene.items, *out))


def distance_words(ends: Array) -> str:
    """A distance and its three parts, in words; `ends` has the shape (2, 3), mm."""
    way = ends[1] - ends[0]
    parts = ", ".join(f"{axis} {'+' if v > 0 else ''}{fixed(float(v), 2)}" for axis, v in zip("xyz", way, strict=True))
    return f"{float(np.linalg.norm(way)):.2f} mm  ({parts})"
