"""Covariance of a point table (``NAME.covariance.csv`` beside ``NAME.csv``), read and written.

A square table: the header has ``coordinate`` and then ``point.axis`` of every coordinate, each row begins with one.
Axes are those of the point table, and the unit is its square.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from kin3d.linkage.car import PointTable, TableErrors
from kin3d.linkage.names import did_you_mean, normalise
from kin3d.reading.cells import COORDINATES, read_number
from kin3d.reading.rows import split_rows
from kin3d.reading.text import FindingLog, read_text

Array = NDArray[np.float64]
AGREES = 1e-3  # part by which a deviation of the point table may differ
ROUNDED = 1e-6  # part that may be lost where the file has few digits


def covariance_beside(points_file: Path) -> Path:
    """Where the covariance of a point table stands: ``front.covariance.csv`` beside ``front.csv``."""
    return points_file.with_suffix(".covariance.csv")


def with_covariance(
    table: PointTable, sigmas: Array, given: Sequence[str], factor: float, rotation: Array
) -> PointTable:
    """A table with the covariance that stands beside its file; findings of an unusable one are added.

    Parameters
    ----------
    table : PointTable
    sigmas : ndarray, shape (points, 3)
        Deviations in unit and axes of the file.
    given : sequence of str
        Columns of deviations that the file has.
    factor, rotation : float, ndarray
        As in `kin3d.reading.points.scan_points_csv`.
    """
    path = covariance_beside(table.source)
    log = FindingLog(str(path))
    read = _matrix(path, table.names, log)
    if read is not None:
        rows, matrix = read
        _check(matrix, [f"{table.names[r // 3]}.{COORDINATES[r % 3]}" for r in rows], log)
        if given and not log.failed:
            _check_sigmas(matrix, rows, sigmas, table, log)
    if read is None or log.failed:
        return replace(table, findings=(*table.findings, *log.findings))
    full = np.zeros((3 * len(table.names),) * 2)
    full[np.ix_(rows, rows)] = 0.5 * (matrix + matrix.T)
    turn = np.kron(np.eye(len(table.names)), factor * rotation)
    full = turn @ full @ turn.T
    errors = _errors(full, table.names)
    sigma = np.where(errors.reached, np.sqrt(np.maximum(full.diagonal(), 0.0)).reshape(-1, 3), table.sigma_mm)
    return replace(table, sigma_mm=sigma, errors=errors, findings=(*table.findings, *log.findings))


def _matrix(path: Path, names: Sequence[str], log: FindingLog) -> tuple[list[int], Array] | None:
    """Rows of the coordinates (point by point, x, y, z) and their covariance as the file has it."""
    text = read_text(path, log, "a square table whose header is coordinate and then point.axis is expected")
    if text is None:
        return None
    expected = "a header of coordinate and point.axis is expected"
    table = split_rows(text, log, expected, ("coordinate",))
    if table is None:
        return None
    head, labels = table.header.line, table.header.cells
    columns = [_coordinate(cell, names, head, log) for cell in labels[1:]]
    rows = [_coordinate(row.cells[0], names, row.line, log) for row in table.rows]
    body = list(table.fitting(log))
    if log.failed:
        return None
    if len(set(columns)) != len(columns):
        twice = next(c for c, k in zip(labels[1:], columns, strict=True) if columns.count(k) > 1)
        log.error("coordinate-twice", f'"{twice}" stands twice in the header; keep one', head)
    elif sorted(columns) != sorted(rows):
        text = f"has {len(columns)} columns and {len(rows)} rows; the same coordinates are expected in both"
        log.error("covariance-square", text)
    values = {r: [read_number(c, table.mark, f'cell "{c}"', x.line, log) for c in x.cells[1:]]
              for r, x in zip(rows, body, strict=True)}  # fmt: skip
    return None if log.failed else (columns, np.array([values[c] for c in columns], dtype=float))


def _coordinate(cell: str, names: Sequence[str], line: int, log: FindingLog) -> int:
    point, _, axis = cell.rpartition(".")
    name = normalise(point)
    if axis.lower() not in COORDINATES:
        log.error("coordinate-unknown", f'"{cell}" is no coordinate; point.x, point.y or point.z is expected', line)
    elif name not in names:
        hint = did_you_mean(name, names)
        log.error("point-unknown", f'"{cell}": point "{name}" is not in the point table; {hint}', line)
    else:
        return 3 * list(names).index(name) + COORDINATES.index(axis.lower())
    return -1


def _check(matrix: Array, labels: Sequence[str], log: FindingLog) -> None:
    """Refuse what no errors can have: a negative variance, another value across the diagonal, a negative direction."""
    variance = matrix.diagonal()
    for k in np.flatnonzero(variance < 0.0).tolist():
        text = f"the variance of {labels[k]} is {variance[k]:g}; 0 or more is expected"
        log.error("variance-negative", text)
    if log.failed:
        return
    size = np.sqrt(np.outer(variance, variance))
    apart = np.abs(matrix - matrix.T) - ROUNDED * size
    if (apart > 0.0).any():
        i, j = divmod(int(apart.argmax()), len(matrix))
        text = (
            f"is {matrix[i, j]:g} for {labels[i]} with {labels[j]} and {matrix[j, i]:g} the other way round; a "
            "covariance is the same both ways"
        )
        log.error("covariance-asymmetric", text)
        return
    scale = np.sqrt(np.where(variance > 0.0, variance, 1.0))
    lowest, ways = np.linalg.eigh(0.5 * (matrix + matrix.T) / np.outer(scale, scale))
    if lowest[0] < -ROUNDED * len(matrix):
        most = ", ".join(labels[int(k)] for k in np.argsort(-np.abs(ways[:, 0]))[:3])
        text = (
            f"is no covariance: some combination of its coordinates (most of {most}) has a negative variance; write it "
            "with all its digits, and whole"
        )
        log.error("covariance-indefinite", text)


def _check_sigmas(matrix: Array, rows: Sequence[int], sigmas: Array, table: PointTable, log: FindingLog) -> None:
    for k, row in enumerate(rows):
        said, own = float(sigmas.reshape(-1)[row]), float(np.sqrt(matrix[k, k]))
        if abs(said - own) > AGREES * max(said, own):
            point, axis = table.names[row // 3], COORDINATES[row % 3]
            text = (
                f"gives {point}.{axis} the deviation {own:.4g}, and {table.places[row // 3]} has {said:.4g}; the two "
                "belong together: write both anew, or delete this file"
            )
            log.error("sigma-differs", text)


def _errors(covariance: Array, names: Sequence[str]) -> TableErrors:
    """Independent errors that have this covariance: its principal directions, the largest first."""
    values, ways = np.linalg.eigh(covariance)
    kept = np.flatnonzero(values > ROUNDED**2 * max(float(values.max(initial=0.0)), 1e-300))[::-1]
    # a direction has two senses: its largest part is positive
    most = np.abs(ways[:, kept]).argmax(axis=0)
    effect = (ways[:, kept] * np.sqrt(values[kept]) * np.sign(ways[most, kept])).T.reshape(-1, len(names), 3)
    effect[:, (covariance.diagonal() <= 0.0).reshape(-1, 3)] = 0.0
    said = [f"covariance {k}, mostly {names[m // 3]} {COORDINATES[m % 3]}" for k, m in enumerate(most, 1)]
    return TableErrors(effect, tuple(said), ("",) * len(said))


def covariance_text(table: PointTable, factor: float, rotation: Array) -> str:
    """The covariance of a table's errors as its file: in the unit and axes of the point table that is written."""
    assert table.errors is not None
    flat = (table.errors.effect_mm @ rotation / factor).reshape(len(table.errors.names), -1)
    covariance = flat.T @ flat
    for row, (sigma, reached) in enumerate(zip(table.sigma_mm, table.errors.reached, strict=True)):
        own = np.diag(np.where(reached, 0.0, sigma) ** 2)
        covariance[3 * row : 3 * row + 3, 3 * row : 3 * row + 3] += rotation.T @ own @ rotation / factor**2
    labels = [f"{n}.{a}" for n in table.names for a in COORDINATES]
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(["coordinate", *labels])
    writer.writerows([label, *map(repr, row)] for label, row in zip(labels, covariance.tolist(), strict=True))
    return out.getvalue()
