"""Outputs never destroy, over all commands: the list of what writes comes from the command line's own options."""

from __future__ import annotations

import os
import resource
import shutil
import signal
import sys
import tempfile
from importlib import import_module
from pathlib import Path
from typing import get_args, get_type_hints

import pytest
from typer.models import OptionInfo

from kin3d.cli import COMMANDS
from kin3d.writing import files
from tests.cli.run import run

MODELS = Path(__file__).parents[2] / "models"
INPUTS = {"near", "known", "box", "names", "views", "ghost", "draft"}  # options that are read; a draft is a folder
NEEDED = {"swap": ["--to", "pull"], "sweep --migration": ["--roll=0:1:1"]}
NEEDED |= {"tune --curve": ["--trade", "1,4"]}
# A fourth want of the targets, against the first: a trade-off is drawn only where there is one.
AGAINST = '\n[[want]]\nmeasure = "roll_centre_height_mm"\nvalue = 35\nwithin = 6\n'
NEEDED |= {"forces --plot": ["--travel=-5:5:5"]}
QUICK = {
    "tolerance": ["--samples", "0", "--travel=0", "--sigma", "0.5"],
    "compare": ["--samples", "0", "--travel=0", "--sigma", "0.5"],
    "report": ["--samples", "0", "--travel=0", "--no-scene"],
    "sweep": ["--travel=0"],
    "settle": ["--lateral", "0.2"],
    "forces": ["--cases", "kerb"],
    "clearance": ["--travel=0:10:10"],
    "draw": [],
    "view": ["--range", "0:10:10", "--size", "320x240"],
    "export": ["--travel=0"],
}
ENDINGS = {"report --out": ".html", "export --out": ".dxf", "sweep --dxf": ".dxf", "draw --out": ".svg"}
ENDINGS |= {"forces --bodies": ".svg", "clearance --picture": ".svg", "compare --figure": ".svg"}
ENDINGS |= {"view --screenshot": ".png", "view --animation": ".gif", "view --scene": ".html"}


def writers():
    """Every option of every command that takes a path to write to: all paths that are neither arguments nor inputs."""
    out = []
    for name, module, function in COMMANDS:
        hints = get_type_hints(getattr(import_module(f"kin3d.cli.{module}"), function), include_extras=True)
        for option, hint in hints.items():
            base, *more = get_args(hint) if hasattr(hint, "__metadata__") else (hint,)
            named = any(isinstance(m, OptionInfo) for m in more)
            if named and Path in (base, *get_args(base)) and option not in INPUTS:
                out.append((name, f"--{option}"))
    return out


WRITERS = writers()


def ending(command, option):
    usual = ".svg" if option in ("--plot", "--migration", "--causes", "--curve") else ".csv"
    return ENDINGS.get(f"{command} {option}", usual)


def words(command, option, place, folder):
    own = {
        "measures": [],
        "layouts": ["twist beam"],
        "import": [str(MODELS / "plover" / "front.dxf")],
        "locate": [str(folder / "photos" / "front.photos.toml")],
    }
    given = own.get(command, [str(folder / "car.toml")])
    if command == "tune":
        given = [*given, str(folder / "targets.toml")]
    if command == "compare":
        given = [*given, str(MODELS / "plover" / "car.toml")]
    quick = [] if option == "--migration" else QUICK.get(command, [])
    more = [*NEEDED.get(command, []), *NEEDED.get(f"{command} {option}", []), *quick]
    if command in ("draw", "export", "report") and option != "--out":
        more += ["--out", str(folder / "other.svg")]
    return [command, *given, option, str(place), *more]


@pytest.fixture
def folder(tmp_path, monkeypatch):
    monkeypatch.setattr(files, "_read", set())
    shutil.copytree(MODELS / "dunlin", tmp_path / "car")
    targets = tmp_path / "car" / "targets.toml"
    before, keep, after = targets.read_text(encoding="utf-8").partition("[keep]")
    targets.write_text(before + AGAINST + keep + after, encoding="utf-8")
    return tmp_path / "car"


def test_the_list_has_the_writers_that_are_known():
    known = {("sweep", "--out"), ("sweep", "--dxf"), ("view", "--scene"), ("import", "--out"), ("compare", "--causes")}
    assert known <= set(WRITERS)


@pytest.mark.parametrize(("command", "option"), WRITERS)
def test_a_file_of_ones_own_is_kept_and_said_before_the_work(command, option, folder, monkeypatch):
    place = folder / f"mine{ending(command, option)}"
    place.write_text("point,x,y,z\nmine,1,2,3\n", encoding="utf-8")
    code, _, err = run(*words(command, option, place, folder))
    assert code == 2
    assert "no earlier result" in err
    assert "--force" in err
    assert "nothing was computed" in err
    assert place.read_text("utf-8").startswith("point,x,y,z\nmine")


@pytest.mark.parametrize(("command", "option"), [w for w in WRITERS if w[0] not in ("measures", "layouts")])
def test_an_input_is_never_replaced_not_even_by_force(command, option, folder):
    own = {"import": MODELS / "plover" / "front.dxf", "locate": folder / "photos" / "front.marks.csv"}
    source = own.get(command, folder / "front.csv")
    place = folder / f"link{ending(command, option)}"
    copied = folder / source.name if command == "import" else source
    if command == "import":
        shutil.copy(source, copied)
    place.symlink_to(copied)
    before = copied.read_bytes()
    asked = [str(copied) if w == str(source) else w for w in words(command, option, place, folder)]
    code, _, err = run(*asked, "--force")
    assert code == 2
    assert "is read by this same run" in " ".join(err.split())
    assert copied.read_bytes() == before


AGAIN = {w for w in WRITERS if w[0] not in ("view", "swap", "report", "compare", "settle", "locate")}


def hurt(monkeypatch, most):
    """Let the next writing die half-way in a copy of this process, and fail half-way in this one, as on a full disk.

    The system itself refuses more than `most` bytes of a file, whatever library writes it: it stops the copy by
    SIGXFSZ; here, where that signal is not heard, the write fails.
    """
    ends = []
    made = tempfile.mkstemp
    kept = resource.getrlimit(resource.RLIMIT_FSIZE)

    def mkstemp(**given):
        handle, name = made(**given)
        sys.stdout.flush()
        child = os.fork()
        resource.setrlimit(resource.RLIMIT_FSIZE, (most, kept[1]))
        if child:
            ends.append(os.waitpid(child, 0)[1])
        else:
            resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
            signal.signal(signal.SIGXFSZ, signal.SIG_DFL)
            os.fsync = lambda _: os._exit(3)
        return handle, name

    monkeypatch.setattr(tempfile, "mkstemp", mkstemp)
    return ends, lambda: resource.setrlimit(resource.RLIMIT_FSIZE, kept)


@pytest.mark.parametrize(("command", "option"), WRITERS)
def test_run_again_gives_the_same_bytes_and_a_kill_or_a_full_disk_keeps_them(command, option, folder, monkeypatch):
    place = folder / f"made{ending(command, option)}"
    asked = words(command, option, place, folder)
    place.write_text("measure,value\n" if place.suffix == ".csv" else files.MARK)
    if (command, option) in AGAIN:
        made = []
        for _ in range(2):
            code, _, err = run(*asked)
            assert code in (0, 1), err
            made.append(place.read_bytes())
        assert made[0] == made[1]
    older = place.read_bytes()
    ends, well = hurt(monkeypatch, max(100, len(older) // 2))
    try:
        code, _, err = run(*asked)
    finally:
        well()
    assert [os.WTERMSIG(e) for e in ends] == [signal.SIGXFSZ]
    assert code == 2
    assert "cannot be written: File too large" in " ".join(err.split())
    assert place.read_bytes() == older
    assert not [p for p in folder.iterdir() if p.name.startswith(".")]
