"""Car files (TOML): one file describes what is known of a car; either axle may be missing."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from kin3d.errors import ReadingError, raise_errors
from kin3d.linkage.car import Axle, Car
from kin3d.linkage.checking import check
from kin3d.linkage.keys import CarData, CarFile
from kin3d.linkage.misfits import case_misfits
from kin3d.linkage.names import AxleName
from kin3d.linkage.record import changed
from kin3d.reading.axle import AxleSource, read_axle
from kin3d.reading.layouts import LayoutChoice, choose_layout
from kin3d.reading.text import FindingLog, read_toml

_AXLES: tuple[AxleName, AxleName] = ("front", "rear")


def read_car(path: Path | str) -> Car:
    """Read a car file with the point files and layouts that it names.

    Parameters
    ----------
    path : path-like
        The TOML file; paths in it are relative to it.

    Returns
    -------
    Car
        Points in mm in the vehicle frame; warnings and notes in `Car.findings`.

    Raises
    ------
    ReadingError
        With everything that is wrong with the car file, its point files and its layouts, at once.
    """
    file = Path(path)
    log = FindingLog(str(file))
    data = read_toml(file, log, "a car file with [front] or [rear] is expected")
    car = _car(file, data, log) if data is not None else Car(title="", source=file, data=CarData())
    findings = tuple(dict.fromkeys(log.findings))  # both axles may name the same faulty file
    raise_errors(findings, ReadingError)
    return changed(car, findings=findings)


def _car(file: Path, data: Mapping[str, Any], log: FindingLog) -> Car:
    raw: dict[AxleName, Mapping[str, Any]] = {n: data[n] for n in _AXLES if isinstance(data.get(n), dict)}
    chosen = {name: choose_layout(name, table, file.parent, log) for name, table in raw.items()}
    extra = {str(name): choice.known for name, choice in chosen.items()}
    keys, findings = check(CarFile, _without_layout_keys(data, chosen), extra)
    for finding in findings:
        log.error(finding.code, finding.text, finding.place)
    if not any(name in data for name in _AXLES):
        log.error("axle-missing", "describes no axle; a table [front] or [rear] is expected")
    axles: dict[AxleName, Axle | None] = {}
    for name, table in raw.items():
        axle_keys = keys.front if name == "front" else keys.rear
        if axle_keys is not None:
            axles[name] = read_axle(AxleSource(name, table, axle_keys, chosen[name], file.parent), log)
    _tell_unused(keys, log)
    front, rear = axles.get("front"), axles.get("rear")
    for finding in case_misfits(keys.cases, [name for name in _AXLES if name in raw]):
        log.error(finding.code, finding.text, finding.place)
    return Car(
        title=keys.title or file.stem, source=file, data=keys.car, front=front, rear=rear, cases=keys.cases
    )


def _without_layout_keys(data: Mapping[str, Any], chosen: Mapping[AxleName, LayoutChoice]) -> dict[str, Any]:
    kept = dict(data)
    for name, choice in chosen.items():
        kept[name] = {k: v for k, v in data[name].items() if k not in choice.known}
    return kept


def _tell_unused(keys: CarFile, log: FindingLog) -> None:
    if keys.car.front_drive_share is not None and keys.car.drive != "all":
        text = 'is not used: it belongs to drive = "all"'
        log.warn("share-unused", text, "[car] front_drive_share")
