"""Solids of the car file, what of them is near to something, and the least gap with its figure."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from kin3d.linkage.car import Axle
from kin3d.linkage.layout import WHEEL_CENTRE
from kin3d.measures.gaps import (
    ShapePair,
    SolidShape,
    TubeSolid,
    TurnedSolid,
    is_simple,
    nearest,
    pair_name,
    pairs_of,
    places_of,
    shapes_of,
)
from kin3d_viewer.primitives import Array, Label, Line, Primitive, Rod
from kin3d_viewer.snapshot import SIDES, Snapshot

NEAR_MM = 20.0  # what has less room glows
HIDDEN_MM = 0.01
GLOW_MM = 2.0  # thicker than the part that it lies about
GAP_MM = 2.5  # radius of what joins both places
STILL_MM = 1e-6
RING = 73  # places of a ring, both ends
ARC = 13  # places of what glows of it, a third of a turn
ARC_MM = 3.0


def gap_pairs(axle: Axle, places: Array) -> tuple[ShapePair, ...]:
    """Pairs of a corner whose gap changes and that are no meshes; none where both sides are one system.

    Parameters
    ----------
    places : ndarray, shape (positions, points, 3)
        Of the left corner over a sweep. A gap that stays is one beside a joint.
    """
    if axle.linkage.across.bodies:
        return ()
    there = places[np.isfinite(places).all(axis=(1, 2))]
    at = places_of(axle.linkage.points, there)
    simple = (p for p in pairs_of(shapes_of(axle)) if is_simple(p))
    return tuple(p for p in simple if len(there) and np.ptp(nearest(p, at).distance) > STILL_MM)


def lacking_gaps(axle: Axle) -> str:
    """What is said where there is nothing to see."""
    if axle.linkage.across.bodies:
        return "gaps: both sides of this axle are one system, of which none are computed"
    return f"gaps: no two solids are given in [{axle.name}.solids.NAME] that can move against each other"


def gaps(now: Snapshot, pairs: tuple[ShapePair, ...]) -> Iterator[Primitive]:
    """Every solid pale, over it what of it is near to another, and the least gap of each side with its figure.

    Parts are the same in every position: what is not near glows too thin to be seen.
    """
    shapes = {s.name: s for pair in pairs for s in pair}
    for side in (0, 1):
        at = {p: now.at(side, p) for p in now.linkage.points}
        then = {p: now.design[side, k] for k, p in enumerate(now.linkage.points)}
        apart = [p for p in pairs if _gap(p, then)[0] > 0.0]
        found = {pair_name(p): (p, *_gap(p, at)) for p in apart}
        hot = {s.name: ends[k] for p, gap, ends in found.values() for k, s in enumerate(p) if gap < NEAR_MM}
        for shape in shapes.values():
            yield from _solid(f"{SIDES[side]}/solid/{shape.name}", shape, at, hot.get(shape.name), now.spin(side))
        if found:
            (first, second), gap, ends = min(found.values(), key=lambda x: x[1])
            skin = _on_surfaces(ends, first, second)
            text = f"{gap:.1f} mm" if gap > 0.0 else "contact"
            yield Rod(f"{SIDES[side]}/gap/line", "gap", skin[0], skin[1], GAP_MM)
            label = f"{text}  {first.name} – {second.name}"
            yield Label(f"{SIDES[side]}/gap/label", "gap", label, skin.mean(axis=0), -1)


def _gap(pair: ShapePair, at: dict[str, Array]) -> tuple[float, Array]:
    """The gap, mm, and both nearest places, shape (2, 3)."""
    found = nearest(pair, {p: tuple(v[:, None]) for p, v in at.items()})
    ends = np.array([np.ravel(np.broadcast_arrays(*x)) for x in (found.first, found.second)])
    return float(np.ravel(found.distance)[0]), ends


def _on_surfaces(ends: Array, first: SolidShape, second: SolidShape) -> Array:
    way = ends[1] - ends[0]
    length = float(np.linalg.norm(way))
    return ends if length < 1e-9 else ends + np.array([[first.radius], [-second.radius]]) / length * way


def _solid(name: str, shape: SolidShape, at: dict[str, Array], hot: Array | None, spin: Array) -> Iterator[Primitive]:
    if isinstance(shape, TubeSolid):
        start, end = (at[p] for p in shape.points)
        yield Rod(name, "solid", start, end, shape.radius)
        yield Rod(f"{name}/near", "near", start, end, HIDDEN_MM if hot is None else shape.radius + GLOW_MM)
    elif isinstance(shape, TurnedSolid):
        centre = at[WHEEL_CENTRE]
        across = np.cross(spin, [0.0, 0.0, 1.0])
        across /= np.linalg.norm(across)
        up = np.cross(across, spin)
        turn = np.linspace(0.0, 2.0 * np.pi, RING)
        for k, (width, radius) in enumerate(shape.profile.corners):
            yield Line(f"{name}/{k}", "solid ring", _ring(centre + width * spin, across, up, radius, turn))
        glow = np.repeat((centre if hot is None else hot)[None], ARC, axis=0)
        if hot is not None:
            way = hot - centre
            width = float(way @ spin)
            middle = float(np.arctan2(way @ up, way @ across))
            radius = float(np.linalg.norm(way - width * spin))
            glow = _ring(centre + width * spin, across, up, radius, middle + np.linspace(-1.0, 1.0, ARC))
        for k in range(ARC - 1):
            yield Rod(f"{name}/near/{k}", "near", glow[k], glow[k + 1], HIDDEN_MM if hot is None else ARC_MM)


def _ring(centre: Array, across: Array, up: Array, radius: float, turn: Array) -> Array:
    return np.asarray(centre + radius * (np.cos(turn)[:, None] * across + np.sin(turn)[:, None] * up))
