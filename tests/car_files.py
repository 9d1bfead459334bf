"""Write a car file with one axle for a test, as a user would: a TOML file beside a point table."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import ArrayLike


def point_table(points: Mapping[str, ArrayLike]) -> str:
    """Text of a point table; every digit of the coordinates is kept."""
    rows = [f"{name},{','.join(repr(float(v)) for v in np.asarray(place))}" for name, place in points.items()]
    return "\n".join(["point,x,y,z", *rows]) + "\n"


def _value(value: Any) -> str:
    return f'"{value}"' if isinstance(value, str) else repr(value)


def _section(name: str, keys: Mapping[str, Any]) -> list[str]:
    plain = {k: v for k, v in keys.items() if not isinstance(v, Mapping)}
    lines = [f"[{name}]", *(f"{k} = {_value(v)}" for k, v in plain.items())]
    for key, table in keys.items():
        if isinstance(table, Mapping):
            lines += _section(f"{name}.{key}", table)
    return lines


def write_car(
    folder: Path,
    points: Mapping[str, ArrayLike],
    *,
    axle: str = "front",
    car: Mapping[str, Any] | None = None,
    **keys: Any,
) -> Path:
    """Write ``car.toml`` and ``points.csv`` into `folder` and return the car file's path.

    Parameters
    ----------
    points : mapping of str to (3,)
        Vehicle frame, mm, left side unless `keys` say otherwise.
    car : mapping, optional
        Keys of ``[car]``.
    **keys
        Keys of the axle's table, its sub-tables as mappings.
    """
    (folder / "points.csv").write_text(point_table(points), encoding="utf-8")
    usual = {"points": "points.csv", "units": "mm", "axes": "x forward, y left, z up", "side": "left"}
    usual |= {"layout": "double wishbone", "loaded_radius_mm": 265.0} | keys
    lines = ['title = "Test corner"', *(_section("car", car) if car else []), *_section(axle, usual)]
    path = folder / "car.toml"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path
