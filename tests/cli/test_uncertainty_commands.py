"""The commands tolerance, sensitivity and compare as a person types them."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose

import kin3d
from kin3d.studies.sensitivity import sensitivity
from kin3d.studies.tolerance import tolerance
from tests.cli.run import run

MODELS = Path(__file__).parents[2] / "models"
DUNLIN, PLOVER, SISKIN = (str(MODELS / n / "car.toml") for n in ("dunlin", "plover", "siskin"))
HEAD = {"png": b"\x89PNG", "svg": b"<svg", "pdf": b"%PDF"}


def table(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_tolerance_on_the_terminal_and_in_files(tmp_path):
    bands, shares, plot = (str(tmp_path / n) for n in ("b.csv", "s.csv", "b.svg"))
    options = ["--travel=-20:20:20", "--samples=500", "--measures=toe_deg,caster_deg"]
    code, out, _ = run("tolerance", SISKIN, *options, "--out", bands, "--shares", shares, "--plot", plot)
    assert code == 0
    out = " ".join(out.split())
    assert "bands from 500 sampled cars (Latin hypercube, seed 1)" in out
    assert "Sampled cars that could not be assembled: none." in out
    found = tolerance(kin3d.load(SISKIN), "front", [-20.0, 0.0, 20.0], ["toe_deg", "caster_deg"], samples=500)
    rows = table(tmp_path / "b.csv")
    assert len(rows) == 2 * 3
    low = [float(r["low_95_samples"]) for r in rows]
    assert_allclose(low, found.spread.low[0.95].ravel(), rtol=1e-10)
    assert_allclose(
        [float(r["sigma_first_order"]) for r in rows], found.first.sigma.ravel(), rtol=1e-10, atol=1e-15
    )
    parts: dict[tuple[str, str], float] = {}
    for r in table(tmp_path / "s.csv"):
        key = (r["measure"], r["travel_mm"])
        parts[key] = parts.get(key, 0.0) + float(r["share_pct"])
    assert_allclose([v for v in parts.values() if v], 100.0, rtol=1e-9)
    assert "Toe (deg)" in (tmp_path / "b.svg").read_text("utf-8")


def test_first_order_alone():
    code, out, _ = run("tolerance", SISKIN, "--travel=0", "--samples=0", "--sigma=2", "--measures=caster_deg")
    assert code == 0
    assert "first order alone" in out
    assert "Sampled cars" not in out


def test_sensitivity_on_the_terminal_and_in_files(tmp_path):
    options = ["--measures=camber_deg,caster_deg", "--at=12", "--most=2"]
    out_file, plot = str(tmp_path / "s.csv"), str(tmp_path / "h.png")
    code, out, _ = run("sensitivity", DUNLIN, *options, "--out", out_file, "--plot", plot)
    assert code == 0
    assert "travel +12 mm: change per mm" in out
    found = sensitivity(kin3d.load(DUNLIN), "front", ["camber_deg", "caster_deg"], travel=12.0)
    rows = table(tmp_path / "s.csv")
    assert_allclose([float(r["change_per_mm"]) for r in rows], found.slope.ravel(), rtol=1e-10, atol=1e-15)
    assert (rows[0]["point"], rows[1]["axis"]) == (found.points[0], "y")
    assert HEAD["png"] in (tmp_path / "h.png").read_bytes()[:20]


def test_comparison_on_the_terminal_and_in_files(tmp_path):
    files = [str(tmp_path / n) for n in ("l.csv", "p.csv", "c.pdf", "w.svg")]
    options = ["--out", files[0], "--parts", files[1], "--plot", files[2], "--causes", files[3]]
    code, out, _ = run("compare", DUNLIN, PLOVER, "--travel=-20:20:10", "--samples=300", *options)
    assert code == 0
    for said in (
        "A: Dunlin, last season",
        "B: Plover, this season",
        "can be said",
        "doubt alone stays under that in 95 % of all lines",
        "lines were judged",
        "Without a deviation, taken as exact in both cars: camber_deg, toe_deg, ",
        "only the upright's linkage is attributed",
        "The errors of the cars are taken as independent",
    ):
        assert said in " ".join(out.split())
    parts: dict[str, float] = {}
    for r in table(tmp_path / "p.csv"):
        if r["figure"] == "design":
            parts[r["measure"]] = parts.get(r["measure"], 0.0) + float(r["part"])
    differences = {
        r["measure"]: float(r["difference"]) for r in table(tmp_path / "l.csv") if r["figure"] == "design"
    }
    for name, total in parts.items():
        assert_allclose(total, differences[name], rtol=1e-9, atol=1e-9, err_msg=name)
    assert HEAD["pdf"] in (tmp_path / "c.pdf").read_bytes()[:20]
    assert "Roll-centre height (mm)" in (tmp_path / "w.svg").read_text("utf-8")


def test_fitting_is_said():
    code, out, _ = run("compare", DUNLIN, SISKIN, "--travel=0", "--samples=0", "--scale=track", "--align")
    assert code == 0
    assert "Fitted: Siskin: all lengths are multiplied by" in out
    assert "wheel centre stands on that of Dunlin" in " ".join(out.split())
    assert "nothing can be attributed" in out


MISTAKES = [
    (["tolerance", DUNLIN, "--samples=20"], "100 or more are expected"),
    (["tolerance", DUNLIN, "--out", "b.txt", "--samples=0"], 'ending ".txt" is not known'),
    (["sensitivity", DUNLIN, "--measures=cambr_deg"], 'did you mean "camber_deg"?'),
    (["compare", DUNLIN], "two or more are needed"),
    (["compare", DUNLIN, PLOVER, "--threshold=2"], "a probability over 0.5 and under 1 is expected"),
]


@pytest.mark.parametrize(("arguments", "text"), MISTAKES, ids=lambda v: v[0] if isinstance(v, list) else "")
def test_mistakes_are_told(arguments, text, monkeypatch, tmp_path):
    monkeypatch.chdir(tmp_path)
    code, _, err = run(*arguments)
    assert code == 2
    assert text in " ".join(err.split())


def test_no_figure_is_cut_on_a_narrow_terminal(monkeypatch):
    monkeypatch.setenv("COLUMNS", "80")
    _, out, _ = run("tolerance", DUNLIN, "--travel=-20:20:20", "--samples=200")
    found = tolerance(kin3d.load(DUNLIN), "front", [-20.0, 0.0, 20.0], ["roll_centre_height_mm"], samples=0)
    for value in np.ravel(found.first.value):
        assert f"{value:.2f}".replace("-", "−") in out


def test_what_is_out_of_reach_is_refused_or_makes_the_exit_code_1() -> None:
    few = ["--samples=0", "--measures=caster_deg"]
    code, _, err = run("tolerance", DUNLIN, "--travel=500", *few)
    assert code == 2
    assert "travel +500 mm: none of it is reached" in err
    assert run("tolerance", DUNLIN, "--travel=0,500", *few)[0] == 1
    assert run("compare", DUNLIN, PLOVER, "--travel=0,500", *few)[0] == 1
    assert run("compare", DUNLIN, PLOVER, "--travel=0,20", *few)[0] == 0
    code, _, err = run("rates", DUNLIN, "--travel=500")
    assert code == 1
    assert "travel +500 mm: not reached by both wheels" in err
    code, _, err = run("draw", DUNLIN, "--heave=500", "--out", "nothing.svg")
    assert code == 2
    assert "error: front left wheel: travel " in err
    assert "2 errors; nothing was computed." in err


def test_no_range_is_told_of_one_position() -> None:
    few = ["--samples=0", "--measures=caster_deg"]
    assert "Ranges:" in run("compare", DUNLIN, PLOVER, "--travel=0,20", *few)[1]
    assert "Ranges:" not in run("compare", DUNLIN, PLOVER, "--travel=20", *few)[1]


def test_mistakes_in_several_car_files_are_told_at_once() -> None:
    for command in ("compare", "report"):
        code, _, err = run(command, "none.toml", DUNLIN, "neither.toml")
        assert code == 2
        assert "none.toml: there is no such file" in err
        assert "neither.toml: there is no such file" in err
        assert "2 errors" in err
