"""The command locate as a person types it."""

from __future__ import annotations

import csv

import pytest

from tests.cli.run import run
from tests.photo_cars import photographed


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    place = tmp_path_factory.mktemp("photos")
    photographed(place, 11, names=("dunlin",))
    return place


def test_points_on_the_terminal_and_in_files(folder, tmp_path):
    out, plot = tmp_path / "points.csv", tmp_path / "check.png"
    asked = ("--out", str(out), "--plot", str(plot), "--measures", "roll_centre_height_mm,anti_dive_pct")
    code, said, _ = run("locate", str(folder / "dunlin.toml"), *asked)
    assert code == 0
    for words in ("What would help most", "known ± σ", "Assumed where the files are silent", "sigma"):
        assert words in said
    lines = [line for line in out.read_text("utf-8").splitlines() if not line.startswith("#")]
    rows = list(csv.DictReader(lines))
    assert {r["point"] for r in rows} >= {"upper_front", "lower_rear", "tie_inner", "wheel_axis"}
    assert float(rows[0]["sigma_x"]) > 0.0
    assert (tmp_path / "points.covariance.csv").is_file()
    assert plot.read_bytes().startswith(b"\x89PNG")


def test_everything_as_json(folder, tmp_path):
    code, _, _ = run("locate", str(folder / "dunlin.photos.toml"), "--out", str(tmp_path / "all.json"))
    assert code == 0
    text = (tmp_path / "all.json").read_text("utf-8")
    for key in ("points", "marks", "figures", "covariance", "measures", "helps"):
        assert f'"{key}"' in text


def test_a_mistake_is_one_sentence_and_exit_code_2(folder):
    code, _, err = run("locate", str(folder / "dunlin.photos.toml"), "--measures", "roll_centre_hight")
    assert code == 2
    assert "roll_centre_height_mm" in err
    code, _, err = run("locate", str(folder / "nowhere.photos.toml"))
    assert code == 2
    assert "there is no such file" in err
