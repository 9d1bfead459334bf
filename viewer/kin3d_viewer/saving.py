"""Save the changed axle as a new car file with its point tables; comments of the old file stay."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np

from kin3d.errors import Finding, RequestError
from kin3d.linkage.car import PointTable
from kin3d.linkage.record import changed
from kin3d.reading.car import read_car
from kin3d.reading.car_writing import write_car
from kin3d_viewer.model import LiveModel
from kin3d_viewer.primitives import Array

SAME_MM = 1e-9  # the saved file is read back and must give the points to this


def save_car(model: LiveModel, file: Path) -> list[Path]:
    """Write a car file with the points as they stand, and the point tables that it names.

    Parameters
    ----------
    model : LiveModel
        Its axle is saved; the other axle is that of the file it was read from.
    file : Path
        The new car file; not the one that was read.

    Returns
    -------
    list of Path
        The files written, the car file first.

    Raises
    ------
    RequestError
        For the file that was read, or a place that cannot be written.
    """
    source = model.car.source
    file = file if file.suffix else file.with_suffix(".toml")
    if file.resolve() == source.resolve():
        text = "is the file that was read; give another name, so that it can be compared with it"
        raise RequestError(Finding("same-file", text, str(file)))
    own = model.base.axle
    other = None if own.other_points is None else _table(model, "other_points")
    moved = changed(own, points=_table(model, "points"), other_points=other)
    written = write_car(changed(model.car, title=f"{model.car.title}, changed", **{model.axle: moved}), file)
    _check(model, file)
    return list(written)


def _table(model: LiveModel, key: str) -> PointTable:
    """The axle's table with the present design coordinates."""
    axle = model.base.axle
    own = key == "points"
    table = axle.points if own else axle.other_points
    assert table is not None
    side = model.own_side if own else 1 - model.own_side
    rows: list[Array] = []
    for name, place in zip(table.names, table.xyz_mm, strict=True):
        moved = model.design[side, model.base.linkage.index(name)]
        before = model.base.variants.design[side, model.base.linkage.index(name)]
        rows.append(place if np.array_equal(moved, before) else moved)
    return replace(table, xyz_mm=np.array(rows))


def _check(model: LiveModel, file: Path) -> None:
    """Read the saved file and compare its points with what is shown."""
    again = LiveModel(read_car(file), model.axle)
    gap = float(np.abs(again.design - model.design).max())
    if not gap <= SAME_MM:
        text = f"was written, but reading it back gives points that differ by {gap:.2g} mm; please report this"
        raise RequestError(Finding("not-the-same", text, str(file)))
