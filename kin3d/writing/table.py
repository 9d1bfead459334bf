"""Result tables: tidy CSV, netCDF, JSON."""

from __future__ import annotations

import csv
import itertools
import json
import math
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from kin3d.errors import Finding, RequestError
from kin3d.linkage.design import SIDES
from kin3d.solve.status import Status
from kin3d.studies.result import SweepResult
from kin3d.writing.numbers import DIGITS as DIGITS
from kin3d.writing.numbers import cell

ENDINGS = (".csv", ".nc", ".json")


def header(result: SweepResult) -> list[str]:
    """Column names: the drives, the side, the measures, the status."""
    return [*result.drives, "side", *(m.name for m in result.measures), "status"]


def rows(result: SweepResult) -> Iterator[list[Any]]:
    """One row a drive position and side; None where a measure has no value."""
    columns = [result.values[m.name] for m in result.measures]
    shape = result.status.shape
    for index in itertools.product(*(range(n) for n in shape)):
        drives = [float(v[i]) for v, i in zip(result.drives.values(), index, strict=False)]
        found = [float(c[index]) for c in columns]
        status = Status(int(result.status[index])).name.lower()
        yield [*drives, SIDES[index[-1]], *(v if math.isfinite(v) else None for v in found), status]


def _rounded(value: Any) -> Any:
    return float(cell(value)) if isinstance(value, float) else value


def write_csv(result: SweepResult, path: Path) -> None:
    """Write the tidy table: comma, header, 12 significant digits, an empty cell where there is no value."""
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(header(result))
        writer.writerows([cell(c) for c in row] for row in rows(result))


def write_json(result: SweepResult, path: Path) -> None:
    """Write the table with its definitions as one JSON object: title, axle, measures, columns, rows, notes."""
    content = {
        "title": result.title,
        "axle": result.axle,
        "measures": {
            m.name: {"unit": m.unit, "label": m.label, "sign": m.sign, "definition": m.definition}
            for m in result.measures
        },
        "columns": header(result),
        "rows": [[_rounded(c) for c in row] for row in rows(result)],
        "left_out": result.left_out,
        "findings": [str(f) for f in result.findings],
    }
    path.write_text(json.dumps(content, indent=1, ensure_ascii=False, allow_nan=False) + "\n", "utf-8")


def write_netcdf(result: SweepResult, path: Path) -> None:
    """Write the labelled arrays as netCDF (classic format, which SciPy writes)."""
    result.dataset().to_netcdf(path, engine="scipy")


def write_table(result: SweepResult, path: Path) -> None:
    """Write a result in the format of the path's ending.

    Raises
    ------
    RequestError
        For an ending that is not known, or a place that cannot be written to.
    """
    writers = dict(zip(ENDINGS, (write_csv, write_netcdf, write_json), strict=True))
    check_ending(path, ENDINGS, "--out")
    try:
        writers[path.suffix.lower()](result, path)
    except OSError as error:
        raise RequestError(Finding("not-written", f"cannot be written: {error.strerror or error}", str(path))) from None


def check_ending(path: Path, endings: tuple[str, ...], option: str) -> None:
    """Refuse a path whose ending is none of those known, or whose folder is not there."""
    if path.suffix.lower() not in endings:
        text = f'{option} ending "{path.suffix}" is not known; expected one of {", ".join(endings)}'
        raise RequestError(Finding("ending-unknown", text, str(path)))
    if not path.parent.is_dir():
        text = f"the folder {path.parent} is not there; make it first"
        raise RequestError(Finding("folder-missing", text, str(path)))
