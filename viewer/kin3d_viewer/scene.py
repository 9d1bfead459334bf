"""From a position to primitives: mechanism, wheels and ground, axes and centres, labels. No VTK here."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from kin3d_viewer.primitives import Array, Label, Line, Primitive, Scene, Solid, Wheel
from kin3d_viewer.scene_axes import centres, screw_axis, steering_axis
from kin3d_viewer.scene_parts import mechanism
from kin3d_viewer.scene_road import ground, meshes, wheels
from kin3d_viewer.snapshot import Snapshot
from kin3d_viewer.style import LAYERS, layer_of


def scene(now: Snapshot, roll_path: Array | None = None, ghost: Snapshot | None = None) -> Scene:
    """Everything that can be seen of a position; layers are hidden later, when it is drawn.

    Parameters
    ----------
    now : Snapshot
        The position.
    roll_path : ndarray, shape (k, 3), optional
        Places of the roll centre over the sweep, mm.
    ghost : Snapshot, optional
        The same position of another car, drawn pale behind this one.
    """
    items: list[Primitive] = [*mechanism(now), *wheels(now), *ground(now), *meshes(now)]
    items += [*steering_axis(now), *screw_axis(now), *centres(now, roll_path)]
    if ghost is not None:
        items += _pale(ghost)
    return Scene(tuple(items), *_frame(now))


def _pale(ghost: Snapshot) -> list[Primitive]:
    """The mechanism of the other car, in grey and under names of its own."""
    out: list[Primitive] = []
    for item in [*mechanism(ghost, labels=False), *wheels(ghost)]:
        if isinstance(item, Label | Solid):
            continue
        role = "ghost wheel" if isinstance(item, Wheel) else "ghost"
        out.append(replace(item, name=f"ghost/{item.name}", role=role))
    return out


def _frame(now: Snapshot) -> tuple[Array, float]:
    """Centre and radius of the ball that holds both corners with their wheels."""
    places = now.points.reshape(-1, 3)
    reach = now.radius_mm or 0.0
    low, high = np.nanmin(places, axis=0), np.nanmax(places, axis=0)
    margin = np.array([reach, 0.35 * reach, 0.0])
    low, high = low - margin, high + margin
    wheel_low = np.nanmin([now.at(s, "wheel_centre")[2] for s in (0, 1)]) - reach
    low[2] = min(low[2], wheel_low)
    return 0.5 * (low + high), float(0.5 * np.linalg.norm(high - low))


def visible(whole: Scene, layers: set[str]) -> list[Primitive]:
    """The primitives of the layers that are shown."""
    unknown = layers - set(LAYERS)
    if unknown:
        raise KeyError(f"no layer {', '.join(sorted(unknown))}; there are {', '.join(LAYERS)}")
    return [p for p in whole.items if layer_of(p.role) in layers and not _empty(p)]


def _empty(item: Primitive) -> bool:
    return isinstance(item, Line) and len(item.places) < 2
