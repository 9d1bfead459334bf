"""Targets files, cars with moved points, and curves of them, for tests of tuning."""

from __future__ import annotations

import numpy as np

import kin3d

FEW = ("camber_deg", "toe_deg", "caster_deg", "roll_centre_height_mm")


def toml(value):
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{k} = {toml(v)}" for k, v in value.items()) + " }"
    return f'"{value}"' if isinstance(value, str) else str(value)


def targets_text(axle, moves, wants):
    """A targets file."""
    lines = [f'axle = "{axle}"', "[move]", *(f'"{name}" = {reach}' for name, reach in moves.items())]
    for want in wants:
        lines += ["[[want]]", *(f"{key} = {toml(value)}" for key, value in want.items())]
    return "\n".join(lines) + "\n"


def moved_car(car, moves, axle="front"):
    """The car with coordinates of its table moved, by ``point.axis``."""
    table = car.axle(axle).points
    places = {}
    for name, move in moves.items():
        point, axis = name.split(".")
        places.setdefault(point, np.array(table[point]))["xyz".index(axis)] += move
    return car.with_points(places, axle)


def swept(car, travel, axle="front", side="left", measures=FEW):
    """Curves over travel by measure."""
    found = kin3d.sweep(car, axle, travel, measures=list(measures)).dataset()
    return {m: found[m].sel(side=side).values.ravel() for m in measures}


def curve_text(car, measure, travel, axle="front", side="left"):
    """A table of a curve, with all digits."""
    values = swept(car, travel, axle, side, (measure,))[measure]
    rows = (f"{t!r},{v!r}" for t, v in zip(map(float, travel), map(float, values), strict=True))
    return "\n".join(["travel_mm,value", *rows]) + "\n"
