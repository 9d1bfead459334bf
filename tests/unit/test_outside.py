"""Faults from outside: scripts in titles, formulas in cells, devices, big tables, damaged meshes, killed parents."""

from __future__ import annotations

import csv
import io
import json
import os
import re
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

import kin3d
from kin3d.errors import Kin3dError, ReadingError
from kin3d.reading.points import read_points_csv, write_points_csv
from kin3d.writing.tables import Table, csv_text
from tests.by_hand import mutated
from tests.cli.run import run

MODELS = Path(__file__).parents[2] / "models"
FRAME = {"units": "mm", "axes": "x forward, y left, z up"}
EVIL = 'x@DATA@</script><script>alert(1)</script><!--<script>@TITLE@"&'


def test_a_script_in_a_title_is_inert_in_the_page(tmp_path):
    model, page, pictures, session = (
        __import__(f"kin3d_viewer.{n}", fromlist=["x"]) for n in ("model", "page", "pictures", "session")
    )
    text = (MODELS / "dunlin" / "car.toml").read_text("utf-8")
    for name in ("front.csv", "rear.csv"):
        (tmp_path / name).write_bytes((MODELS / "dunlin" / name).read_bytes())
    file = tmp_path / "car.toml"
    file.write_text(re.sub(r"(?m)^title = .*$", lambda _: f"title = '{EVIL}'", text, count=1), "utf-8")
    shown = session.Session.of(kin3d.load(file), "front", model.Drives())
    made = page.page(shown, pictures.PictureOptions())
    assert made.count("<script") == 2  # the data and the program
    assert made.count("</script>") == 2
    assert "<!--<" not in made
    data = json.loads(re.search(r'id="data">(.*)</script>\n', made).group(1))
    assert data["title"] == EVIL
    assert made == page.page(shown, pictures.PictureOptions())


def test_a_cell_is_no_formula_and_a_number_stays_one(tmp_path):
    words = ["=1+1", "+cmd", "-x", "@sum", "\tx", "plain", "-1.5", "+3e5"]
    rows = list(csv.reader(io.StringIO(csv_text(Table.of("t", ["word", "value"], [(w, -2.5) for w in words])))))[1:]
    assert [r[0] for r in rows] == ["'=1+1", "'+cmd", "'-x", "'@sum", "'\tx", "plain", "-1.5", "+3e5"]
    assert {r[1] for r in rows} == {"-2.5"}
    source = tmp_path / "a.csv"
    source.write_text('point,x,y,z,note\na,1,2,3,"=HYPERLINK(1)"\nb,1,2,4,\'own words\n', "utf-8")
    table = read_points_csv(source, **FRAME)
    write_points_csv(table, tmp_path / "b.csv")
    assert "'=HYPERLINK(1)" in (tmp_path / "b.csv").read_text("utf-8")
    assert read_points_csv(tmp_path / "b.csv", **FRAME).notes == table.notes == ("=HYPERLINK(1)", "'own words")


def test_a_table_of_20000_rows_is_read_in_linear_time(tmp_path):
    took = []
    for count in (5_000, 20_000):
        file = tmp_path / f"{count}.csv"
        rows = "".join(f"p{k},{k}.5,2,3{',9' if k % 3 else ''}\n" for k in range(count))
        file.write_text(f"point,x,y,z\n{rows}", "utf-8")
        start = time.process_time()
        with pytest.raises(ReadingError):
            read_points_csv(file, **FRAME)
        took.append(time.process_time() - start)
    assert took[1] < 10.0 * took[0] + 0.5
    assert took[1] < 15.0


@pytest.mark.parametrize("place", ["/dev/zero", "pipe", "/"])
def test_what_is_no_file_is_not_opened(tmp_path, place):
    os.mkfifo(tmp_path / "pipe")
    for command in ("check", "import"):
        code, _, err = run(command, str(tmp_path / place))
        assert code == 2
        assert "device or pipe" in err or "is a folder" in err


def test_a_strangers_layout_path_quotes_nothing(tmp_path):
    (tmp_path / "secret").write_text("hunter:x:0:0:password\n", "utf-8")
    text = (MODELS / "dunlin" / "car.toml").read_text("utf-8")
    for name in ("front.csv", "rear.csv"):
        (tmp_path / name).write_bytes((MODELS / "dunlin" / name).read_bytes())
    file = tmp_path / "car.toml"
    file.write_text(re.sub(r"(?m)^layout = .*$", 'layout = "./secret"', text, count=1), "utf-8")
    with pytest.raises(Kin3dError) as told:
        kin3d.load(file)
    assert "is no TOML" in str(told.value)
    assert "hunter" not in str(told.value)
    assert "password" not in str(told.value)


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--samples", "1000000000"), "fit into memory"),
        (("--seed", "-1", "--samples", "200"), "seed is -1"),
        (("--workers", "-3"), "--workers is -3"),
        (("--travel=0:1e6:0.001",), "more than 200,000 values"),
        (("--travel=1e300",), "beyond 1e+07"),
        (("--sigma", "nan"), "--sigma is nan"),
    ],
)
def test_numbers_beyond_measure_get_a_sentence(words, said):
    given = (*words, "--travel=0") if not words[0].startswith("--travel") else words
    code, _, err = run("tolerance", str(MODELS / "dunlin" / "car.toml"), *given)
    assert code == 2
    assert said in err


@pytest.mark.parametrize("encoding", ["ascii", "cp1252"])
def test_any_terminal_can_show_the_output(encoding):
    told = {**os.environ, "PYTHONIOENCODING": encoding}
    done = subprocess.run(
        [sys.executable, "-m", "kin3d", "measures"], env=told, capture_output=True, timeout=120, check=False
    )
    assert done.returncode == 0
    assert b"Traceback" not in done.stderr
    done.stdout.decode(encoding)


def test_damaged_meshes_get_a_sentence(tmp_path):
    from kin3d.linkage.car import MeshFile
    from kin3d_viewer.solids import read_solid

    ascii_stl = b"solid x\nfacet normal 0 0 1\nouter loop\nvertex 0 0 0\nvertex 1e300 0 0\nvertex nan 1 0\n"
    given = {
        "a.stl": b"\x00" * 80 + b"\xff\xff\xff\x7f" + b"\x00" * 50,
        "b.stl": ascii_stl + b"endloop\nendfacet\nendsolid x\n",
        "c.obj": b"mtllib /etc/passwd\nv 0 0 0\nf 1 2 999999999\n",
        "d.glb": b"glTF\x02\x00\x00\x00\xff\xff\xff\x7f" + b"\x00" * 40,
        "e.obj": b"",
    }
    for name, raw in given.items():
        (tmp_path / name).write_bytes(raw)
        mesh = MeshFile(tmp_path / name, ((1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0)))
        with pytest.raises(ReadingError) as told:
            read_solid(mesh)
        assert name in str(told.value)


PARENT = """
import multiprocessing, sys, time
from pathlib import Path
from kin3d.studies import monte_carlo
import kin3d
if __name__ == "__main__":
    car = kin3d.load({car!r})
    monte_carlo.WORTH_PROCESSES = 1
    monte_carlo.PIECE_LANES = 100
    def told(done, total):
        print(*(p.pid for p in multiprocessing.active_children()), flush=True)
        time.sleep(60)
    kin3d.tolerance(car, "front", [0.0, 5.0], sigma=0.5, samples=20000, workers=2, progress=told)
"""


def test_workers_end_when_their_parent_is_killed(tmp_path):
    script = tmp_path / "parent.py"
    script.write_text(PARENT.format(car=str(MODELS / "dunlin" / "car.toml")), "utf-8")
    with subprocess.Popen([sys.executable, str(script)], stdout=subprocess.PIPE, text=True) as parent:
        workers = [int(w) for w in parent.stdout.readline().split()]
        parent.send_signal(signal.SIGKILL)
    assert len(workers) == 2
    limit = time.monotonic() + 20.0
    while time.monotonic() < limit and any(_runs(w) for w in workers):
        time.sleep(0.1)
    assert not [w for w in workers if _runs(w)]


def _runs(process: int) -> bool:
    try:
        return Path(f"/proc/{process}/stat").read_text("utf-8").rpartition(")")[2].split()[0] != "Z"
    except OSError:
        return False


@pytest.mark.parametrize(("kind", "count"), [("cars", 60), ("layouts", 60), ("drawings", 15), ("commands", 12)])
def test_damaged_inputs_end_in_a_sentence(kind, count):
    counts, bad = mutated.run_kind(kind, count, seed=7)
    assert sum(counts.values()) == count
    assert not bad
