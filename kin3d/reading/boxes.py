"""Boxes for points (CSV): where a study may put a point, as lower and upper coordinates in the vehicle frame, mm."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from kin3d.errors import ReadingError, raise_errors
from kin3d.linkage.names import did_you_mean, normalise
from kin3d.reading.cells import read_number
from kin3d.reading.rows import DecimalMark, split_rows
from kin3d.reading.text import FindingLog, read_text

Array = NDArray[np.float64]
COLUMNS = ("point", "x_min", "x_max", "y_min", "y_max", "z_min", "z_max")
_HEADER = ",".join(COLUMNS)


def read_boxes(path: Path | str) -> dict[str, tuple[Array, Array]]:
    """Read boxes for points.

    Parameters
    ----------
    path : path-like
        A CSV file with the header ``point,x_min,x_max,y_min,y_max,z_min,z_max``, one row a point, separated by comma,
        semicolon or tab (then decimal commas too); ``#`` starts a comment line. mm; x forward, y left, z up.

    Returns
    -------
    dict of point to (lower, upper)
        Arrays of shape (3,).

    Raises
    ------
    ReadingError
        With everything that is wrong with the file at once.
    """
    file = Path(path)
    log = FindingLog(str(file))
    text = read_text(file, log, f"a table with the header {_HEADER} is expected")
    boxes = {} if text is None else _boxes(text, log)
    raise_errors(log.findings, ReadingError)
    return boxes


def _boxes(text: str, log: FindingLog) -> dict[str, tuple[Array, Array]]:
    table = split_rows(text, log, f"the header {_HEADER} is expected", COLUMNS)
    if table is None or not _head_is_good(table.header.line, table.header.cells, log):
        return {}
    order = [[c.lower() for c in table.header.cells].index(c) for c in COLUMNS]
    out: dict[str, tuple[Array, Array]] = {}
    for row in table.fitting(log):
        _take([row.cells[i] for i in order], row.line, table.mark, out, log)
    if table.alone:
        log.error("table-empty", "has a header and no rows; one row for each point is expected")
    return out


def _head_is_good(line: int, head: Sequence[str], log: FindingLog) -> bool:
    names = [c.lower() for c in head]
    for name in names:
        if name not in COLUMNS:
            log.error("column-unknown", f'column "{name}" is not known; {did_you_mean(name, COLUMNS)}', line)
    missing = [c for c in COLUMNS if c not in names]
    if missing:
        log.error("column-missing", f"{', '.join(missing)} missing; the header {_HEADER} is expected", line)
    twice = sorted({c for c in names if names.count(c) > 1})
    if twice:
        log.error("column-twice", f"{', '.join(twice)} stands twice", line)
    return not missing and not twice and all(n in COLUMNS for n in names)


def _take(
    cells: list[str], line: int, mark: DecimalMark, out: dict[str, tuple[Array, Array]], log: FindingLog
) -> None:
    """Add one row's box, or say what is wrong with it."""
    point = normalise(cells[0])
    each = [read_number(c, mark, column, line, log) for column, c in zip(COLUMNS[1:], cells[1:], strict=True)]
    values = [v for v in each if v is not None]
    if not point:
        log.error("name-empty", "has no point name", line)
    elif point in out:
        log.error("point-twice", f'point "{point}" has a box already', line)
    if len(values) < 6 or not point:
        return
    low, high = np.array(values[::2]), np.array(values[1::2])
    for k, axis in enumerate("xyz"):
        if low[k] > high[k]:
            text = f'{axis}_min of "{point}" is {low[k]:g} and {axis}_max {high[k]:g}; the smaller one first'
            log.error("box-upside-down", text, line)
    out[point] = (low, high)
