"""Outputs never destroy: what is refused, what is replaced, and that a failure leaves the older file as it was."""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import sys
from pathlib import Path

import pytest
import trimesh
from PIL import Image

import kin3d
from kin3d.errors import RequestError
from kin3d.linkage.car import MeshFile
from kin3d.reading.picture import read_picture
from kin3d.reading.text import FindingLog
from kin3d.writing import files
from kin3d.writing.files import MARK, check_place, note_read, replacing, whole_file, with_sum, write_file
from kin3d_viewer.solids import read_solid

MODELS = Path(__file__).parents[2] / "models"
ENDINGS = (".csv", ".json", ".svg", ".toml")


def refused(call):
    with pytest.raises(RequestError) as caught:
        call()
    (finding,) = caught.value.findings
    return finding


@pytest.fixture(autouse=True)
def fresh(monkeypatch):
    monkeypatch.setattr(files, "_read", set())


def test_a_file_of_ones_own_is_not_replaced(tmp_path):
    place = tmp_path / "notes.csv"
    place.write_text("point,x,y,z\nlower_front,1,2,3\n")
    finding = refused(lambda: check_place(place, ENDINGS, "--out"))
    assert finding.code == "place-taken"
    assert finding.place == str(place)
    assert "--force" in finding.text
    assert refused(lambda: write_file(place, "x")).code == "place-taken"
    assert place.read_text() == "point,x,y,z\nlower_front,1,2,3\n"
    with replacing():
        write_file(place, "measure,value\n")
    assert place.read_text() == "measure,value\n"


@pytest.mark.parametrize(
    ("name", "content"),
    [
        ("a.csv", "travel_mm,side,camber_deg,status\n0,left,1,ok\n"),
        ("a.csv", "measure,unit,value\n"),
        ("a.json", f'{{"generator": "{MARK}"}}'),
        ("a.svg", f"<svg><!-- {MARK} --></svg>"),
        ("a.toml", with_sum('title = "x"\n')),
        ("a.csv", with_sum("point,x,y,z\n")),
        ("a.csv", ""),
    ],
)
def test_an_earlier_result_is_replaced_without_a_word(tmp_path, name, content):
    place = tmp_path / name
    place.write_text(content)
    write_file(place, "new")
    assert place.read_text() == "new"


@pytest.mark.parametrize(
    ("name", "content"),
    [
        ("a.csv", "point,x,y,z,unit\n"),
        ("a.csv", "Measure,Value\n1,2\n"),
        ("a.json", '{"mine": 1}'),
        ("a.toml", 'title = "mine"\n'),
        ("a.toml", with_sum('title = "x"\n') + "mass_kg = 3\n"),
        ("a.csv", with_sum("point,x,y,z\n").replace("x,y", "X,y")),
        ("a.svg", "<svg/>"),
    ],
)
def test_what_somebody_wrote_or_changed_is_kept(tmp_path, name, content):
    place = tmp_path / name
    place.write_text(content)
    assert refused(lambda: check_place(place, ENDINGS, "--out")).code == "place-taken"
    assert place.read_text() == content


def test_a_file_that_was_read_is_never_replaced(tmp_path):
    place, link = tmp_path / "a.csv", tmp_path / "b.csv"
    place.write_text("measure,value\n")
    link.symlink_to(place)
    note_read(link)
    for name in (place, link, tmp_path / "x" / ".." / "a.csv"):
        (tmp_path / "x").mkdir(exist_ok=True)
        with replacing():
            assert refused(lambda name=name: write_file(name, "new")).code == "place-input"
    assert place.read_text() == "measure,value\n"


def read_a_car(folder):
    shutil.copytree(MODELS / "siskin", folder / "car")
    kin3d.load(folder / "car" / "car.toml")
    return [folder / "car" / n for n in ("car.toml", "five_link.toml", "front.csv")]


def read_a_drawing(folder):
    for name in ("front.dxf", "front.views.toml"):
        shutil.copy(MODELS / "plover" / name, folder)
    (folder / "names.csv").write_text("label,point\nA,lower_front\n")
    kin3d.import_drawing(folder / "front.dxf", names=folder / "names.csv")
    return [folder / n for n in ("front.dxf", "front.views.toml", "names.csv")]


def read_a_picture(folder):
    Image.new("RGB", (60, 40)).save(folder / "pit.jpg")
    read_picture(folder / "pit.jpg", "", FindingLog(""))
    return [folder / "pit.jpg"]


def read_a_mesh(folder):
    (folder / "hub.stl").write_bytes(trimesh.creation.box().export(file_type="stl"))
    read_solid(MeshFile(folder / "hub.stl", ((1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0))))
    return [folder / "hub.stl"]


@pytest.mark.parametrize("read", [read_a_car, read_a_drawing, read_a_picture, read_a_mesh])
def test_every_kind_of_file_that_was_read_is_kept_even_with_force(tmp_path, read):
    for place in read(tmp_path):
        before = place.read_bytes()
        with replacing():
            assert refused(lambda place=place: write_file(place, "new")).code == "place-input", place.name
        assert place.read_bytes() == before


def test_folders_devices_and_missing_folders_are_told(tmp_path):
    (tmp_path / "f.csv").mkdir()
    os.mkfifo(tmp_path / "p.csv")
    (tmp_path / "plain").write_text("")
    said = {
        "f.csv": ("place-folder", "is a folder"),
        "p.csv": ("place-device", "device or pipe"),
        "none/a.csv": ("folder-missing", "make it first"),
        "plain/a.csv": ("folder-missing", "is not a folder"),
        "a.doc": ("ending-unknown", 'ending ".doc" is not known; expected one of .csv'),
    }
    for name, (code, words) in said.items():
        finding = refused(lambda name=name: check_place(tmp_path / name, ENDINGS, "--out"))
        assert finding.code == code
        assert words in finding.text


def test_a_failure_half_way_leaves_the_older_file(tmp_path, monkeypatch):
    place = tmp_path / "a.csv"
    place.write_text("measure,value\nold,1\n")

    def full(self, data):
        with Path.open(self, "wb") as file:
            file.write(data[:3])
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Path, "write_bytes", full)
    finding = refused(lambda: write_file(place, "measure,value\nnew,2\n"))
    assert finding.code == "not-written"
    assert "No space left on device" in finding.text
    assert place.read_text() == "measure,value\nold,1\n"
    assert sorted(p.name for p in tmp_path.iterdir()) == ["a.csv"]


def test_a_stop_half_way_leaves_the_older_file(tmp_path):
    place = tmp_path / "a.csv"
    place.write_text("measure,value\nold,1\n")

    def stopped():
        with whole_file(place) as beside:
            beside.write_text("half")
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        stopped()
    assert place.read_text() == "measure,value\nold,1\n"
    assert sorted(p.name for p in tmp_path.iterdir()) == ["a.csv"]


def test_a_link_goes_on_pointing_and_rights_are_kept(tmp_path):
    place, link = tmp_path / "a.csv", tmp_path / "l.csv"
    place.write_text("measure,value\n")
    place.chmod(0o640)
    link.symlink_to(place.name)
    write_file(link, "measure,value\nx,1\n")
    assert link.is_symlink()
    assert place.read_text() == "measure,value\nx,1\n"
    assert place.stat().st_mode & 0o777 == 0o640


@pytest.mark.parametrize("ending", [".png", ".svg", ".pdf"])
def test_pictures_carry_the_mark_and_are_the_same_when_drawn_again(tmp_path, ending):
    import matplotlib as mpl
    from matplotlib.figure import Figure

    from kin3d.writing.style import figure_style, save_figure

    place, drawn = tmp_path / f"a{ending}", []
    for _ in range(2):
        with mpl.rc_context(figure_style()):
            figure = Figure()
            figure.add_subplot().plot([0, 1], [1, 0], label="a")
            save_figure(figure, place)
        drawn.append(place.read_bytes())
    assert drawn[0] == drawn[1]
    assert files.earlier_result(place)


def test_a_table_that_another_car_reads_is_not_rewritten(tmp_path, monkeypatch):
    import kin3d
    from kin3d.reading.car_writing import write_car

    car = kin3d.load(Path(__file__).parents[2] / "models" / "dunlin" / "car.toml")
    write_car(car, tmp_path / "a.toml")
    write_car(car, tmp_path / "a.toml")  # its own tables are named by it and are replaced
    (tmp_path / "b.toml").write_text((tmp_path / "a.toml").read_text("utf-8"), "utf-8")
    before = (tmp_path / "a_front.csv").read_bytes()
    for forced in (False, True):
        with replacing(forced):
            finding = refused(lambda: write_car(car, tmp_path / "a.toml"))
        assert finding.code == "table-of-another"
        assert "b.toml" in finding.text
    assert (tmp_path / "a_front.csv").read_bytes() == before


def test_a_kill_before_the_move_leaves_the_older_file(tmp_path):
    place = tmp_path / "a.csv"
    place.write_text("measure,value\nold,1\n")
    program = (
        "import os, signal, sys\nfrom pathlib import Path\nfrom kin3d.writing import files\n"
        "files.os.fsync = lambda _: os.kill(os.getpid(), signal.SIGKILL)\n"
        "files.write_file(Path(sys.argv[1]), 'measure,value\\nnew,2\\n')\n"
    )
    done = subprocess.run([sys.executable, "-c", program, str(place)], check=False, timeout=60)
    assert done.returncode == -signal.SIGKILL
    assert place.read_text() == "measure,value\nold,1\n"


def test_a_file_that_was_written_and_read_back_may_be_written_again(tmp_path):
    place = tmp_path / "a.csv"
    write_file(place, "measure,value\n")
    files.read_file(place)
    write_file(place, "measure,value\nx,1\n")
    assert place.read_text() == "measure,value\nx,1\n"


def test_what_is_planned_to_be_written_is_refused_when_it_is_read(tmp_path):
    place = tmp_path / "a.csv"
    place.write_text("measure,value\n")
    with replacing():
        files.plan(place)
        assert refused(lambda: files.read_file(place)).code == "place-input"
