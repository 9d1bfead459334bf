"""A fresh process of `kin3d sweep` over 81 positions beside one that only imports what the command line needs."""

from __future__ import annotations

import statistics
import subprocess
import sys
import time
from pathlib import Path

from rich.console import Console
from rich.table import Table

RUNS = 11
IMPORTS = ["-c", "import numpy, typer, pydantic, rich"]


def seconds(arguments: list[str]) -> float:
    """Wall time of one fresh interpreter."""
    begin = time.perf_counter()
    done = subprocess.run([sys.executable, *arguments], capture_output=True, check=False)
    if done.returncode:
        raise AssertionError(done.stderr.decode())
    return time.perf_counter() - begin


def rounds(commands: dict[str, list[str]]) -> dict[str, list[float]]:
    """Times of every round, the commands taken in turn so that all see the same machine."""
    for arguments in commands.values():
        seconds(arguments)
    times: dict[str, list[float]] = {name: [] for name in commands}
    for _ in range(RUNS):
        for name, arguments in commands.items():
            times[name].append(seconds(arguments))
    return times


def report_start_up(path: Path) -> None:
    """Print the times and their ratio to the bare imports."""
    sweep = ["-m", "kin3d", "sweep", str(path), "--axle", "front", "--travel=-40:40:1"]
    found = rounds({"python": ["-c", ""], "numpy, typer, pydantic, rich": IMPORTS, "kin3d sweep": sweep})
    bare = found["numpy, typer, pydantic, rich"]
    table = Table(title=f"A fresh process, median of {RUNS} rounds")
    for heading in ("", "ms", "to the imports", "spread"):
        table.add_column(heading, justify="left" if not heading else "right")
    for name, times in found.items():
        ratios = [t / base for t, base in zip(times, bare, strict=True)]
        spread = f"{min(ratios):.2f} to {max(ratios):.2f}"
        table.add_row(name, f"{1e3 * statistics.median(times):.0f}", f"{statistics.median(ratios):.2f} ×", spread)
    Console().print(table)
