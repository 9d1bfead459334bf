"""``kin3d rates`` and ``kin3d swap`` as a person types them: output, files, exit codes, mistakes."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose

import kin3d
import kin3d.studies.swap
from tests.cli.run import run
from tests.labels import faults

CAR = str(Path(__file__).parents[2] / "models" / "dunlin" / "car.toml")
OFF = "rod_inner,-60,-58,300,302,300,302"
SPRING = "[front.spring]\nrate_n_per_mm = 38\ndesign_force_n = 1030\n"
WORDS = ("before: push-rod on the lower arm", "after: pull-rod on the upper arm", "tension positive", "pivot", "spring")


def test_rates_on_the_terminal_and_as_a_table(tmp_path: Path) -> None:
    code, out, _ = run("rates", CAR, "--travel=-20:20:20", "--out", str(tmp_path / "r.csv"))
    assert code == 0
    assert "front_roll_share_pct" in out
    assert "left out: roll_hz: [car] roll_inertia_kg_m2 is not given" in out
    with (tmp_path / "r.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert [r["element"] for r in rows[:3]] == ["spring", "bar", "sum"]
    swept = kin3d.sweep(kin3d.load(CAR), "front", [-20, 0, 20]).dataset()
    for k, row in enumerate(r for r in rows if r["element"] == "spring"):
        assert_allclose(float(row["heave_ratio"]), swept["motion_ratio"].values[k, 0, 0], rtol=1e-9)
        assert_allclose(float(row["heave_rate_n_per_mm"]), swept["wheel_rate_n_per_mm"].values[k, 0, 0], rtol=1e-9)


def test_an_axle_without_a_rocker_has_curves_of_rates_and_no_other_rod(tmp_path: Path) -> None:
    run("new", str(tmp_path), "--layout", "semi-trailing arm")
    car, picture = str(tmp_path / "car.toml"), tmp_path / "rates.svg"
    code, _, err = run("rates", car, "--axle", "rear", "--plot", str(picture))
    assert code == 0, err
    text = picture.read_text("utf-8")
    for words in ("Ratio in heave: spring", "Ratio in roll: spring", "Rate at a wheel", "Rate in roll", "N·m/deg"):
        assert words in text, words
    code, _, err = run("swap", car, "--axle", "rear", "--to", "pull")
    assert code == 2
    assert 'no rod, rocker and spring; layout "semi-trailing arm" has none: a layout of your own may' in err


def test_rates_of_an_axle_without_springs(tmp_path: Path) -> None:
    folder = Path(CAR).parent
    text = (folder / "car.toml").read_text("utf-8")
    for table in (SPRING, "[front.bar]\nrate_n_m_per_deg = 12\n"):
        assert table in text
        text = text.replace(table, "")
    (tmp_path / "car.toml").write_text(text.replace('"front.csv"', f'"{folder / "front.csv"}"').replace(
        '"rear.csv"', f'"{folder / "rear.csv"}"'), "utf-8")  # fmt: skip
    code, _, err = run("rates", str(tmp_path / "car.toml"))
    assert code == 2
    assert "the front axle has no spring: give [front.spring], [front.torsion], [front.bar] or [front.third]" in err


def test_swap_writes_a_car_and_a_picture(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(kin3d.studies.swap, "ENOUGH", 1)
    new, picture = tmp_path / "pull.toml", tmp_path / "pull.svg"
    code, out, _ = run("swap", CAR, "--to", "pull", "--out", str(new), "--plot", str(picture))
    assert code == 0
    assert "no difference" in out
    assert "default space, for points without a box" in out
    written = kin3d.load(new)
    assert written.front is not None
    assert written.front.rod_on == "upper arm"
    swept = [kin3d.sweep(c, "front", np.linspace(-30, 30, 7)).dataset() for c in (kin3d.load(CAR), written)]
    assert_allclose(swept[1]["motion_ratio"], swept[0]["motion_ratio"], rtol=5e-3)
    drawn = picture.read_text("utf-8")
    for word in WORDS:
        assert word in drawn
    assert faults(drawn) == []


def test_a_swap_shows_and_writes_itself(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(kin3d.studies.swap, "ENOUGH", 1)
    found = kin3d.studies.swap.swap(kin3d.load(CAR), "front", "pull", load=[2000.0])
    assert repr(found).startswith("<swap: Dunlin, last season, front axle: push-rod on the lower arm to pull-rod on")
    points, differences, _ = found.tables()
    assert {row[0] for row in points.rows} == set(found.moved)
    shown = {row[0]: row[1:] for row in differences.rows}
    assert shown["buckling load over rod force at 2000 N"][1] == "in tension"
    assert found.save(tmp_path / "s.csv") == len(found.before.travel_mm)
    with (tmp_path / "s.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    ratios = [[float(r[f"motion_ratio_{word}"]) for r in rows] for word in ("before", "after")]
    assert_allclose(ratios[1], ratios[0], rtol=5e-3)
    assert found.save(tmp_path / "s.toml") == len(found.moved)
    assert_allclose(kin3d.load(tmp_path / "s.toml").front.points["rod_inner"], found.moved["rod_inner"][1], atol=1e-6)


def test_swap_that_does_not_fit_writes_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(kin3d.studies.swap, "STARTS", 1)
    rows = ["point,x_min,x_max,y_min,y_max,z_min,z_max", "spring_outer,-40,-36,330,334,205,209"]
    (tmp_path / "box.csv").write_text("\n".join([*rows, "spring_inner,-60,-55,330,334,400,405", OFF]), "utf-8")
    new = tmp_path / "pull.toml"
    code, out, _ = run("swap", CAR, "--to", "pull", "--box", str(tmp_path / "box.csv"), "--out", str(new))
    assert code == 1
    assert "no layout found within 0.5 %: this is the nearest of 1 starts" in out
    assert "in the way: " in out
    assert not new.exists()


def test_swap_says_what_is_wrong_with_its_boxes(tmp_path: Path) -> None:
    (tmp_path / "box.csv").write_text("point,x_min\nrod_inner,1\n", "utf-8")
    code, _, err = run("swap", CAR, "--to", "pull", "--box", str(tmp_path / "box.csv"))
    assert code == 2
    assert "x_max, y_min, y_max, z_min, z_max missing" in err
    code, _, err = run("swap", CAR, "--to", "pull", "--mount", "wishbone")
    assert code == 2
    assert 'no rod can stand on "wishbone"' in err
