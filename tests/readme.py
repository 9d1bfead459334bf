"""The console blocks of README.md and of the guide's pages: read them, run them, write their output anew.

``python -m tests.readme`` runs every ``$ kin3d …`` line of these pages and puts what it prints in place of what stands
there; with names of pages (``README doubt``) only theirs. A line ``[…]`` under a command stands for lines left out: the
lines around it are kept as they are chosen, and only checked.
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
GUIDE = ROOT / "kin3d" / "guide"
PAGES = {"README": README} | {p.stem: p for p in sorted(GUIDE.glob("*.md"))}
LEFT_OUT = "[…]"
BLOCK = re.compile(r"^```console\n(.*?)^```$", re.MULTILINE | re.DOTALL)
PYTHON = re.compile(r"^```python\n(.*?)^```$", re.MULTILINE | re.DOTALL)
WIDTH = 100


@dataclass(frozen=True)
class Shown:
    """A command of a page and the output that stands under it."""

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


def python_code(text: str) -> str:
    """All Python blocks of a page as one program, as a reader would type them one after the other."""
    return "\n".join(PYTHON.findall(text))


def prepare(folder: Path) -> None:
    """A place to run in: the demo cars, as in a fresh clone."""
    shutil.copytree(ROOT / "models", folder / "models", dirs_exist_ok=True)


def run(command: str, folder: Path) -> tuple[int, list[str]]:
    """Exit code and lines of a command; standard error comes first, as findings precede the table on a terminal."""
    words = shlex.split(command)
    if words[0] != "kin3d":
        raise ValueError(f"the page shows a command that is not kin3d: {command}")
    done = execute(["-m", "kin3d", *words[1:]], folder)
    lines = (done.stderr + done.stdout).split("\n")
    return done.returncode, [line.rstrip() for line in lines]


def execute(words: list[str], folder: Path) -> subprocess.CompletedProcess[str]:
    """Run Python as a person sees it on a terminal that is 100 columns wide and knows no colours."""
    settings = {"COLUMNS": str(WIDTH), "LINES": "50", "TERM": "dumb", "TTY_COMPATIBLE": "1", "NO_COLOR": "1"}
    return subprocess.run(
        [sys.executable, *words],
        cwd=folder,
        env={**os.environ, **settings, "PYTHONUTF8": "1", "MPLBACKEND": "agg"},
        capture_output=True,
        text=True,
        check=False,
    )


def _refreshed(shown: Shown, lines: list[str]) -> list[str]:
    if any(line.strip() == LEFT_OUT for line in shown.output):
        return list(shown.output)
    while lines and not lines[-1]:
        lines.pop()
    return lines


def main(names: list[str]) -> None:
    """Rewrite the outputs in the pages."""
    import tempfile

    for name in names or PAGES:
        page = PAGES[name]
        with tempfile.TemporaryDirectory() as place:
            page.write_text(_rewritten(page.read_text("utf-8"), Path(place)), "utf-8")


def _rewritten(text: str, folder: Path) -> str:
    prepare(folder)

    def block(match: re.Match[str]) -> str:
        out: list[str] = []
        for shown in shown_commands(match.group(0)):
            _, lines = run(shown.command, folder)
            out += [f"$ {shown.command}", *_refreshed(shown, lines)]
        return "```console\n" + "\n".join(out) + "\n```"

    return BLOCK.sub(block, text)


if __name__ == "__main__":
    main(sys.argv[1:])
