"""Writes a car file with its point tables, so that reading it back gives the same car.

Points are written in the vehicle frame in mm, whatever the file that they came from had. A layout of one's own is named
by the path of its file, relative to the new car file.
"""

from __future__ import annotations

import os
from collections.abc import Mapping, Sequence
from dataclasses import fields
from pathlib import Path
from typing import Any

from kin3d.errors import Finding, RequestError
from kin3d.frames import VEHICLE_AXES
from kin3d.linkage.car import Axle, Car, CarData
from kin3d.writing.points import write_points_csv
from kin3d.writing.table import check_ending

PLAIN = ("loaded_radius_mm", "camber_deg", "toe_deg", "unsprung_mass_kg", "tyre_rate_n_per_mm")


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
        For another ending, a missing folder, or a file that the car was read from: originals are not overwritten.
    """
    file = Path(path)
    check_ending(file, (".toml",), "--out")
    plans = [plan for axle in car.axles() for plan in _tables(axle, file)]
    _keep_originals(car, [file, *(target for _, target, _ in plans)])
    text = "".join(f"# {line}\n" for line in comment.splitlines())
    text += f"title = {_value(car.title)}\n" + _section("car", _car_keys(car.data))
    for axle in car.axles():
        names = {key: target.name for owner, target, key in plans if owner is axle}
        text += _axle(axle, file, names)
    file.write_text(text, "utf-8", newline="\n")
    for owner, target, key in plans:
        table = owner.points if key == "points" else owner.other_points
        if table is not None:
            write_points_csv(table, target)
    return (file, *(target for _, target, _ in plans))


def _tables(axle: Axle, file: Path) -> list[tuple[Axle, Path, str]]:
    out = [(axle, file.with_name(f"{file.stem}_{axle.name}.csv"), "points")]
    if axle.other_points is not None:
        out.append((axle, file.with_name(f"{file.stem}_{axle.name}_other.csv"), "other_points"))
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


def _car_keys(data: CarData) -> dict[str, Any]:
    usual = CarData()
    values = {f.name: getattr(data, f.name) for f in fields(data)}
    return {k: v for k, v in values.items() if v is not None and v != getattr(usual, k)}


def _axle(axle: Axle, file: Path, tables: Mapping[str, str]) -> str:
    keys: dict[str, Any] = {**tables, "units": "mm", "axes": VEHICLE_AXES, "side": axle.side}
    keys["layout"] = _layout(axle, file)
    keys |= dict(axle.layout_keys)
    keys |= {k: getattr(axle, k) for k in PLAIN if getattr(axle, k) is not None}
    if "wheel_axis" in axle.points:
        keys.pop("camber_deg"), keys.pop("toe_deg")
    if axle.rack_axis != (0.0, 1.0, 0.0):
        keys["rack_axis"] = axle.rack_axis
    text = _section(axle.name, keys)
    for name, key in (("spring", "spring"), ("torsion", "torsion"), ("bar", "bar"), ("damper", "damper")):
        text += _record(f"{axle.name}.{key}", getattr(axle, name), ("name", "points"))
    text += _record(f"{axle.name}.rod_part", axle.rod) + _record(f"{axle.name}.masses", axle.masses)
    for name in ("third", "roll_spring"):
        cross = getattr(axle, name)
        body = {"body": axle.attached[cross.points[0]]} if cross and cross.points[0] in axle.attached else {}
        text += _record(f"{axle.name}.{name}", cross, extra=body)
    for spring in axle.springs:
        ends = [axle.attached[p] for p in spring.points or () if p in axle.attached]
        text += _record(f"[{axle.name}.springs]", spring, extra={"bodies": ends} if len(ends) == 2 else {})
    for stop in axle.stops:
        text += _record(f"[{axle.name}.stops]", stop)
    for shared in axle.shared_errors:
        text += _record(f"[{axle.name}.shared_error]", shared)
    return text


def _layout(axle: Axle, file: Path) -> str:
    """Name of a built-in layout, or the path of its file seen from the new car file."""
    if not axle.layout.source.endswith(".toml"):
        return axle.layout.name
    return Path(os.path.relpath(Path(axle.layout.source).resolve(), file.parent.resolve())).as_posix()


def _record(name: str, record: Any, skip: Sequence[str] = (), extra: Mapping[str, Any] | None = None) -> str:
    """A table of a frozen record: what is None is left out."""
    if record is None:
        return ""
    values = {f.name: getattr(record, f.name) for f in fields(record) if f.name not in skip}
    kept = {k: v for k, v in values.items() if v is not None and not (k == "points" and not v)}
    return _section(name, kept | dict(extra or {}))


def _section(name: str, keys: Mapping[str, Any]) -> str:
    if not keys:
        return ""
    return f"\n[{name}]\n" + "".join(f"{k} = {_value(v)}\n" for k, v in keys.items())


def _value(value: Any) -> str:
    if isinstance(value, str):
        escaped = value.replace("\\", "\\\\").replace('"', '\\"')
        return '"' + "".join(c if c.isprintable() else f"\\u{ord(c):04x}" for c in escaped) + '"'
    if isinstance(value, list | tuple):
        return f"[{', '.join(_value(v) for v in value)}]"
    return repr(value)
