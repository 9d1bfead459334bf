"""Point tables (CSV), read and written: names, coordinates and standard deviations, in the vehicle frame in mm."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable
from dataclasses import dataclass
from math import ceil, log10
from pathlib import Path
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from kin3d.errors import Finding, Kin3dError, ReadingError, RequestError, Severity, raise_errors
from kin3d.frames import VEHICLE_AXES, parse_axes
from kin3d.linkage.car import PointTable
from kin3d.linkage.names import normalise
from kin3d.reading.cells import (
    COORDINATES,
    SIGMAS,
    RawTable,
    has_comma_decimals,
    has_point_decimals,
    only_perhaps_thousands,
    read_number,
    split_table,
)
from kin3d.reading.covariance import covariance_beside, covariance_text, with_covariance
from kin3d.reading.rows import DecimalMark, TableRow
from kin3d.reading.text import FindingLog, read_text
from kin3d.units import length_factor
from kin3d.writing.files import inert, with_sum, write_file

PLACES = 10  # after the point of a coordinate in mm: what is beyond is rounding of the sums that it comes of


@dataclass(frozen=True, slots=True)
class PointScan:
    """What could be made of a point table, right or wrong.

    Attributes
    ----------
    places : dict of str to str
        Every point name that the file has, also those whose numbers are wrong, and where it stands.
    table : PointTable or None
        The table; None when there is an error.
    findings : tuple of Finding
        All errors, warnings and notes.
    """

    places: dict[str, str]
    table: PointTable | None
    findings: tuple[Finding, ...]


def read_points_csv(path: Path | str, *, units: str, axes: str) -> PointTable:
    """Read a point table.

    Parameters
    ----------
    path : path-like
        A CSV file: header ``point,x,y,z`` with optional ``sigma`` or ``sigma_x,sigma_y,sigma_z`` and
        ``note``, separated by comma, semicolon or tab; UTF-8; ``#`` starts a comment line.
    units : str
        Length unit of the file, see `kin3d.units.length_factor`.
    axes : str
        Axes of the file, see `kin3d.frames.parse_axes`.

    Returns
    -------
    PointTable
        Coordinates and standard deviations in mm in the vehicle frame.

    Raises
    ------
    ReadingError
        With everything that is wrong with the file, the unit and the axes.
    """
    findings: list[Finding] = []
    factor, rotation = 1.0, np.eye(3)
    try:
        factor = length_factor(units)
    except Kin3dError as err:
        findings += err.findings
    try:
        rotation = parse_axes(axes)
    except Kin3dError as err:
        findings += err.findings
    scan = scan_points_csv(Path(path), factor, rotation)
    raise_errors([*findings, *scan.findings], ReadingError)
    assert scan.table is not None
    return scan.table


def scan_points_csv(path: Path, factor_mm: float, rotation: NDArray[np.float64]) -> PointScan:
    """Read a point table and return what was found instead of raising.

    `factor_mm` is mm per unit of the file; `rotation`, shape (3, 3), turns file axes into the vehicle frame.
    """
    log = FindingLog(str(path))
    text = read_text(path, log, "a header such as point,x,y,z and a row for each point are expected")
    raw = split_table(text, log) if text is not None else None
    if raw is None:
        return PointScan({}, None, log.findings)
    mark = _decimal_mark(raw, log)
    names = _names(raw, log)
    values = np.array([_coordinates(row, raw, mark, log) for row in raw.rows]).reshape(-1, 3)
    sigmas = np.array([_sigmas(row, raw, mark, log) for row in raw.rows]).reshape(-1, 3)
    places = {n: log.place(row.line) for n, row in zip(names, raw.rows, strict=True) if n}
    findings = log.findings
    if log.failed:
        return PointScan({**_misfits(raw, log), **places}, None, findings)
    table = PointTable(
        source=path,
        names=tuple(names),
        xyz_mm=factor_mm * values @ rotation.T + 0.0,  # + 0.0 turns -0.0 into 0.0
        sigma_mm=factor_mm * sigmas @ np.abs(rotation).T,
        places=tuple(places.values()),
        notes=tuple(_own_words(_cell(row, raw, "note")) for row in raw.rows),
        findings=findings,
    )
    if covariance_beside(path).is_file():
        given = [c for c in ("sigma", *SIGMAS) if c in raw.columns]
        table = with_covariance(table, sigmas, given, factor_mm, rotation)
        if any(f.severity is Severity.ERROR for f in table.findings):
            return PointScan(places, None, table.findings)
    return PointScan(places, table, table.findings)


def _misfits(raw: RawTable, log: FindingLog) -> dict[str, str]:
    """Return names and places of the rows that do not fit the header: refused, but not missing."""
    i = raw.columns.get("point")
    if i is None:
        return {}
    return {normalise(r.cells[i]): log.place(r.line) for r in raw.misfits if i < len(r.cells)}


def _cell(row: TableRow, raw: RawTable, column: str) -> str:
    return row.cells[raw.columns[column]] if column in raw.columns else ""


def _decimal_mark(raw: RawTable, log: FindingLog) -> DecimalMark:
    """Decide the decimal mark over the whole table; a mixture cannot be read safely."""
    cells = raw.numeric()
    if raw.separator == "," or not has_comma_decimals(cells):
        return "."
    if has_point_decimals(cells):
        log.error("decimal-mixed", _mixed(raw))
        return "either"
    if only_perhaps_thousands(cells):
        text = "every comma in a number has three digits after it, as thousands would have"
        log.note("decimal-comma", text, "the comma is the decimal mark")
    return ","


def _mixed(raw: RawTable) -> str:
    cells = raw.numeric()
    comma = next(c for c in cells if has_comma_decimals([c]))
    point = next(c for c in cells if has_point_decimals([c]))
    return (
        f"has numbers with a decimal comma ({comma!r}) and with a decimal point ({point!r}); "
        "write one mark throughout and no thousands separators"
    )


def _names(raw: RawTable, log: FindingLog) -> list[str]:
    """Return the normalised name of every row; findings for empty and repeated ones."""
    if "point" not in raw.columns:
        return [""] * len(raw.rows)
    first: dict[str, TableRow] = {}
    names = []
    for row in raw.rows:
        where = row.line
        written = _cell(row, raw, "point")
        name = normalise(written)
        names.append(name)
        if not name:
            log.error("point-nameless", f"the point's name is {written!r}; a name is expected", where)
        elif name in first:
            before = first[name]
            pair = f'"{_cell(before, raw, "point")}" in row {before.line}, "{written}" in row {row.line}'
            log.error("point-duplicate", f'point "{name}" stands twice: {pair}; keep one', where)
        else:
            first[name] = row
    return names


def _own_words(note: str) -> str:
    """A note without the apostrophe that keeps spreadsheets from running it."""
    return note[1:] if note[:1] == "'" and inert(note[1:]) == note else note


def _coordinates(row: TableRow, raw: RawTable, mark: DecimalMark, log: FindingLog) -> list[float]:
    return [_value(row, raw, c, mark, log) if c in raw.columns else 0.0 for c in COORDINATES]


def _sigmas(row: TableRow, raw: RawTable, mark: DecimalMark, log: FindingLog) -> list[float]:
    """Return the standard deviations along the file's axes; 0 where the file has no such column."""
    given = [c for c in ("sigma", *SIGMAS) if c in raw.columns]
    values = {c: _value(row, raw, c, mark, log) for c in given}
    for column, value in values.items():
        if value < 0.0:
            text = f"{column} is {value:g}; a standard deviation of 0 or more is expected"
            log.error("sigma-negative", text, row.line)
    return [values.get(c, values.get("sigma", 0.0)) for c in SIGMAS]


def _value(row: TableRow, raw: RawTable, column: str, mark: DecimalMark, log: FindingLog) -> float:
    found = read_number(_cell(row, raw, column), mark, column, row.line, log)
    return 0.0 if found is None else found


def write_points_csv(
    table: PointTable,
    path: Path | str,
    *,
    units: str = "mm",
    axes: str = VEHICLE_AXES,
    origin: tuple[float, float, float] | None = None,
    separator: Literal[",", ";", "\t"] = ",",
    decimal: Literal[".", ","] = ".",
) -> None:
    """Write a point table that `read_points_csv` reads back within 1e-9 mm, its covariance beside it where it has one.

    Parameters
    ----------
    table : PointTable
        Points in mm in the vehicle frame. Line breaks in notes become blanks.
    path : path-like
        The file to write, UTF-8. The columns ``sigma`` (or ``sigma_x,sigma_y,sigma_z`` where the three
        differ) and ``note`` are there only when a point has one.
    units, axes : str
        Unit and axes of the file, as the car file will say them.
    origin : tuple of float, optional
        Where the vehicle's origin is to lie in the file, in its axes and unit.
    separator : {",", ";", tab}
        Separator of the columns.
    decimal : {".", ","}
        Decimal mark; a comma only where the separator is another.

    Raises
    ------
    RequestError
        For a decimal comma between commas, a name that would be read as a comment, a place that cannot be written to.
    """
    _check_writable(table, separator, decimal)
    rotation = parse_axes(axes)
    factor = length_factor(units)
    columns: list[tuple[str, Iterable[str]]] = [("point", [inert(n) for n in table.names])]
    places = PLACES + ceil(log10(factor))
    xyz = table.xyz_mm @ rotation / factor + np.array(origin or 0.0)
    columns += _numbers(("x", "y", "z"), xyz.round(places), decimal)
    columns += _sigma_columns((table.sigma_mm @ np.abs(rotation) / factor).round(places), decimal)
    if any(table.notes):
        columns.append(("note", [inert(" ".join(note.split())) for note in table.notes]))
    out = io.StringIO()
    writer = csv.writer(out, delimiter=separator, lineterminator="\n")
    writer.writerow([title for title, _ in columns])
    writer.writerows(zip(*(cells for _, cells in columns), strict=True))
    write_file(Path(path), with_sum(out.getvalue()))
    if table.errors is not None:
        write_file(covariance_beside(Path(path)), with_sum(covariance_text(table, factor, rotation)))


def _check_writable(table: PointTable, separator: str, decimal: str) -> None:
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
