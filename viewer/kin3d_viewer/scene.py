"""From a position to primitives: mechanism, wheels and ground, axes and centres, labels. No VTK here."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from kin3d.measures.gaps import ShapePair
from kin3d_viewer.level import Level
from kin3d_viewer.primitives import Array, Label, Line, Primitive, Scene, Solid, Wheel
from kin3d_viewer.scene_axes import centres, screw_axis, steering_axis
from kin3d_viewer.scene_forces import member_forces
from kin3d_viewer.scene_gaps import gaps
from kin3d_viewer.scene_parts import chassis, mechanism
from kin3d_viewer.scene_road import ground, meshes, wheels
from kin3d_viewer.snapshot import Snapshot
from kin3d_viewer.style import LAYERS, layer_of


@dataclass(frozen=True, slots=True, eq=False)
class Other:
    """Another car beside the one that is shown.

    Attributes
    ----------
    now : Snapshot
    car : {"A", "B"}
        Whose colour it has.
    whole : bool
        With its linkage and wheels, pale; else its axes and centres alone.
    """

    now: Snapshot
    car: str = "B"
    whole: bool = True


def scene(
    now: Snapshot, others: Sequence[Other] = (), car: str = "", *, cage: bool = False, pairs: tuple[ShapePair, ...] = ()
) -> Scene:
    """Everything that can be seen of a position; layers are hidden later, when it is drawn.

    Parameters
    ----------
    now : Snapshot
        The position.
    others : sequence of Other
        The same position of other cars, drawn pale behind this one.
    car : {"", "A", "B", "now"}
        Whose colour the centres of this one have; empty where there is no other.
    cage : bool
        With the chassis as a cage, which few pictures show.
    pairs : tuple of pairs of solids
        Whose gaps are shown.
    """
    items: list[Primitive] = [*mechanism(now), *wheels(now), *ground(now), *meshes(now)]
    items += chassis(now) if cage else []
    items += member_forces(now)
    items += gaps(now, pairs) if pairs else []
    items += [*steering_axis(now), *screw_axis(now), *centres(now, car)]
    for other in others:
        items += _beside(other, now.level)
    return Scene(tuple(items), *_frame(now), now.level)


def _beside(other: Other, level: Level) -> list[Primitive]:
    """Another car, its linkage pale and in its own colour, all under names of its own."""
    out: list[Primitive] = []
    for item in [*mechanism(other.now, labels=False), *wheels(other.now)] if other.whole else []:
        if not isinstance(item, Label | Solid):
            role = f"{other.car} wheel" if isinstance(item, Wheel) else f"{other.car} linkage"
            out.append(replace(item, name=f"{other.car}/{item.name}", role=role))
    out += [replace(item, name=f"{other.car}/{item.name}") for item in centres(other.now, other.car, level)]
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
