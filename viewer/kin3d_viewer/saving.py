"""Save the changed axle as a new car file: the old file with other points, so that all else it says stays as it was."""

from __future__ import annotations

import os
import re
import tomllib
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from kin3d.errors import Finding, RequestError
from kin3d.frames import VEHICLE_AXES
from kin3d.linkage.car import PointTable
from kin3d.reading.car import read_car
from kin3d.reading.points import write_points_csv
from kin3d_viewer.model import LiveModel
from kin3d_viewer.primitives import Array

SAME_MM = 1e-9  # the saved file is read back and must give the points to this
_HEADER = re.compile(r"^\s*\[\[?\s*([^\]]+?)\s*\]\]?")


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
    tables = _tables(model, file)
    raw = tomllib.loads(source.read_text("utf-8-sig"))
    changes = _changes(model, raw, file, tables)
    try:
        for key, path in tables.items():
            axle = raw[model.axle]
            write_points_csv(
                _table(model, key), path, units=axle.get("units", "mm"), axes=axle.get("axes", VEHICLE_AXES)
            )
        file.write_text(_rewritten(source.read_text("utf-8-sig"), changes), "utf-8")
    except OSError as error:
        text = f"cannot be written: {error.strerror or error}"
        raise RequestError(Finding("not-written", text, str(file))) from None
    _check(model, file)
    return [file, *tables.values()]


def _tables(model: LiveModel, file: Path) -> dict[str, Path]:
    """Point tables to write, by the key that names them."""
    out = {"points": file.with_name(f"{file.stem}_{model.axle}.csv")}
    if not model.mirrored:
        other = ("right", "left")[model.own_side]
        out["other_points"] = file.with_name(f"{file.stem}_{model.axle}_{other}.csv")
    return out


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


def _changes(
    model: LiveModel, raw: Mapping[str, Any], file: Path, tables: Mapping[str, Path]
) -> dict[tuple[str, str], str]:
    """New values by table and key: the points, what they need to be understood, and paths from the new place."""
    source, axle = model.car.source, model.axle
    out: dict[tuple[str, str], str] = {}
    for section, key, value in _texts(raw, ""):
        there = source.parent / value
        if there.is_file():
            out[section, key] = os.path.relpath(there.resolve(), file.resolve().parent).replace(os.sep, "/")
    for key, path in tables.items():
        out[axle, key] = path.name
    for key, usual in (("units", "mm"), ("axes", VEHICLE_AXES)):
        if key not in raw[axle]:
            out[axle, key] = usual
    out["", "title"] = f"{model.car.title}, changed"
    return out


def _texts(data: Mapping[str, Any], section: str) -> list[tuple[str, str, str]]:
    """Every text in a file, with its table and key."""
    out = []
    for key, value in data.items():
        if isinstance(value, str):
            out.append((section, key, value))
        elif isinstance(value, Mapping):
            out += _texts(value, f"{section}.{key}" if section else key)
    return out


def _rewritten(text: str, changes: Mapping[tuple[str, str], str]) -> str:
    """The text of a car file with other values; comments, order and everything else stay."""
    left = dict(changes)
    section, out = "", []
    lines = text.splitlines()
    for number, line in enumerate(lines):
        header = _HEADER.match(line)
        if header:
            section = header.group(1).replace('"', "").replace(" ", "")
        key = line.split("=", 1)[0].strip().strip('"') if "=" in line and not line.lstrip().startswith("#") else ""
        out.append(line)
        if (section, key) in left:
            comment = re.search(r"""=\s*(?:"[^"]*"|'[^']*')\s*(#.*)$""", line)
            note = f"  {comment.group(1)}" if comment else ""
            out[-1] = f'{key} = "{_escaped(left.pop((section, key)))}"{note}'
        if header:
            missing = [k for k in left if k[0] == section and not _comes(lines[number + 1 :], k[1])]
            out += [f'{k[1]} = "{_escaped(left.pop(k))}"' for k in missing]
    top = [f'{k} = "{_escaped(v)}"' for (s, k), v in left.items() if not s]
    return "\n".join([*top, *out]) + "\n"


def _comes(lines: list[str], key: str) -> bool:
    """Whether a key stands in the table that goes on with these lines."""
    for line in lines:
        if _HEADER.match(line):
            return False
        if line.split("=", 1)[0].strip().strip('"') == key:
            return True
    return False


def _escaped(text: str) -> str:
    return text.replace("\\", "\\\\").replace('"', '\\"')


def _check(model: LiveModel, file: Path) -> None:
    """Read the saved file and compare its points with what is shown."""
    again = LiveModel(read_car(file), model.axle)
    gap = float(np.abs(again.design - model.design).max())
    if not gap <= SAME_MM:
        text = f"was written, but reading it back gives points that differ by {gap:.2g} mm; please report this"
        raise RequestError(Finding("not-the-same", text, str(file)))
