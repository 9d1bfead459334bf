"""The axle, the car under load and the drawings as a person asks for them."""

from __future__ import annotations

import csv
import json
import re
from pathlib import Path

import pytest
from numpy.testing import assert_allclose

import kin3d
from kin3d.errors import RequestError
from kin3d.studies.settle import settle
from kin3d.studies.sweep import sweep
from tests.cli.run import run

MODELS = Path(__file__).parents[2] / "models"
CAR, ONE_AXLE = str(MODELS / "dunlin" / "car.toml"), str(MODELS / "siskin" / "car.toml")


def rows_of(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_each_side_is_a_row_in_roll(tmp_path: Path) -> None:
    code, _, _ = run("sweep", CAR, "--roll=-1:1:1", "--heave=0,10", "--out", str(tmp_path / "r.csv"))
    assert code == 0
    rows = rows_of(tmp_path / "r.csv")
    assert list(rows[0])[:4] == ["heave_mm", "roll_deg", "rack_mm", "side"]
    assert len(rows) == 3 * 2 * 2
    found = sweep(kin3d.load(CAR), "front", heave=[0.0, 10.0], roll=[-1.0, 0.0, 1.0])
    for name in ("camber_ground_deg", "roll_centre_offset_mm", "spring_share_braking_pct"):
        assert_allclose([float(r[name]) for r in rows], found.values[name].ravel(), rtol=1e-11, atol=1e-11)


def test_pitch_sweeps_the_car(tmp_path: Path) -> None:
    code, _, _ = run("sweep", CAR, "--axle", "rear", "--pitch=0,0.5", "--out", str(tmp_path / "r.csv"))
    assert code == 0
    rows = rows_of(tmp_path / "r.csv")
    assert list(rows[0])[:5] == ["heave_mm", "pitch_deg", "roll_deg", "rack_mm", "side"]
    found = sweep(kin3d.load(CAR), "rear", pitch=[0.0, 0.5])
    for name in ("roll_axis_deg", "wheelbase_change_mm", "anti_squat_pct"):
        assert_allclose([float(r[name]) for r in rows], found.values[name].ravel(), rtol=1e-11, atol=1e-11)


@pytest.mark.parametrize(
    ("asked", "text"),
    [
        (("sweep", CAR, "--roll=1", "--travel=5"), "--travel moves one wheel alone; give it without --heave"),
        (("sweep", CAR, "--roll=1", "--migration=x.svg"), "--migration draws a path: give several values of --roll"),
        (("sweep", CAR, "--roll=0,1", "--migration=x.txt"), '--migration ending ".txt" is not known'),
        (("sweep", ONE_AXLE, "--pitch=1"), "has no [rear] axle; pitch and the attitude of the whole car need both"),
        (("settle", ONE_AXLE), "axle"),
        (("settle", CAR, "--braking=1", "--driving=1"), "braking and driving do not go together"),
        (("settle", CAR, "--lateral=9"), "no attitude carries these loads: the largest that is held is 2."),
        (("draw", CAR, "--out=x.dxf"), '--out ending ".dxf" is not known; expected one of .png, .svg, .pdf'),
        (("draw", CAR, "--pitch=1", "--out=x.svg"), "--pitch belongs to --view side"),
        (("draw", ONE_AXLE, "--view=side", "--pitch=1", "--out=x.svg"), "--pitch needs both axles"),
        (("draw", CAR, "--roll=80", "--out=x.svg"), "roll: 80 deg is found; angles of the body between"),
        (("draw", CAR, "--heave=300", "--out=x.svg"), "wheel: travel +"),
    ],
)
def test_mistakes(asked: tuple[str, ...], text: str, tmp_path: Path) -> None:
    code, _, err = run(*(a.replace("=x.", f"={tmp_path}/x.") for a in asked))
    assert code == 2
    assert text in " ".join(err.split())
    assert not list(tmp_path.iterdir())


def test_settle_shows_and_writes_the_attitude(tmp_path: Path) -> None:
    code, out, _ = run("settle", CAR, "--braking", "1.5", "--lateral", "1.2", "--out", str(tmp_path / "s.json"))
    assert code == 0
    found = settle(kin3d.load(CAR), 1.5, 1.2)
    assert "braking 1.5 g, 1.2 g to the left" in out
    assert "front right" in out
    content = json.loads((tmp_path / "s.json").read_text("utf-8"))
    rows = {k: [dict(zip((c["name"] for c in t["columns"]), r, strict=True)) for r in t["rows"]]
            for k, t in content["tables"].items()}  # fmt: skip
    assert rows["body"][0]["roll_deg"] == pytest.approx(found.roll_deg, rel=1e-11, abs=0)
    still = {"aero_front_n": 0, "aero_rear_n": 0, "rack_mm": 0, "vertical_g": 1}
    assert rows["loads"] == [{"braking_g": 1.5, "lateral_g": 1.2} | still]
    loads = [w["load_n"] for w in rows["wheels"]]
    assert_allclose(loads, [w.load_n for w in found.wheels], rtol=1e-11, atol=0)
    bar = next(e for e in rows["elements"] if e["kind"] == "bar")
    assert (bar["unit"], bar["force_unit"]) == ("deg", "N·m")


def test_a_settled_car_shows_itself(tmp_path: Path) -> None:
    found = settle(kin3d.load(CAR), 0.0, -0.8)
    assert repr(found).startswith("<settle: Dunlin, last season, 0.8 g to the right; heave ")
    assert "\n" not in repr(found)
    assert found.save(tmp_path / "wheels.csv") == 4
    with (tmp_path / "wheels.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert [r["wheel"] for r in rows] == ["front left", "front right", "rear left", "rear right"]
    feet = [w.contact_mm[1] for w in found.wheels]
    assert_allclose([float(r["contact_y_mm"]) for r in rows], feet, rtol=1e-11, atol=0)
    assert [t.key for t in found.tables()] == ["wheels", "elements"]
    with pytest.raises(RequestError, match="has no picture"):
        found.plot(tmp_path / "x.svg")


def texts(path: Path) -> str:
    return " ".join(re.findall(r"<text[^>]*>([^<]*)</text>", path.read_text("utf-8")))


def test_front_drawing_says_what_the_sweep_says(tmp_path: Path) -> None:
    code, out, _ = run("draw", CAR, "--roll", "1.5", "--out", str(tmp_path / "f.svg"))
    assert code == 0
    assert "Drawing written to" in out
    said = texts(tmp_path / "f.svg").replace("−", "-")
    values = sweep(kin3d.load(CAR), "front", heave=0.0, roll=1.5).values
    height = float(values["roll_centre_height_mm"].ravel()[0])
    assert f"roll centre {height:+.1f} mm over the ground" in said
    assert f"left {values['jacking_coefficient'].ravel()[0]:+.3f}" in said
    for words in ("roll +1.50°", "lower arm", "upper arm", "of the left wheel", "mass centre", "scale 1:"):
        assert words in said, words


def test_side_drawing_has_the_percentages_of_the_sweep(tmp_path: Path) -> None:
    assert run("draw", CAR, "--view", "side", "--out", str(tmp_path / "s.svg"))[0] == 0
    said = texts(tmp_path / "s.svg").replace("−", "-")
    front, rear = (sweep(kin3d.load(CAR), axle, pitch=0.0) for axle in ("front", "rear"))
    pairs = [(front, "anti_dive_pct"), (rear, "anti_lift_pct"), (rear, "anti_squat_pct")]
    for result, name in pairs:
        assert f"{result.values[name].ravel()[0]:+.1f} %" in said, name
    angle = rear.values["support_angle_driving_deg"].ravel()[0]
    assert f"support angle {angle:+.2f}°" in said


@pytest.mark.parametrize("ending", ["pdf", "png"])
def test_other_formats(ending: str, tmp_path: Path) -> None:
    assert run("draw", ONE_AXLE, "--view", "side", "--out", str(tmp_path / f"d.{ending}"))[0] == 0
    start = (tmp_path / f"d.{ending}").read_bytes()[:8]
    assert start.startswith({"pdf": b"%PDF", "png": b"\x89PNG"}[ending])


def test_migration_is_drawn_with_its_marks(tmp_path: Path) -> None:
    asked = ("--roll=-2:2:1", "--heave=-10,0,10", "--out", str(tmp_path / "r.csv"))
    assert run("sweep", CAR, *asked, "--migration", str(tmp_path / "m.svg"))[0] == 0
    said = texts(tmp_path / "m.svg")
    for words in ("path of the roll centre over roll", "heave −10 mm", "heave +10 mm", "+2°", "−1°", "0°"):
        assert words in said, words


def test_measures_lists_those_of_the_axle() -> None:
    _, out, _ = run("measures")
    for name in ("camber_recovery_pct", "spring_share_cornering_pct", "roll_axis_deg", "ackermann_pct"):
        assert name in out, name
    assert out.count("roll_centre_height_mm") >= 2
