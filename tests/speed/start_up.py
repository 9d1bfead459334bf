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


def medians(commands: dict[str, list[str]]) -> dict[str, float]:
    """Median times, the commands taken in turn so that all see the same machine."""
    for arguments in commands.values():
        seconds(arguments)
    times: dict[str, list[float]] = {name: [] for name in commands}
    for _ in range(RUNS):
        for name, arguments in commands.items():
            times[name].append(seconds(arguments))
    return {name: statistics.median(t) for name, t in times.items()}


def report_start_up(path: Path) -> None:
    """Print the times and their ratio to the bare imports."""
    sweep = ["-m", "kin3d", "sweep", str(path), "--axle", "front", "--travel=-40:40:1"]
    found = medians({"python": ["-c", ""], "numpy, typer, pydantic, rich": IMPORTS, "kin3d sweep": sweep})
    table = Table(title=f"A fresh process, median of {RUNS}")
    for heading in ("", "ms", "to the imports"):
        table.add_column(heading, justify="left" if not heading else "right")
    for name, t in found.items():
        ratio = t / found["numpy, typer, pydantic, rich"]
        table.add_row(name, f"{1e3 * t:.0f}", f"{ratio:.2f} ×")
    Console().print(table)
