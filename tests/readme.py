"""The console blocks of README.md: read them, run them, write their output anew.

``python -m tests.readme`` runs every ``$ kin3d …`` line of README.md and puts what it prints in place of what stands
there. A line ``[…]`` under a command stands for lines left out: the lines around it are kept as they are chosen, and
only checked.
"""

from __future__ import annotations

import os
import re
import shlex
import shutil
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).parents[1]
README = ROOT / "README.md"
LEFT_OUT = "[…]"
BLOCK = re.compile(r"^```console\n(.*?)^```$", re.MULTILINE | re.DOTALL)
WIDTH = 100


@dataclass(frozen=True)
class Shown:
    """A command of README and the output that stands under it."""

    command: str
    output: tuple[str, ...]


def shown_commands(text: str) -> list[Shown]:
    """Commands of all console blocks, in order."""
    found: list[Shown] = []
    for block in BLOCK.findall(text):
        for part in re.split(r"^\$ ", block, flags=re.MULTILINE)[1:]:
            command, *output = part.rstrip("\n").split("\n")
            found.append(Shown(command, tuple(line.rstrip() for line in output)))
    return found


def prepare(folder: Path) -> None:
    """A place to run in: the demo cars, as in a fresh clone."""
    shutil.copytree(ROOT / "models", folder / "models", dirs_exist_ok=True)


def run(command: str, folder: Path) -> tuple[int, list[str]]:
    """Exit code and lines of a command; standard error comes first, as findings precede the table on a terminal."""
    words = shlex.split(command)
    if words[0] != "kin3d":
        raise ValueError(f"README shows a command that is not kin3d: {command}")
    settings = {"COLUMNS": str(WIDTH), "TERM": "dumb", "NO_COLOR": "1", "PYTHONUTF8": "1", "MPLBACKEND": "agg"}
    done = subprocess.run(
        [sys.executable, "-m", "kin3d", *words[1:]],
        cwd=folder,
        env={**os.environ, **settings},
        capture_output=True,
        text=True,
        check=False,
    )
    lines = (done.stderr + done.stdout).split("\n")
    return done.returncode, [line.rstrip() for line in lines]


def _refreshed(shown: Shown, lines: list[str]) -> list[str]:
    if any(line.strip() == LEFT_OUT for line in shown.output):
        return list(shown.output)
    while lines and not lines[-1]:
        lines.pop()
    return lines


def main() -> None:
    """Rewrite the outputs in README.md."""
    import tempfile

    with tempfile.TemporaryDirectory() as place:
        prepare(Path(place))

        def block(match: re.Match[str]) -> str:
            out: list[str] = []
            for shown in shown_commands(match.group(0)):
                _, lines = run(shown.command, Path(place))
                out += [f"$ {shown.command}", *_refreshed(shown, lines)]
            return "```console\n" + "\n".join(out) + "\n```"

        README.write_text(BLOCK.sub(block, README.read_text("utf-8")), "utf-8")


if __name__ == "__main__":
    main()
