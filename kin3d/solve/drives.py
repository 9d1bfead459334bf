"""Drives: what is moved from outside, beside travel and rack, and where the points stand that a drive places.

A drive's value is a number (mm), or cosine and sine of an angle: the equations stay free of other functions, and an
angle may go round as often as it likes. What the design alone gives for each drive, the unit direction of its line or
its design length, is its *axis*: computed once for a geometry, by its key.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from kin3d.linkage.layout import Drive, Linkage
from kin3d.spatial.jets import cos, sin, sqrt
from kin3d.spatial.vectors import Number, Vec, add, cross, dot, scale, sub

TRAVEL, RACK, RIGHT = "travel", "rack", "travel_right"
DriveValues = Mapping[str, Any]  # by name: a number, or (cosine, sine)
DriveAxes = Mapping[str, Vec]  # by key


def drive_names(linkage: Linkage) -> tuple[str, ...]:
    """Every drive of a linkage by name, travel and rack first."""
    return (TRAVEL, RACK, *((RIGHT,) if linkage.both_sides else ()), *linkage.driven)


def turning(linkage: Linkage) -> frozenset[str]:
    """Drives whose value is an angle."""
    return frozenset(name for name, unit in linkage.driven.items() if unit == "deg")


def value_of(linkage: Linkage, name: str, x: Any) -> Any:
    """What the equations take of a drive that stands at x, mm or rad: a number or jet, or its cosine and sine."""
    return (cos(x), sin(x)) if name in turning(linkage) else x


def axes_of(linkage: Linkage, design: Mapping[str, Vec], rack_axis: Vec) -> dict[str, Vec]:
    """Axis of the rack, and of every drive by its key; of a length (L, 0, 0) with its design length.

    Parameters
    ----------
    design : mapping of point to vector
        Design coordinates: numbers, arrays or jets.
    rack_axis : vector
        Unit direction of the rack.
    """
    out = {RACK: rack_axis}
    for drive in linkage.drives:
        way = sub(design[drive.line[1]], design[drive.line[0]])
        size = sqrt(dot(way, way))
        out[drive.key] = (size, 0.0, 0.0) if drive.kind == "length" else scale(1.0 / size, way)
    return out


def rack_way(linkage: Linkage, point: str, axis: Vec) -> Vec:
    """Direction in which the rack moves a point: its axis; on a mirrored side what goes to the same side of the car."""
    return (-axis[0], axis[1], -axis[2]) if point in linkage.rack_turned else axis


def places_of(linkage: Linkage, design: Mapping[str, Vec], values: DriveValues, axes: DriveAxes) -> dict[str, Vec]:
    """Places of the points that rack and drives place."""
    at = {p: add(design[p], scale(values[RACK], rack_way(linkage, p, axes[RACK]))) for p in linkage.rack}
    for drive in linkage.drives:
        if drive.kind == "along":
            at |= {p: add(design[p], scale(values[drive.name], axes[drive.key])) for p in drive.points}
        elif drive.kind == "turns":
            start, axis, turn = design[drive.line[0]], axes[drive.key], values[drive.name]
            at |= {p: _turned(design[p], start, axis, *turn) for p in drive.points}
    return at


def _turned(point: Vec, start: Vec, axis: Vec, cosine: Number, sine: Number) -> Vec:
    """A point turned about an axis (Rodrigues): along it nothing, square to it the cosine, across both the sine."""
    d = sub(point, start)
    along = scale(dot(axis, d), axis)
    return add(add(start, along), add(scale(cosine, sub(d, along)), scale(sine, cross(axis, d))))


def placed_points(drives: Iterable[Drive]) -> tuple[str, ...]:
    """Points that some of the drives place."""
    return tuple(p for d in drives for p in d.points)
