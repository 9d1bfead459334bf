"""Cars with other points or deviations than their files give, for tests of uncertainty and difference."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
from numpy.typing import ArrayLike

from kin3d.linkage.car import Car, PointTable
from kin3d.linkage.keys import SharedError
from kin3d.linkage.names import AxleName
from kin3d.linkage.record import changed


def changed_table(table: PointTable, changes: Mapping[str, ArrayLike]) -> PointTable:
    xyz = table.xyz_mm.copy()
    for point, change in changes.items():
        xyz[table.names.index(point)] += np.asarray(change, float)
    return replace(table, xyz_mm=xyz)


def with_axle(car: Car, axle: AxleName, **fields: object) -> Car:
    """The car with fields of one axle changed."""
    found = car.front if axle == "front" else car.rear
    assert found is not None
    return changed(car, **{axle: changed(found, **fields)})


def moved(car: Car, axle: AxleName, changes: Mapping[str, ArrayLike], title: str | None = None) -> Car:
    """The car with points of one axle moved, mm, vehicle frame, on the side that the points are given for."""
    found = car.front if axle == "front" else car.rear
    assert found is not None
    car = with_axle(car, axle, points=changed_table(found.points, changes))
    return changed(car, title=title) if title else car


def with_sigma(
    car: Car, axle: AxleName, sigma_mm: float | Mapping[str, ArrayLike], *shared: SharedError
) -> Car:
    """The car with one deviation for all coordinates, or one for each named point (the others exact)."""
    found = car.front if axle == "front" else car.rear
    assert found is not None
    sigma = np.zeros_like(found.points.xyz_mm)
    if isinstance(sigma_mm, Mapping):
        for point, s in sigma_mm.items():
            sigma[found.points.names.index(point)] = s
    else:
        sigma += sigma_mm
    return with_axle(car, axle, points=replace(found.points, sigma_mm=sigma), shared_error=shared)
