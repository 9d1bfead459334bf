"""What is tested is this checkout, and what is shipped is all of it and nothing else."""

from __future__ import annotations

import shutil
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

import kin3d
import kin3d_viewer

ROOT = Path(__file__).parents[1]
SOURCES = {"kin3d": ROOT / "kin3d", "kin3d_viewer": ROOT / "viewer" / "kin3d_viewer"}
SHIPPED = (".py", ".css", ".csv", ".html", ".js", ".md", ".toml")


def test_the_packages_under_test_are_those_of_the_checkout(tmp_path):
    """Whether installed editable or not, in this process and in one that it starts."""
    expected = [str(folder / "__init__.py") for folder in SOURCES.values()]
    assert [kin3d.__file__, kin3d_viewer.__file__] == expected
    program = "import kin3d, kin3d_viewer; print(kin3d.__file__, kin3d_viewer.__file__, sep='\\n')"
    done = subprocess.run([sys.executable, "-c", program], cwd=tmp_path, capture_output=True, text=True, check=True)
    assert done.stdout.split("\n")[:2] == expected


@pytest.fixture(scope="module")
def wheel(tmp_path_factory):
    """Names in a wheel that is built beside what an older build has left."""
    folder = tmp_path_factory.mktemp("wheel")
    source = folder / "source"
    source.mkdir()
    for name in ("pyproject.toml", "README.md", "LICENSE"):
        shutil.copy(ROOT / name, source)
    for name in ("kin3d", "viewer"):
        shutil.copytree(ROOT / name, source / name, ignore=shutil.ignore_patterns("__pycache__"))
    stale = source / "build" / "lib" / "kin3d"
    stale.mkdir(parents=True)
    (stale / "deleted.py").write_text("x = 1\n", "utf-8")
    done = subprocess.run(
        [sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", str(folder)],
        cwd=source,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    (made,) = folder.glob("*.whl")
    with zipfile.ZipFile(made) as file:
        return {n for n in file.namelist() if not n.startswith("kin3d-")}


def test_a_wheel_holds_every_file_of_both_packages(wheel):
    expected = {
        f"{name}/{file.relative_to(folder).as_posix()}"
        for name, folder in SOURCES.items()
        for file in folder.rglob("*")
        if file.suffix in SHIPPED or file.name == "py.typed"
    }
    assert {"kin3d/py.typed", "kin3d_viewer/py.typed", "kin3d_viewer/page.html"} <= expected
    assert wheel - {"kin3d/deleted.py"} == expected


def test_a_wheel_holds_nothing_of_an_older_build(wheel):
    assert "kin3d/deleted.py" not in wheel
