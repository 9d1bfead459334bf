"""What is well written and probably wrong is told; what is unusual and right is not."""

from __future__ import annotations

import csv
import tomllib
from pathlib import Path

import numpy as np
import pytest

import kin3d
from kin3d.studies.plausibility import implausible

ROOT = Path(__file__).parents[2]
FOLDER = ROOT / "tests" / "files" / "implausible"


def cases(name):
    return tomllib.loads((FOLDER / name).read_text("utf-8"))["case"]


def read_table(path):
    lines = [line for line in path.read_text("utf-8-sig").splitlines() if line and not line.startswith("#")]
    mark = next(d for d in "\t;," if d in lines[0])
    return list(csv.DictReader([x.replace(",", ".") if mark == ";" else x for x in lines], delimiter=mark))


def text_of(value):
    if isinstance(value, str):
        return f'"{value}"'
    return str(value).lower() if isinstance(value, bool) else repr(value)


def toml_of(tables, above=""):
    out = [f"[{above[:-1]}]"] if above else []
    inner = []
    for key, value in tables.items():
        name = key if key.isidentifier() else f'"{key}"'
        if isinstance(value, dict):
            inner.append(toml_of(value, f"{above}{name}."))
        else:
            out.append(f"{name} = {text_of(value)}")
    return "\n".join([*out, *inner]) + "\n"


def write(case, folder):
    """The demo car with the case's slips, as files in `folder`."""
    source = ROOT / "models" / case.get("base", "dunlin")
    car = tomllib.loads((source / "car.toml").read_text("utf-8"))
    car.pop("cases", None)  # load cases are no part of what is looked at
    tables = {}
    for axle in ("front", "rear"):
        if axle in car:
            file = source / Path(car[axle]["points"]).with_suffix(".csv")
            tables[axle] = {r["point"]: r for r in read_table(file)}
            car[axle]["points"] = f"{axle}.csv"
            if file.with_suffix(".csv").exists() and str(car[axle].get("layout", "")).endswith(".toml"):
                (folder / car[axle]["layout"]).write_text((source / car[axle]["layout"]).read_text("utf-8"), "utf-8")
    for axle, step in case.get("shift", {}).items():
        move(tables[axle], np.ones(3), step)
    for axle, factor in case.get("scale", {}).items():
        move(tables[axle], np.full(3, factor), np.zeros(3))
    for axle, signs in case.get("mirror", {}).items():
        move(tables[axle], np.array(signs), np.zeros(3))
    for axle, (a, b) in case.get("swap", {}).items():
        for k in "xyz":
            tables[axle][a][k], tables[axle][b][k] = tables[axle][b][k], tables[axle][a][k]
    if "dead_centre" in case:
        to_dead_centre(tables[case["dead_centre"]["axle"]], case["dead_centre"]["off_mm"])
    for key, value in case.get("set", {}).items():
        put(car, tables, key.split("."), value)
    for key in case.get("drop", ()):
        first, *rest = key.split(".")
        (car[first] if len(rest) == 1 else car[first][rest[0]]).pop(rest[-1])
    if case.get("upright_only"):
        for axle in tables:
            kept = ("lower", "upper", "tie", "wheel")
            tables[axle] = {n: r for n, r in tables[axle].items() if n.startswith(kept)}
    for axle, rows in tables.items():
        names = list(dict.fromkeys(k for r in rows.values() for k in r if k and k != "note"))
        lines = [",".join(names), *(",".join(str(r[n]) for n in names) for r in rows.values())]
        (folder / f"{axle}.csv").write_text("\n".join(lines) + "\n", "utf-8")
    path = folder / "car.toml"
    path.write_text(toml_of(car), "utf-8")
    return path


def move(rows, factor, step):
    for row in rows.values():
        for k, axis in enumerate("xyz"):
            row[axis] = repr(float(row[axis]) * float(factor[k]) + float(step[k]))


def to_dead_centre(rows, off_mm):
    """Set the rod's inner end in line with its rocker arm and rod, but for a hair."""
    at = {n: np.array([float(r[k]) for k in "xyz"]) for n, r in rows.items()}
    axis = at["rocker_axis_2"] - at["rocker_axis_1"]
    axis /= np.linalg.norm(axis)
    pivot = at["rocker_axis_1"] + axis * (axis @ (at["rod_inner"] - at["rocker_axis_1"]))
    flat = at["rod_outer"] - pivot
    flat -= axis * (axis @ flat)
    flat /= np.linalg.norm(flat)
    arm = np.linalg.norm(at["rod_inner"] - pivot)
    place = pivot + arm * flat + off_mm * np.cross(axis, flat)
    rows["rod_inner"] |= dict(zip("xyz", map(repr, map(float, place)), strict=True))


def put(car, tables, words, value):
    axle, *rest = words
    if len(rest) == 2 and rest[0] in tables.get(axle, {}):
        assert rest[1] in tables[axle][rest[0]], words
        tables[axle][rest[0]][rest[1]] = repr(value)
    elif len(rest) == 2:
        car[axle].setdefault(rest[0], {})[rest[1]] = value
    else:
        car[axle][rest[0]] = value


@pytest.mark.parametrize("case", cases("wrong.toml"), ids=lambda c: c["name"])
def test_a_slip_is_told(case, tmp_path):
    found = implausible(kin3d.load(write(case, tmp_path)))
    assert {f.code for f in found} == set(case["warns"]), [str(f) for f in found]
    assert any(case["says"] in str(f) for f in found), [str(f) for f in found]
    assert all(f.place and f.severity == "warning" for f in found)


@pytest.mark.parametrize("case", cases("unusual.toml"), ids=lambda c: c["name"])
def test_an_unusual_car_is_left_in_peace(case, tmp_path):
    assert [str(f) for f in implausible(kin3d.load(write(case, tmp_path)))] == []


def test_the_corpus_is_large_enough():
    assert len(cases("wrong.toml")) >= 60
    assert len(cases("unusual.toml")) >= 25
