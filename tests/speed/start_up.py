"""A fresh process of `kin3d sweep` over 81 positions beside one that only imports what the command line needs.

``python -m tests.speed.start_up`` from the repository's root. Times are those of the processor, so that they hardly
depend on what else runs; bytecode is compiled before, as it is where the program is installed. A sweep into a pipe uses
neither pydantic, which typer has for what is not plainly right, nor rich: "numpy, typer" is what it cannot do without.
"""

from __future__ import annotations

import os
import resource
import statistics
import subprocess
import sys
from pathlib import Path

from rich.console import Console
from rich.table import Table

RUNS = 11
IMPORTS = ["-c", "import numpy, typer, pydantic, rich"]
NEEDED = ["-c", "import numpy, typer"]
DUNLIN = Path(__file__).parents[2] / "models" / "dunlin" / "car.toml"
# some containers ask for no bytecode at all: every start would then compile the program anew
_ENVIRONMENT = {k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"} | {"OPENBLAS_NUM_THREADS": "1"}


def seconds(arguments: list[str]) -> float:
    """Processor time of one fresh interpreter."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    done = subprocess.run([sys.executable, *arguments], capture_output=True, check=False, env=_ENVIRONMENT)
    if done.returncode:
        raise AssertionError(done.stderr.decode())
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


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
    bare_words = {"python": ["-c", ""], "numpy, typer, pydantic, rich": IMPORTS, "numpy, typer": NEEDED}
    found = rounds({**bare_words, "kin3d sweep": sweep})
    bare = found["numpy, typer, pydantic, rich"]
    table = Table(title=f"A fresh process, median of {RUNS} rounds")
    for heading in ("", "ms", "to the imports", "spread"):
        table.add_column(heading, justify="left" if not heading else "right")
    for name, times in found.items():
        ratios = [t / base for t, base in zip(times, bare, strict=True)]
        spread = f"{min(ratios):.2f} to {max(ratios):.2f}"
        table.add_row(name, f"{1e3 * statistics.median(times):.0f}", f"{statistics.median(ratios):.2f} ×", spread)
    Console().print(table)


if __name__ == "__main__":
    report_start_up(DUNLIN)
