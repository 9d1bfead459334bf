"""Points that photographs give a car: adjusted when it is loaded, together with others when cars are compared.

Cars that share anything (tyre, rim, wheelbase, the way in which joints were marked) are compared from one adjustment of
all: what they share is then found from the marks of both, and their difference is known better than from two apart.
"""

from __future__ import annotations

import hashlib
from collections import OrderedDict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import fields, is_dataclass, replace

import numpy as np

from kin3d.errors import Finding, Severity
from kin3d.linkage.car import Axle, Car
from kin3d.linkage.names import AxleName
from kin3d.linkage.record import changed
from kin3d.photographs.located import Located, located
from kin3d.photographs.located_car import LocatedCar
from kin3d.photographs.parameters import united
from kin3d.reading.photo_records import CarPhotos, PhotoPoints

KEPT = 16
_found: OrderedDict[str, Located] = OrderedDict()  # adjustments of this run by what went into them


def adjusted(car: Car) -> Car:
    """The car with its photographs made into points; a car without photographs as it is.

    Raises
    ------
    RequestError
        When there are too few marks, or when marks and figures contradict each other.
    """
    for axle in car.axles():
        if isinstance(axle.points, PhotoPoints) and axle.points.pending:
            result = adjustment([axle.points.photographs])
            car = _with(car, axle, result.car, result, changed_since=False)
            told = _told(result)
            if axle.loaded_radius_mm is not None:
                place = f"{car.source}, [{axle.name}] loaded_radius_mm"
                found, sigma = result.car.figures["loaded_radius_mm"]
                text = f"is not used: the photographs give {found:.1f} ± {sigma:.1f} mm; say it in their file"
                told = (Finding("radius-unused", text, place, Severity.WARNING), *told)
            car = changed(car, findings=(*car.findings, *told))
    return car


def adjusted_together(cars: Sequence[Car], axle: AxleName) -> tuple[list[Car], tuple[Finding, ...]]:
    """Cars whose photographs share something, from one adjustment of them; and a note that says so."""
    out = list(cars)
    tables = [_photographs(car, axle) for car in cars]
    findings = []
    for group in _sharing(tables):
        files = {t.photographs.source.resolve(): t.photographs for k in group if (t := tables[k]) is not None}
        if len(files) < 2:
            continue
        result = adjustment(files.values())
        by_file = {c.source.resolve(): c for c in result.cars}
        for k in group:
            table = tables[k]
            assert table is not None
            found = by_file[table.photographs.source.resolve()]
            out[k] = _with(out[k], out[k].axle(axle), found, result, changed_since=True)
        names = " and ".join(cars[k].title for k in group)
        text = f"{names} share what their photographs say is the same, and their points are from one adjustment"
        findings.append(Finding("adjusted-together", text, severity=Severity.NOTE))
    return out, tuple(findings)


def share_photographs(cars: Sequence[Car], axle: AxleName) -> bool:
    """Whether the photographs of cars share something, so that one adjustment finds them all."""
    return len(_sharing([_photographs(car, axle) for car in cars])) == 1


def _photographs(car: Car, name: AxleName) -> PhotoPoints | None:
    axle = next((a for a in car.axles() if a.name == name), None)
    return axle.points if axle is not None and isinstance(axle.points, PhotoPoints) else None


def _sharing(tables: Sequence[PhotoPoints | None]) -> list[list[int]]:
    """Numbers of the cars that a chain of shared things joins."""
    groups: list[tuple[set[str], list[int]]] = []
    for k, table in enumerate(tables):
        if table is None:
            continue
        files, members = {str(c.source.resolve()) for c in table.photographs.cars()}, [k]
        for group in [g for g in groups if g[0] & files]:
            files, members = files | group[0], group[1] + members
            groups.remove(group)
        groups.append((files, members))
    return [sorted(members) for _, members in groups]


def adjustment(chosen: Iterable[CarPhotos]) -> Located:
    """The adjustment of cars and those that they share something with, made once in a run for the same content."""
    files = united(chosen)
    key = hashlib.sha256(repr([_content(f) for f in files]).encode()).hexdigest()
    if key not in _found:
        _found[key] = located(*files)
        while len(_found) > KEPT:
            _found.popitem(last=False)
    return _found[key]


def _content(value: object) -> object:
    """Plain data by which equal contents are told from unequal ones; what was said in reading is not part of them."""
    if isinstance(value, np.ndarray):
        return value.tolist()
    if is_dataclass(value):
        return [_content(getattr(value, f.name)) for f in fields(value) if f.name != "findings"]
    if isinstance(value, Mapping):
        return [(k, _content(v)) for k, v in value.items()]
    if isinstance(value, set | frozenset):
        return sorted(map(repr, value))
    return [_content(v) for v in value] if isinstance(value, tuple | list) else value


def _with(car: Car, axle: Axle, found: LocatedCar, result: Located, changed_since: bool) -> Car:
    """The car with points and figures of an adjustment; what was changed since an earlier one stays changed."""
    old = axle.points
    assert isinstance(old, PhotoPoints)
    figures = {
        f"{axle.name}.loaded_radius_mm": found.figures["loaded_radius_mm"][0],
        "car.wheelbase_mm": found.figures["wheelbase_mm"][0],
    }
    errors = found.errors(result.sources)
    radius, base = f"{axle.name}.loaded_radius_mm", "car.wheelbase_mm"
    stays = {
        radius: changed_since and axle.loaded_radius_mm != old.figures.get(radius),
        base: car.data.wheelbase_mm is not None and car.data.wheelbase_mm != old.figures.get(base),
    }
    kept = {k: v for k, v in errors.figures.items() if not stays[k]}
    move = np.zeros_like(found.xyz_mm)
    if changed_since and old.located_mm is not None:
        rows = [old.names.index(n) for n in found.names]
        move = (old.xyz_mm - old.located_mm)[rows]
    points = PhotoPoints(
        found.source, found.names, found.xyz_mm + move, found.sigma_mm,
        tuple(f"{found.source}, {n}" for n in found.names), ("",) * len(found.names), old.findings,
        replace(errors, figures=kept), old.photographs, found.xyz_mm, {k: figures[k] for k in kept},
    )  # fmt: skip
    new = changed(axle, points=points)
    if not stays[radius]:
        new = changed(new, loaded_radius_mm=figures[radius])
    data = car.data if stays[base] else changed(car.data, wheelbase_mm=figures[base])
    return changed(car, data=data, **{axle.name: new})


def _told(result: Located) -> tuple[Finding, ...]:
    """What a user of the points must know: what was left out, and what rests on the template."""
    place = str(result.car.source)
    out = [
        Finding("mark-wrong", f"left out, as it cannot be right: {what}, misses by {miss}", place, Severity.WARNING)
        for what, miss, _ in result.wrong()
    ]
    if result.car.carried:
        text = f"rests on the template by more than half: {', '.join(result.car.carried)}"
        out.append(Finding("on-template", text, place, Severity.WARNING))
    return (*out, *result.doubts)
