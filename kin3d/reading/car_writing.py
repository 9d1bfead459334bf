"""Writes a car file with its point tables: the records that were read, written back, so that reading gives them again.

Every key that exists is written by the description it was read by (`kin3d.linkage.keys`). Point tables, directions
and meshes keep the unit and axes of the axle's own files; a layout of one's own and meshes are named by their path,
relative to the new car file. Comments of the file that the car was read from stay with their keys.
"""

from __future__ import annotations

import os
import re
import tomllib
from collections import Counter
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from kin3d.errors import Finding, RequestError
from kin3d.frames import VEHICLE_AXES, parse_axes
from kin3d.linkage.car import Axle, Car, PointTable
from kin3d.linkage.keys import in_axes
from kin3d.linkage.record import keys_of
from kin3d.reading.points import write_points_csv
from kin3d.writing.files import MARK, check_place, with_sum, write_file

_HEADER = re.compile(r"^\s*\[\[?\s*([^\]=]+?)\s*\]\]?\s*(?:#.*)?$")
_BARE = re.compile(r"[A-Za-z0-9_-]+")
MOST_OF_A_CAR = 2_000_000  # bytes; what is larger is no car file
Tables = dict[str, tuple[Path, PointTable]]


def write_car(car: Car, path: Path | str, comment: str = "") -> tuple[Path, ...]:
    """Write a car.

    Parameters
    ----------
    path : path-like
        The car file (.toml); its point tables go beside it as ``NAME_front.csv`` and so on.
    comment : str
        Lines for the head of the file.

    Returns
    -------
    tuple of pathlib.Path
        Every file written.

    Raises
    ------
    RequestError
        For another ending, a missing folder, a file that the car was read from (originals are not overwritten), or a
        table that another car file beside it reads.
    """
    file = Path(path)
    tables = {axle.name: _tables(axle, file) for axle in car.axles()}
    targets = [target for named in tables.values() for target, _ in named.values()]
    _keep_originals(car, [file, *targets])
    _keep_others(file, targets)
    check_place(file, (".toml",), "--out")
    for target in targets:
        check_place(target, (".csv",), "--out")
    figures = keys_of(car.data)
    data: dict[str, Any] = {"title": car.title} | ({"car": figures} if figures else {})
    data |= {axle.name: axle_table(axle, tables[axle.name]) for axle in car.axles()}
    data |= {"cases": [keys_of(case) for case in car.cases]} if car.cases else {}
    head = "".join(f"# {line}\n" for line in comment.splitlines())
    text = with_comments(toml_text(data, file.parent), car.source)
    write_file(file, with_sum(head + text))
    for axle in car.axles():
        for target, table in tables[axle.name].values():
            write_points_csv(
                table, target, units=axle.units or "mm", axes=axle.axes or VEHICLE_AXES, origin=axle.origin
            )
    return (file, *targets)


def _tables(axle: Axle, file: Path) -> Tables:
    """Point tables to write, by the key that names them."""
    out = {"points": (file.with_name(f"{file.stem}_{axle.name}.csv"), axle.points)}
    if axle.other_points is not None:
        out["other_points"] = (file.with_name(f"{file.stem}_{axle.name}_other.csv"), axle.other_points)
    return out


def _keep_originals(car: Car, targets: Sequence[Path]) -> None:
    """Refuse to write over a file that the car was read from."""
    sources = {car.source.resolve()}
    for axle in car.axles():
        sources |= {t.source.resolve() for t in (axle.points, axle.other_points) if t is not None}
    for target in targets:
        if target.resolve() in sources:
            text = "is one of the files that the car was read from; give another name"
            raise RequestError(Finding("original-kept", text, str(target)))


def _keep_others(file: Path, targets: Sequence[Path]) -> None:
    """Refuse to write over a table that another car file of the same folder reads: that would be another car then."""
    there = {target.resolve(): target for target in targets if target.exists()}
    others = sorted(p for p in file.parent.glob("*.toml") if p.resolve() != file.resolve()) if there else []
    for other in others:
        for named in _tables_named_by(other):
            target = there.get((other.parent / named).resolve())
            if target is not None:
                text = f"is read by {other.name} as well, which would become another car; give another name"
                raise RequestError(Finding("table-of-another", text, str(target)))


def _tables_named_by(file: Path) -> list[str]:
    """Point tables that a car file names; none where the file is no car file."""
    try:
        if not file.is_file() or file.stat().st_size > MOST_OF_A_CAR:
            return []
        data = tomllib.loads(file.read_bytes().decode("utf-8-sig"))
    except (OSError, ValueError, RecursionError):
        return []
    named = [axle.get(key) for axle in data.values() if isinstance(axle, dict) for key in ("points", "other_points")]
    return [name for name in named if isinstance(name, str) and name.isprintable()]


def axle_table(axle: Axle, tables: Tables) -> dict[str, Any]:
    """An axle as the table of the car file that reads back as it; files are given as paths."""
    axes = axle.axes or VEHICLE_AXES
    out: dict[str, Any] = {key: target.name for key, (target, _) in tables.items()}
    out |= {"units": axle.units or "mm", "axes": axes, "side": axle.side}
    out |= {"origin": list(axle.origin)} if axle.origin else {}
    own = axle.layout.source.endswith(".toml")
    out["layout"] = Path(axle.layout.source).resolve() if own else axle.layout.name
    return out | axle.layout_keys | keys_of(in_axes(axle.keys(), parse_axes(axes).T))


def toml_text(data: Mapping[str, Any], folder: Path, name: str = "") -> str:
    """Tables as TOML; paths are written relative to the folder, with forward slashes."""
    inner = {k: v for k, v in data.items() if _is_table(v)}
    plain = {k: v for k, v in data.items() if k not in inner}
    text = f"\n[{name}]\n" if name and (plain or not inner) else ""
    text += "".join(f"{_key(k)} = {_value(v, folder)}\n" for k, v in plain.items())
    for key, value in inner.items():
        full = f"{name}.{_key(key)}" if name else _key(key)
        if isinstance(value, list):
            text += "".join(toml_text(v, folder, f"[{full}]") for v in value)
        else:
            text += toml_text(value, folder, full)
    return text


def with_comments(text: str, source: Path) -> str:
    """A car file's text with the comments that another one has over and behind its tables and keys."""
    try:
        old = source.read_text("utf-8-sig")
    except (OSError, UnicodeDecodeError):
        return text
    left: dict[str, tuple[list[str], str]] = {}
    above: list[str] = []
    for place, line in _places(old):
        bare = line.strip()
        if bare.startswith("#"):
            above += [] if bare.startswith(f"# {MARK}") else [bare]
        elif place:
            behind = re.search(r"#[^\"']*$", bare)
            left[place], above = (above, f"  {behind[0]}" if behind else ""), []
    out = []
    for place, line in _places(text):
        over, behind_it = left.pop(place, ([], ""))
        out += [*over, line + behind_it]
    lone = [line for over, _ in left.values() for line in over] + above
    return "\n".join([*out, *lone]) + "\n"


def _places(text: str) -> list[tuple[str, str]]:
    """Lines of a TOML file, each with the table (and its number, where it has several) and key that it begins."""
    section, out = "", []
    times: Counter[str] = Counter()
    for line in text.splitlines():
        header = _HEADER.match(line)
        key = line.split("=", 1)[0].strip().strip('"') if "=" in line and not line.lstrip().startswith("#") else ""
        if header:
            name = header.group(1).replace('"', "").replace(" ", "")
            times[name] += 1
            section = f"[{name} {times[name]}]"
        out.append((section if header else f"{section} {key}" if key else "", line))
    return out


def _is_table(value: Any) -> bool:
    return isinstance(value, Mapping) or (isinstance(value, list) and any(isinstance(v, Mapping) for v in value))


def _key(key: str) -> str:
    return key if _BARE.fullmatch(key) else _value(key, Path())


def _value(value: Any, folder: Path) -> str:
    if isinstance(value, Path):
        return _value(Path(os.path.relpath(value.resolve(), folder.resolve())).as_posix(), folder)
    if isinstance(value, str):
        escaped = value.replace("\\", "\\\\").replace('"', '\\"')
        return '"' + "".join(c if c.isprintable() else f"\\U{ord(c):08x}" for c in escaped) + '"'
    if isinstance(value, list):
        return f"[{', '.join(_value(v, folder) for v in value)}]"
    if isinstance(value, bool):
        return "true" if value else "false"
    return repr(float(value)) if isinstance(value, float) else repr(value)
