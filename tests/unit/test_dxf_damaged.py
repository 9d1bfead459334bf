"""Damaged drawings: bytes changed, cut short, group codes swapped. Each ends in a finding, an error or right points.

A changed digit can only be seen where a drawing says a thing twice, so the drawings here do: three views with
leaders, labels at one common offset, coordinates written beside the point. The number of damaged files is 150 in the
normal run; KIN3D_DAMAGED=2000 runs all (about three minutes).
"""

from __future__ import annotations

import os
import time
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from kin3d.errors import ReadingError
from kin3d.reading.dxf import read_drawing
from tests.unit.drawings import FOLDER, load, supplied
from tests.unit.drawn import POINTS, draw_space, draw_views, new, plan_of, save, three_views

COUNT = int(os.environ.get("KIN3D_DAMAGED", "150"))
PARTS = 10
SLOWEST_S = 10.0
COLLECTED = ("dl01", "ez03", "ez06", "ez08", "ez16", "lc01", "ps01", "wr01")


def _collected(start: str, folder: Path) -> tuple[bytes, dict[str, Any], dict[str, Any]]:
    truth = load(next(FOLDER.glob(f"{start}*.truth.json")))
    return truth["path"].read_bytes(), supplied(truth, folder), {n: p["xyz_mm"] for n, p in truth["points"].items()}


def _own(folder: Path, binary: bool) -> tuple[bytes, dict[str, Any], dict[str, Any]]:
    doc, views = new(), three_views()
    if binary:
        draw_space(doc)
        return save(doc, folder / "own.dxf", True).read_bytes(), {}, dict(POINTS)
    draw_views(doc, views)
    return save(doc, folder / "own.dxf").read_bytes(), {"views": plan_of(views)}, dict(POINTS)


def _damage(raw: bytes, rng: np.random.Generator) -> bytes:
    kind = rng.integers(6)
    data = bytearray(raw)
    if kind == 0:  # bytes changed anywhere
        for at in rng.integers(len(data), size=rng.integers(1, 25)):
            data[at] = rng.integers(256)
    elif kind == 1:  # cut short
        del data[rng.integers(len(data)) :]
    elif kind == 2:  # a digit becomes another digit
        digits = [i for i, c in enumerate(data) if 48 <= c <= 57]
        for at in rng.choice(digits, size=rng.integers(1, 12)):
            data[at] = rng.integers(48, 58)
    elif kind == 3:  # lines change places: group codes and values
        lines = raw.split(b"\n")
        for a, b in rng.integers(len(lines), size=(rng.integers(1, 8), 2)):
            lines[a], lines[b] = lines[b], lines[a]
        data = bytearray(b"\n".join(lines))
    elif kind == 4:  # a piece is missing
        at = int(rng.integers(len(data)))
        del data[at : at + int(rng.integers(1, 400))]
    else:  # a piece is there twice
        at = int(rng.integers(len(data)))
        data[at:at] = data[at : at + int(rng.integers(1, 400))]
    return bytes(data)


def _silently_wrong(reading: Any, truth: dict[str, Any]) -> list[str]:
    """Points off by more than the tolerance of 2 mm of which no finding speaks."""
    said = " ".join(str(f) for f in reading.findings)
    bad = []
    for name, point in reading.points.items():
        off = np.abs(point.xyz_mm - truth[name]).max() if name in truth else np.inf
        if off > 2.0 and name not in said:
            bad.append(f"{name} off by {off:g} mm")
    return bad


def _attempt(path: Path, repair: bool, give: dict[str, Any]) -> Any:
    """Read a file; None where it ends in a clean error, every finding of which says something and where."""
    try:
        return read_drawing(path, repair=repair, **give)
    except ReadingError as err:
        if not all(f.text and f.place for f in err.findings):
            raise AssertionError(err.findings) from err
    return None


@pytest.mark.parametrize("part", range(PARTS))
def test_damaged_drawings(part: int, tmp_path: Path) -> None:
    sources = [_collected(start, tmp_path) for start in COLLECTED]
    sources += [_own(tmp_path, False), _own(tmp_path, True)]
    path = tmp_path / "damaged.dxf"
    for number in range(part, COUNT, PARTS):
        rng = np.random.default_rng([20_24, number])
        raw, give, truth = sources[number % len(sources)]
        path.write_bytes(_damage(raw, rng))
        start = time.perf_counter()
        reading = _attempt(path, bool(rng.integers(2)), give)
        assert reading is None or _silently_wrong(reading, truth) == [], number
        assert time.perf_counter() - start < SLOWEST_S, number
