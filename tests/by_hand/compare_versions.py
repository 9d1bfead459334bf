"""Compare the figures of two versions over the demo cars: every command that writes a table, cell by cell.

``python -m tests.by_hand.compare_versions OLD_PYTHON OLD_CHECKOUT NEW_PYTHON NEW_CHECKOUT [FOLDER]``

Each version runs in its own checkout with its own interpreter. Tables are matched by file, rows in order, cells by
column name; columns that only one of the two has are told. A cell differs when it is farther off than 1e-12 of its
value plus 1e-12 of the largest value of its column.
"""

from __future__ import annotations

import csv
import subprocess
import sys
import tempfile
from pathlib import Path

CARS = ("dunlin", "plover", "siskin")
WIDE = 1e-12
DRAWN = ("--samples=400", "--workers=1")


def jobs() -> list[tuple[str, list[str]]]:
    """Name of the table and the command that writes it to FILE."""
    out: list[tuple[str, list[str]]] = []
    for name in CARS:
        car = f"models/{name}/car.toml"
        for axle in ("front", "rear") if name != "siskin" else ("front",):
            to = ["--axle", axle, "--out", "FILE"]
            out += [
                (f"{name}-{axle}-sweep", ["sweep", car, "--travel=-60:60:5", "--rack=-20:20:10", *to]),
                (f"{name}-{axle}-roll", ["sweep", car, "--roll=-3:3:1", "--heave=-15:15:15", "--rack=0,12", *to]),
                (f"{name}-{axle}-tolerance", ["tolerance", car, "--travel=-30:30:10", *DRAWN, *to]),
                (f"{name}-{axle}-sensitivity", ["sensitivity", car, "--at=10", *to]),
            ]
            if name != "siskin":
                out += [
                    (f"{name}-{axle}-pitch", ["sweep", car, "--pitch=-1:1:0.5", "--roll=0,1", *to]),
                    (f"{name}-{axle}-rates", ["rates", car, "--travel=-30:30:10", *to]),
                ]
    pair = ["models/dunlin/car.toml", "models/plover/car.toml"]
    for axle in ("front", "rear"):
        more = ["--axle", axle, "--travel=-30:30:15", *DRAWN]
        out.append((f"compare-{axle}", ["compare", *pair, *more, "--out", "FILE"]))
        out.append((f"parts-{axle}", ["compare", *pair, *more, "--parts", "FILE"]))
    return out


def run(python: str, checkout: str, folder: Path) -> None:
    """Run every job in one version."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, words in jobs():
        file = str((folder / f"{name}.csv").resolve())
        said = [file if w == "FILE" else w for w in words]
        ran = subprocess.run([python, "-m", "kin3d", *said], cwd=checkout, capture_output=True, text=True, check=False)
        if ran.returncode not in (0, 1):
            print(f"{name}: exit {ran.returncode}: {ran.stderr.strip()[-300:]}")


def table(file: Path) -> list[dict[str, str]]:
    """Rows of a CSV file by column."""
    with file.open(encoding="utf-8", newline="") as f:
        return list(csv.DictReader(f))


def _number(cell: str) -> float | None:
    try:
        return float(cell)
    except ValueError:
        return None


def differences(old: Path, new: Path) -> list[str]:
    """What differs between two tables."""
    if not old.exists() or not new.exists():
        return [f"{'old' if not old.exists() else 'new'} version wrote nothing"]
    a, b = table(old), table(new)
    if len(a) != len(b):
        return [f"{len(a)} rows against {len(b)}"]
    said = []
    ours, theirs = (list(t[0]) if t else [] for t in (a, b))
    for name in sorted(set(ours) ^ set(theirs)):
        said.append(f"column {name} only in the {'old' if name in ours else 'new'} version")
    for name in (n for n in ours if n in theirs):
        largest = max((abs(v) for r in a if (v := _number(r[name])) is not None), default=0.0)
        worst, where = 0.0, -1
        for k, (x, y) in enumerate(zip(a, b, strict=True)):
            p, q = _number(x[name]), _number(y[name])
            if p is None or q is None:
                off = 0.0 if x[name] == y[name] else float("inf")
            else:
                off = abs(p - q) / (abs(p) + largest or 1.0)
            if off > worst:
                worst, where = off, k
        if worst > WIDE:
            said.append(f"{name}: off by {worst:.1e} in row {where + 1}: {a[where][name]!r} against {b[where][name]!r}")
    return said


def main(words: list[str]) -> int:
    """Run both versions and print what differs."""
    old_python, old, new_python, new = words[:4]
    with tempfile.TemporaryDirectory() as made:
        folder = Path(words[4]) if len(words) > 4 else Path(made)
        if not (folder / "old").exists():
            run(old_python, old, folder / "old")
        run(new_python, new, folder / "new")
        count = 0
        for name, _ in jobs():
            for line in differences(folder / "old" / f"{name}.csv", folder / "new" / f"{name}.csv"):
                print(f"{name}: {line}")
                count += 1
    print(f"{len(jobs())} tables compared, {count} differences")
    return min(count, 1)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
