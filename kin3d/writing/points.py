"""Writes a point table as CSV, so that reading it back gives the same points."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable
from pathlib import Path
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from kin3d.errors import Finding, RequestError
from kin3d.frames import VEHICLE_AXES, parse_axes
from kin3d.linkage.car import PointTable
from kin3d.units import length_factor


def write_points_csv(
    table: PointTable,
    path: Path | str,
    *,
    units: str = "mm",
    axes: str = VEHICLE_AXES,
    separator: Literal[",", ";", "\t"] = ",",
    decimal: Literal[".", ","] = ".",
) -> None:
    """Write a point table that `kin3d.reading.points.read_points_csv` reads back within 1e-9 mm.

    Parameters
    ----------
    table : PointTable
        Points in mm in the vehicle frame. Line breaks in notes become blanks.
    path : path-like
        The file to write, UTF-8. The columns ``sigma`` (or ``sigma_x,sigma_y,sigma_z`` where the three
        differ) and ``note`` are there only when a point has one.
    units, axes : str
        Unit and axes of the file, as the car file will say them.
    separator : {",", ";", tab}
        Separator of the columns.
    decimal : {".", ","}
        Decimal mark; a comma only where the separator is another.

    Raises
    ------
    RequestError
        For a decimal comma between commas, and for a name that would be read as a comment.
    """
    _check(table, separator, decimal)
    rotation = parse_axes(axes)
    factor = length_factor(units)
    columns: list[tuple[str, Iterable[str]]] = [("point", table.names)]
    columns += _numbers(("x", "y", "z"), table.xyz_mm @ rotation / factor, decimal)
    columns += _sigma_columns(table.sigma_mm @ np.abs(rotation) / factor, decimal)
    if any(table.notes):
        columns.append(("note", [" ".join(note.split()) for note in table.notes]))
    out = io.StringIO()
    writer = csv.writer(out, delimiter=separator, lineterminator="\n")
    writer.writerow([title for title, _ in columns])
    writer.writerows(zip(*(cells for _, cells in columns), strict=True))
    Path(path).write_text(out.getvalue(), "utf-8", newline="\n")


def _check(table: PointTable, separator: str, decimal: str) -> None:
    findings = []
    if separator == decimal:
        text = "a decimal comma needs semicolons or tabs between the columns"
        findings.append(Finding("decimal-comma", text))
    for name in table.names:
        if name.startswith("#"):
            text = f'point "{name}" would be read as a comment; give it another name'
            findings.append(Finding("point-name", text))
    if findings:
        raise RequestError(findings)


def _numbers(
    titles: tuple[str, ...], values: NDArray[np.float64], decimal: str
) -> list[tuple[str, Iterable[str]]]:
    """Return columns of numbers with as many digits as it takes to read the same number back."""
    cells = [[repr(v).replace(".", decimal) for v in (column + 0.0).tolist()] for column in values.T]
    return list(zip(titles, cells, strict=True))


def _sigma_columns(sigma: NDArray[np.float64], decimal: str) -> list[tuple[str, Iterable[str]]]:
    if not sigma.any():
        return []
    if (sigma == sigma[:, :1]).all():
        return _numbers(("sigma",), sigma[:, :1], decimal)
    return _numbers(("sigma_x", "sigma_y", "sigma_z"), sigma, decimal)
