"""Run the suite under a Python of one's choice, with the lowest versions that pyproject.toml names or with the newest.

``python -m tests.by_hand.versions PYTHON [--lowest] [--keep FOLDER] [words for pytest]``

Makes a fresh environment, installs this checkout with the extras ``test`` and ``viewer`` (``--lowest``: every package
that pyproject.toml names at its floor), and runs pytest there. ``--keep`` leaves the environment in a folder and takes
it from there again.
"""

from __future__ import annotations

import re
import subprocess
import sys
import tempfile
import tomllib
from pathlib import Path

ROOT = Path(__file__).parents[2]
EXTRAS = ("test", "viewer")
FLOOR = re.compile(r"([A-Za-z0-9_.-]+)\s*>=\s*([0-9.]+)")


def floors() -> dict[str, str]:
    """Lowest version of every package that pyproject.toml names for running and testing."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
    named = [*project["dependencies"], *(n for e in EXTRAS for n in project["optional-dependencies"][e])]
    found = {n: FLOOR.match(n) for n in named}
    without = [n for n, match in found.items() if match is None]
    if without:
        raise SystemExit(f"pyproject.toml gives no lowest version: {', '.join(without)}")
    return {match[1]: match[2] for match in found.values() if match is not None}


def environment(python: str, folder: Path, lowest: bool) -> Path:
    """Make the environment, or take the one that is there; returns its interpreter."""
    inside = folder / "bin" / "python"
    if not inside.exists():
        subprocess.run([python, "-m", "venv", str(folder)], check=True)
    told = ["-q", "--disable-pip-version-check", f"{ROOT}[{','.join(EXTRAS)}]"]
    if lowest:
        constraints = folder / "lowest.txt"
        constraints.write_text("".join(f"{n}=={v}\n" for n, v in floors().items()), "utf-8")
        told += ["-c", str(constraints)]
    subprocess.run([str(inside), "-m", "pip", "install", *told], check=True)
    return inside


def main(words: list[str]) -> int:
    """Install and run; pytest's exit code."""
    if not words or words[0].startswith("-"):
        print(__doc__)
        return 2
    python, *rest = words
    lowest = "--lowest" in rest
    rest = [w for w in rest if w != "--lowest"]
    kept = None
    if "--keep" in rest:
        at = rest.index("--keep")
        kept, rest = Path(rest[at + 1]), rest[:at] + rest[at + 2 :]
    with tempfile.TemporaryDirectory() as made:
        inside = environment(python, kept or Path(made) / "venv", lowest)
        return subprocess.run([str(inside), "-m", "pytest", *rest], cwd=ROOT, check=False).returncode


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
