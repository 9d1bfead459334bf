"""Gaps between solids of one corner: which solids there are, which pairs can move against each other, how near.

A tube is a bar with round ends between two points; a solid of revolution turns about the wheel's axis; a mesh moves
with its body. Solids of one body cannot meet. Gaps between tubes and solids of revolution are formulas of places, so
that they have exact derivatives where places are jets; meshes are left to `kin3d.studies.mesh_gaps`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import combinations
from typing import Any

import numpy as np

from kin3d.frames import parse_axes
from kin3d.linkage.car import Axle, MeshFile
from kin3d.linkage.layout import CHASSIS, WHEEL_AXIS, WHEEL_CENTRE, Linkage
from kin3d.linkage.part_keys import SolidPart
from kin3d.linkage.solid_misfits import WHEEL
from kin3d.measures.corner import unit
from kin3d.spatial.distances import Nearest, Profile, bar_to_bar, bar_to_revolution
from kin3d.spatial.vectors import Vec, sub
from kin3d.units import length_factor


@dataclass(frozen=True, slots=True)
class TubeSolid:
    """A tube between two points; `rides` is the body that has both, else what tells it from all bodies."""

    name: str
    rides: str
    points: tuple[str, str]
    radius: float


@dataclass(frozen=True, slots=True, eq=False)
class TurnedSolid:
    """A solid of revolution about the wheel's axis."""

    name: str
    rides: str
    profile: Profile
    radius: float = 0.0


@dataclass(frozen=True, slots=True)
class MeshSolid:
    """A mesh that moves with a body."""

    name: str
    rides: str
    file: MeshFile
    radius: float = 0.0


SolidShape = TubeSolid | TurnedSolid | MeshSolid
ShapePair = tuple[SolidShape, SolidShape]


def shapes_of(axle: Axle) -> tuple[SolidShape, ...]:
    """Every solid of a corner: those of ``[axle.solids]``, and links and rod whose tubes have a diameter."""
    linkage = axle.linkage
    out: list[SolidShape] = []
    for link in axle.links:
        if link.diameter_mm is not None:
            first, second = linkage.bodies[link.name]
            out.append(TubeSolid(link.name, link.name, (first, second), 0.5 * link.diameter_mm))
    if linkage.rocker is not None and axle.rod_part is not None and axle.rod_part.diameter_mm is not None:
        rod = linkage.rocker.rod
        out.append(TubeSolid("rod", rides_on(linkage, rod), rod, 0.5 * axle.rod_part.diameter_mm))
    return (*out, *(_shape(solid, axle) for solid in axle.solids))


def _shape(solid: SolidPart, axle: Axle) -> SolidShape:
    linkage = axle.linkage
    if solid.mesh is not None:
        body = linkage.wheel_body if solid.body == WHEEL else str(solid.body)
        return MeshSolid(solid.name, body, _in_units(axle, solid))
    if solid.profile:
        return TurnedSolid(solid.name, linkage.wheel_body, Profile(np.array(solid.profile)))
    points = (solid.points[0], solid.points[1])
    return TubeSolid(solid.name, rides_on(linkage, points), points, 0.5 * (solid.diameter_mm or 0.0))


def _in_units(axle: Axle, solid: SolidPart) -> MeshFile:
    """The mesh's file with what takes it to mm; axes and origin are those of the axle's files."""
    unit_mm = length_factor(solid.units or axle.units or "mm")
    turn = np.eye(3) if axle.axes is None else parse_axes(axle.axes)
    x, y, z = (unit_mm * turn).tolist()
    own = length_factor(axle.units or "mm") / unit_mm
    a, b, c = (own * v for v in axle.origin or (0.0, 0.0, 0.0))
    assert solid.mesh is not None
    return MeshFile(solid.mesh, (tuple(x), tuple(y), tuple(z)), (a, b, c))


def rides_on(linkage: Linkage, points: tuple[str, str]) -> str:
    """The body that has both points, the chassis among them; else their names: two bodies hold the ends."""
    if all(p in linkage.fixed for p in points):
        return CHASSIS
    found = [b for b, own in linkage.bodies.items() if set(points) <= set(own)]
    return found[0] if found else " to ".join(points)


def pairs_of(shapes: Sequence[SolidShape]) -> tuple[ShapePair, ...]:
    """Pairs that can move against each other."""
    return tuple((a, b) for a, b in combinations(shapes, 2) if a.rides != b.rides)


def pair_name(pair: ShapePair) -> str:
    """The two names."""
    return f"{pair[0].name} – {pair[1].name}"


def is_simple(pair: ShapePair) -> bool:
    """Whether the gap is a formula: no mesh in it."""
    return not any(isinstance(s, MeshSolid) for s in pair)


def nearest(pair: ShapePair, at: Mapping[str, Vec]) -> Nearest:
    """Where a pair without a mesh is nearest; the distance is the gap, less the tubes' radii.

    Parameters
    ----------
    at : mapping of point to vector
        Present places, mm; arrays over lanes, or jets.
    """
    first, second = pair
    if isinstance(first, TubeSolid) and isinstance(second, TubeSolid):
        (a, b), (c, d) = ((at[p] for p in s.points) for s in (first, second))
        found = bar_to_bar(a, b, c, d)
    elif isinstance(first, TubeSolid) and isinstance(second, TurnedSolid):
        found = _to_wheel(first, second, at)
    elif isinstance(second, TubeSolid) and isinstance(first, TurnedSolid):
        turned = _to_wheel(second, first, at)
        found = Nearest(turned.distance, turned.second, turned.first)
    else:
        raise TypeError(f"no formula for {pair_name(pair)}")
    return replace(found, distance=found.distance - (first.radius + second.radius))


def _to_wheel(tube: TubeSolid, turned: TurnedSolid, at: Mapping[str, Vec]) -> Nearest:
    a, b = (at[p] for p in tube.points)
    centre = at[WHEEL_CENTRE]
    return bar_to_revolution(a, b, centre, unit(sub(at[WHEEL_AXIS], centre)), turned.profile)


def places_of(points: Sequence[str], at: Any) -> dict[str, Vec]:
    """Places by name of an array of shape (lanes, points, 3)."""
    return {p: (at[:, k, 0], at[:, k, 1], at[:, k, 2]) for k, p in enumerate(points)}


def moving_pairs(axle: Axle, design: Any) -> tuple[ShapePair, ...]:
    """Pairs without a mesh that do not touch in the design position (array of shape (points, 3)): what joins stays."""
    simple = [p for p in pairs_of(shapes_of(axle)) if is_simple(p)]
    at = places_of(axle.linkage.points, np.asarray(design)[None])
    return tuple(p for p in simple if float(nearest(p, at).distance[0]) > 0.0)
