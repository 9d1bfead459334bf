"""The commands as a person types them: output, files, exit codes, and the text of every mistake."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import numpy as np
import pytest
import xarray
from numpy.testing import assert_allclose

import kin3d
from kin3d.errors import Finding, RequestError
from tests.cli.run import run

CAR = str(Path(__file__).parents[2] / "models" / "siskin" / "car.toml")


def test_table_on_the_terminal():
    code, out, _ = run("sweep", CAR, "--travel", "-20:20:10")
    assert code == 0
    assert "Siskin, front axle" in out
    assert "camber" in out
    assert "right side shows the same" in out
    assert "…" not in out  # no figure is cut


def test_csv_is_tidy_and_holds_what_the_python_face_gives(tmp_path):
    code, _, _ = run("sweep", CAR, "--travel=-20:20:10", "--rack=-5,5", "--out", str(tmp_path / "r.csv"))
    assert code == 0
    with (tmp_path / "r.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert list(rows[0])[:4] == ["travel_mm", "rack_mm", "side", "camber_deg"]
    assert len(rows) == 5 * 2 * 2
    data = kin3d.sweep(kin3d.load(CAR), "front", np.arange(-20, 21, 10), [-5, 5]).dataset()
    for row in rows:
        here = data.sel(travel_mm=float(row["travel_mm"]), rack_mm=float(row["rack_mm"]), side=row["side"])
        assert_allclose(float(row["camber_deg"]), float(here.camber_deg), rtol=1e-11, atol=1e-13)
        assert row["status"] == "ok"


def test_netcdf_and_json_hold_the_same(tmp_path):
    for ending in ("nc", "json"):
        assert run("sweep", CAR, "--travel=-20:20:20", "--out", str(tmp_path / f"r.{ending}"))[0] == 0
    data = xarray.load_dataset(tmp_path / "r.nc", engine="scipy")
    content = json.loads((tmp_path / "r.json").read_text("utf-8"))
    swept = content["tables"]["sweep"]
    column = next(k for k, c in enumerate(swept["columns"]) if c == {"name": "toe_deg", "unit": "deg"})
    assert_allclose([r[column] for r in swept["rows"]], data.toe_deg.values.ravel(), rtol=1e-11, atol=1e-13)
    assert data.toe_deg.attrs["units"] == "deg"
    assert "toe-in positive" in next(r for r in content["tables"]["measures"]["rows"] if r[0] == "toe_deg")


@pytest.mark.parametrize("ending", ["png", "svg", "pdf"])
def test_curves_are_drawn(tmp_path, ending):
    target = tmp_path / f"c.{ending}"
    assert run("sweep", CAR, "--travel=-20:20:5", "--plot", str(target), "--measures", "camber_deg,toe_deg")[0] == 0
    head = target.read_bytes()[:600]
    assert {"png": b"\x89PNG", "svg": b"<svg", "pdf": b"%PDF"}[ending] in head


def test_svg_keeps_text_as_text(tmp_path):
    run("sweep", CAR, "--travel=-20:20:5", "--plot", str(tmp_path / "c.svg"), "--measures", "camber_deg")
    assert "Camber (deg)" in (tmp_path / "c.svg").read_text("utf-8")


def test_positions_out_of_reach_are_empty_and_said(tmp_path):
    code, _, err = run("sweep", CAR, "--travel=-700,0,20", "--out", str(tmp_path / "r.csv"))
    assert code == 1
    assert "is the limit" in err
    with (tmp_path / "r.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert [r["status"] for r in rows] == ["limit", "limit", "ok", "ok", "ok", "ok"]
    assert rows[0]["camber_deg"] == ""
    assert rows[2]["camber_deg"] != ""


MISTAKES = [
    (["sweep", "nowhere.toml"], "nowhere.toml: there is no such file"),
    (["sweep", CAR, "--travel", "a:b:c"], "expected START:STOP:STEP (both ends included"),
    (["sweep", CAR, "--travel", "0:10:-1"], "the step must lead from START to STOP"),
    (["sweep", CAR, "--travel", "0:10:3"], "the step does not divide the range, so that STOP would be left out"),
    (["sweep", CAR, "--travel", "0:9e6:1"], "the range has more than 200,000 values"),
    (["sweep", CAR, "--travel", "nan"], "not a finite number"),
    (["sweep", CAR, "--axle", "rear"], "the car file has no [rear] axle; it has: front"),
    (
        ["sweep", CAR, "--measures", "chamber_deg"],
        'no measure "chamber_deg" on the front axle; did you mean "camber_deg"?',
    ),
    (["sweep", CAR, "--out", "result.xls"], 'ending ".xls" is not known; expected one of .csv, .json, .nc'),
    (["sweep", CAR, "--plot", "curves.bmp"], 'ending ".bmp" is not known; expected one of .png, .svg, .pdf'),
    (["sweep", CAR, "--out", "no/such/folder/r.csv"], "is not there; make it first"),
]


@pytest.mark.parametrize(("arguments", "text"), MISTAKES)
def test_mistakes_are_answered_in_words(arguments, text):
    code, _, err = run(*arguments)
    assert code == 2
    assert text in " ".join(err.split())
    assert "Traceback" not in err


def test_check_says_mobility_reach_and_what_is_left_out():
    code, out, _ = run("check", CAR)
    flat = " ".join(out.split())
    assert code == 0
    assert "9 unknown coordinates, 9 equations, rank 9: travel and rack determine every position" in flat
    assert "droop: 150 mm and more" in flat
    assert "left out: wheel_rate_n_per_mm: [front.spring] and [front.torsion] are not given" in flat


def test_measures_lists_definitions():
    code, out, _ = run("measures", "--axle", "rear")
    assert code == 0
    assert "anti_squat_pct" in out
    assert "anti_dive_pct" not in out
    assert "W. F. Milliken" in out


DUNLIN = str(Path(__file__).parents[2] / "models" / "dunlin" / "car.toml")


def asymmetric(folder: Path, title: str = "Dunlin") -> str:
    """Dunlin's front axle with points for both sides; the right spring's inner end stands 40 mm further forward."""
    models = Path(DUNLIN).parent
    text = (models / "front.csv").read_text("utf-8")
    (folder / "front.csv").write_text(text, "utf-8")
    rows = [line.split(",") for line in text.splitlines() if not line.startswith("#")]
    mirrored = [rows[0], *([n, x, str(-float(y)), *rest] for n, x, y, *rest in rows[1:])]
    moved = [[n, str(float(x) + 40.0 * (n == "spring_inner")), *rest] for n, x, *rest in mirrored[1:]]
    (folder / "right.csv").write_text("\n".join(",".join(r) for r in [rows[0], *moved]), "utf-8")
    car = (models / "car.toml").read_text("utf-8").partition("[rear]")[0]
    car = car.replace("Dunlin, last season", title).replace('"front.csv"', '"front.csv"\nother_points = "right.csv"')
    (folder / "car.toml").write_text(car, "utf-8")
    return str(folder / "car.toml")


@pytest.mark.parametrize("width", ["30", "40", "60", "80"])
def test_no_figure_is_cut_in_a_narrow_terminal(monkeypatch, width):
    monkeypatch.setenv("COLUMNS", width)
    _, out, _ = run("sweep", DUNLIN, "--travel=-10:10:10", "--rack=-5,5")
    assert "…" not in out
    assert "0.7816" not in out  # rack is not 0 here
    _, out, _ = run("sweep", DUNLIN, "--travel=-10:10:10")
    assert "0.7816" in out
    _, out, _ = run("check", DUNLIN, "--axle", "front")
    assert "−1056.98" in out
    assert "…" not in out


def test_sides_that_differ_in_a_chosen_measure_are_both_shown(tmp_path):
    for car, name, drives in (
        (DUNLIN, "steer_deg", ("--travel", "0", "--rack", "5,10")),
        (DUNLIN, "wheel_y_mm", ("--travel", "0,5")),
        (asymmetric(tmp_path), "spring_length_mm", ("--travel", "0,5")),
    ):
        _, out, _ = run("sweep", car, *drives, "--measures", name)
        assert "same figures" not in out
        assert out.count("right") == 2


def test_check_shows_both_sides_where_both_have_points(tmp_path):
    _, out, _ = run("check", asymmetric(tmp_path))
    assert "design position, left side" in out
    assert "design position, right side" in out
    assert "right side, droop: " in out
    _, out, _ = run("check", DUNLIN, "--axle", "front")
    assert "right side" not in out


def test_drives_that_are_held_stand_in_the_title_and_only_what_was_solved_is_counted():
    _, out, _ = run("sweep", DUNLIN, "--travel", "0", "--rack", "5", "--measures", "camber_deg")
    assert "front axle, rack 5 mm" in out
    assert "2 positions solved" in out
    _, out, _ = run("sweep", DUNLIN, "--travel", "0,300", "--measures", "camber_deg")
    assert "2 of 4 positions solved" in out
    _, out, _ = run("sweep", DUNLIN, "--travel", "300,400", "--measures", "camber_deg")
    assert "None of 4 positions was reached." in out


def test_limits_of_many_racks_are_one_sentence_for_each_direction():
    code, _, err = run("sweep", DUNLIN, "--travel=-200:200:200", "--rack=-20:20:10", "--measures", "camber_deg")
    assert code == 1
    said = [" ".join(line.split()) for line in err.splitlines() if "is the limit" in line]
    assert len(said) == 2
    assert said[0].startswith("warning: left and right wheels: travel -8")
    assert "10 positions asked for are beyond it" in said[0]


def test_brackets_and_dollars_in_a_title_are_no_markup(tmp_path):
    car = asymmetric(tmp_path, "[/bold] [red]Ü[/red] $x_$ 100 %")
    for arguments in (("check", car), ("sweep", car, "--travel", "0,5")):
        code, out, _ = run(*arguments)
        assert code == 0
        assert "[/bold] [red]Ü[/red] $x_$ 100 %" in out
    target = tmp_path / "c [b].svg"
    code, out, _ = run("sweep", car, "--travel", "0,5", "--plot", str(target))
    assert code == 0
    assert "$x_$" in target.read_text("utf-8")
    assert "c [b].svg" in out


REFUSED = [
    (["sweep", DUNLIN, "--measures", ","], "no measure is named; kin3d measures lists them"),
    (["sweep", DUNLIN, "--travel", "nan:1:1"], '--travel "nan:1:1": not a finite number'),
    (["sweep", DUNLIN, "--travel", "0:1000:0.5", "--rack", "0:1000:0.5"], "make 4,004,001 positions; 500,000 or fewer"),
]


@pytest.mark.parametrize(("arguments", "text"), REFUSED)
def test_requests_are_refused_before_the_work(monkeypatch, arguments, text):
    monkeypatch.setattr("kin3d.studies.loading.implausible", lambda _car: ())
    monkeypatch.setattr("kin3d.solve.kernel.Kernel.solve", None)
    test_mistakes_are_answered_in_words(arguments, text)


def test_endings_are_looked_at_before_the_work(monkeypatch):
    monkeypatch.setattr("kin3d.solve.kernel.Kernel.solve", None)
    code, _, err = run("sweep", DUNLIN, "--out", "r.csv", "--plot", "c.bmp")
    assert code == 2
    assert "nothing was computed" in err
    assert not Path("r.csv").exists()


def test_what_cannot_be_written_is_not_called_uncomputed(tmp_path, monkeypatch):
    def full(path, content):
        raise RequestError(Finding("not-written", "cannot be written: No space left on device", str(path)))

    monkeypatch.setattr("kin3d.writing.result.write_file", full)
    code, _, err = run("sweep", CAR, "--travel", "0,5", "--out", str(tmp_path / "r.csv"))
    assert code == 2
    assert "cannot be written" in err
    assert "nothing was computed" not in err


def test_a_folder_in_place_of_a_file_is_told_before_the_work(tmp_path, monkeypatch):
    monkeypatch.setattr("kin3d.solve.kernel.Kernel.solve", None)
    (tmp_path / "r.csv").mkdir()
    code, _, err = run("sweep", CAR, "--travel", "0,5", "--out", str(tmp_path / "r.csv"))
    assert code == 2
    assert "is a folder; give the name of a file in it" in err
    assert "nothing was computed" in err


@pytest.mark.parametrize(
    ("wrong", "text"),
    [
        ({"axle": "middle"}, r"has no \[middle\] axle; it has: front, rear"),
        ({"travel": "abc"}, "travel: expected one or more finite numbers in mm, found 'abc'"),
        ({"travel": [[1.0], [2.0]]}, "travel: expected one or more finite numbers in mm"),
        ({"rack": float("nan")}, "rack: expected one or more finite numbers in mm, found nan"),
        ({"measures": []}, "no measure is named"),
    ],
)
def test_the_python_face_refuses_in_words(wrong, text):
    with pytest.raises(kin3d.Kin3dError, match=text):
        kin3d.sweep(kin3d.load(DUNLIN), **wrong).dataset()


def test_one_measure_may_be_named_alone():
    assert set(kin3d.sweep(kin3d.load(CAR), measures="camber_deg").dataset().data_vars) == {"camber_deg", "status"}


def test_a_letter_that_the_font_lacks_is_no_noise(tmp_path):
    """Warnings are errors in the tests: the picture comes without one."""
    assert run("sweep", asymmetric(tmp_path, "Ü車"), "--travel", "0,5", "--plot", str(tmp_path / "c.png"))[0] == 0
