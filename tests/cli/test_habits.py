"""What all commands have in common: --quiet, --strict, help texts, completion, `kin3d new`, `kin3d guide`."""

from __future__ import annotations

import itertools
import os
import subprocess
import sys
import tomllib
from pathlib import Path
from typing import get_args

import pytest

import kin3d
from kin3d.cli import COMMANDS, build
from kin3d.cli.options import processes
from kin3d.errors import RequestError, Severity
from kin3d.linkage.checking import check
from kin3d.linkage.keys import CarFile
from kin3d.linkage.record import Record, known_keys
from tests.cli.run import run
from tests.readme import GUIDE

NAMES = [c[0] for c in COMMANDS]


@pytest.fixture
def fresh(tmp_path: Path) -> Path:
    """A car as `kin3d new` writes it."""
    code, out, _ = run("new", str(tmp_path / "mine"))
    assert code == 0
    assert "kin3d check" in out
    return tmp_path / "mine" / "car.toml"


@pytest.mark.parametrize("name", NAMES)
def test_help_keeps_its_brackets_and_has_the_habits(name, monkeypatch):
    monkeypatch.setenv("COLUMNS", "400")
    code, out, _ = run(name, "--help")
    assert code == 0
    assert "--quiet" in out
    assert "--strict" in out
    assert "\\[" not in out
    if name == "tolerance":
        assert "[[front.shared_error]]" in out
    if name == "view":
        assert '"kin3d[viewer]"' in out


def test_quiet_says_nothing_but_errors(fresh):
    fresh.write_text("# mine\n", "utf-8")
    code, out, err = run("new", str(fresh.parent), "--quiet")
    assert (code, out) == (2, "")
    assert "car.toml" in err
    code, out, err = run("new", str(fresh.parent / "deeper"), "--quiet")
    assert (code, out, err) == (0, "", "")


def test_a_warning_is_a_failure_if_that_is_asked_for(fresh, tmp_path):
    text = fresh.read_text("utf-8").replace('drive = "rear"', 'drive = "rear"\nfront_drive_share = 0.35')
    fresh.write_text(text, "utf-8")
    asked = ("measures", "--axle", "front"), ("sweep", str(fresh), "--travel=0,5", "--measures=camber_deg")
    assert [run(*words, "--strict")[0] for words in asked] == [0, 1]
    code, out, err = run(*asked[1])
    assert code == 0
    assert "warning: " in err
    assert "camber" in out
    code, out, err = run(*asked[1], "--strict", "--quiet")
    assert (code, out) == (1, "")
    assert err.strip() == "1 warning: with --strict this counts as failure (exit code 1)."


def test_force_replaces_what_is_no_earlier_result(fresh, tmp_path):
    mine = tmp_path / "mine.csv"
    mine.write_text("written by hand\n", "utf-8")
    words = ("sweep", str(fresh), "--travel=0,5", "--measures=camber_deg", "--out", str(mine))
    code, _, err = run(*words)
    assert code == 2
    assert "--force to replace it" in err
    assert mine.read_text("utf-8") == "written by hand\n"
    assert run(*words, "--force")[0] == 0
    assert "camber_deg" in mine.read_text("utf-8")


def test_completion_is_offered():
    said = {**os.environ, "COLUMNS": "100"}
    shown = subprocess.run(
        [sys.executable, "-m", "kin3d", "--help"], capture_output=True, text=True, check=True, env=said
    )
    assert "--install-completion" in shown.stdout
    at_work = {**os.environ, "_KIN3D_COMPLETE": "complete_bash", "COMP_WORDS": "kin3d swe", "COMP_CWORD": "1"}
    code = "from kin3d.cli import main; import sys; sys.argv = ['kin3d']; main()"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False, env=at_work)
    assert done.stdout.split() == ["sweep"]


def test_a_command_alone_is_built_without_completion():
    assert not build("sweep")._add_completion
    assert len(build("sweep").registered_commands) == 1


def test_new_replaces_what_it_wrote_and_nothing_that_was_changed(fresh):
    assert run("new", str(fresh.parent))[0] == 0
    before = fresh.read_text("utf-8")
    fresh.write_text(before + "# mine\n", "utf-8")
    code, _, err = run("new", str(fresh.parent))
    assert code == 2
    assert "car.toml: is there already and is no earlier result of kin3d" in " ".join(err.split())
    assert fresh.read_text("utf-8").endswith("# mine\n")
    assert run("new", str(fresh.parent), "--force")[0] == 0
    assert fresh.read_text("utf-8") == before
    (fresh.parent / "file").write_text("x", "utf-8")
    code, _, err = run("new", str(fresh.parent / "file"))
    assert code == 2
    assert "cannot be made" in err


def test_a_new_car_runs_without_a_warning(fresh, tmp_path):
    car = str(fresh)
    read = kin3d.load(fresh)
    assert not [f for f in read.findings if f.severity is not Severity.NOTE]
    assert read.front.points.sigma_mm.min() > 0.0
    assert read.rear.points.sigma_mm.min() > 0.0
    page = tmp_path / "r.html"
    for words in (
        ("check", car),
        ("sweep", car),
        ("rates", car),
        ("settle", car, "--braking=1"),
        ("tolerance", car, "--travel=0", "--samples=100", "--workers=1"),
        ("compare", car, car, "--travel=-20:20:20", "--samples=200", "--workers=1"),
        ("report", car, car, "--travel=-20:20:20", "--samples=200", "--workers=1", "--no-scene", "--out", str(page)),
    ):
        code, out, err = run(*words, "--strict")
        assert code == 0, (words, err)
        assert "warning" not in out + err
    assert page.stat().st_size > 50_000


def _keys(model: type[Record]) -> set[str]:
    """Every key of a table of the car file and of the tables in it."""
    found = set()
    for name, key in known_keys(model).items():
        found.add(name)
        for part in _parts(key.kind):
            if isinstance(part, type) and issubclass(part, Record):
                found |= _keys(part)
    return found


def _parts(annotation: object) -> list[object]:
    inner = get_args(annotation)
    return [annotation, *(p for a in inner for p in _parts(a))]


def test_the_new_car_file_shows_every_key_and_what_is_commented_out_is_right():
    text = (GUIDE / "new" / "car.toml").read_text("utf-8")
    missing = [k for k in _keys(CarFile) | {"rod_on", "spring_on"} if k not in text]
    assert not missing
    lines = []
    for line in text.splitlines()[5:]:
        bare = line.removeprefix("# ")
        lines.append(bare)
    said = tomllib.loads("\n".join(lines))  # raises when a line that is commented out is no TOML
    for key in ("rod_on", "spring_on"):
        said["front"].pop(key, None)
        said["rear"].pop(key, None)
    assert check(CarFile, said, {})[1] == []


def test_workers_are_processes_and_none_is_one_a_processor(monkeypatch):
    monkeypatch.setattr("os.cpu_count", lambda: 6)
    assert [processes(n) for n in (0, 1, 3)] == [6, 1, 3]
    with pytest.raises(RequestError, match="--workers is -2"):
        processes(-2)


def test_every_page_of_the_guide_is_listed_and_printed():
    code, out, _ = run("guide")
    assert code == 0
    for page in GUIDE.glob("*.md"):
        assert f"  {page.stem} " in out
        code, text, _ = run("guide", page.stem)
        assert code == 0
        lines = [x for x in page.read_text("utf-8").splitlines() if not x.startswith("<!--")]
        assert text.splitlines() == lines
    code, _, err = run("guide", "pionts")
    assert code == 2
    assert "there are: clearance, comparing, doubt" in " ".join(err.split())


@pytest.mark.parametrize("name", NAMES)
def test_the_terminal_breaks_the_lines_of_a_help_text_and_not_the_source(name, monkeypatch):
    """On a wide terminal each paragraph before the options is one line, and none is set in."""
    monkeypatch.setenv("COLUMNS", "2000")
    _, out, _ = run(name, "--help")
    lines = [line.rstrip() for line in out.split("╭")[0].splitlines()]
    words = [line for line in lines if line]
    assert all(not line.startswith("  ") for line in words)
    assert all(not (a and b) for a, b in itertools.pairwise(lines))


def test_a_file_with_a_mistake_in_each_of_many_rows_does_not_flood_the_screen(fresh: Path) -> None:
    rows = [f"extra_{k},{k},1 mm,3" for k in range(3000)]
    (fresh.parent / "front.csv").write_text("\n".join(["point,x,y,z", *rows]), "utf-8")
    code, _, err = run("check", str(fresh))
    assert code == 2
    assert err.count("write the number alone") == 41
    assert "and 2,960 more of this kind; the last of them: " in err
    assert "row 3001: y is '1 mm'" in err
    assert "front.csv: has 2,960 more points that nothing uses" in err
    assert 'point "upper_outer" is missing' in err
    assert len(err.splitlines()) < 160


@pytest.mark.parametrize("asked", [["measures", "--axle", "front"], ["--version"]])
def test_a_full_disk_under_the_output_is_said_and_no_traceback(asked: list[str]) -> None:
    with open("/dev/full", "w", encoding="utf-8") as full:
        done = subprocess.run(
            [sys.executable, "-m", "kin3d", *asked], stdout=full, stderr=subprocess.PIPE, text=True, check=False
        )
    assert done.returncode == 2
    assert done.stderr == "error: the output cannot be written: No space left on device\n"
