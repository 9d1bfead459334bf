"""Faulty layouts, each with the text that it must give, and cars of every built-in layout to start from."""

from __future__ import annotations

from pathlib import Path

import pytest
from typer.testing import CliRunner

import kin3d
from kin3d.cli import build
from kin3d.linkage.layout_file import builtin, builtin_names
from kin3d.linkage.resolve import points_needed
from tests.kinds import demo_car

FILES = Path(__file__).parents[1] / "files" / "bad_layouts"
FOLDERS = sorted(p for p in FILES.iterdir() if p.is_dir())


def test_there_are_thirty() -> None:
    assert len(FOLDERS) >= 30


@pytest.mark.parametrize("folder", FOLDERS, ids=lambda p: p.name)
def test_a_faulty_layout_says_what_is_wrong(folder: Path) -> None:
    with pytest.raises(kin3d.Kin3dError) as caught:
        kin3d.sweep(kin3d.load(folder / "car.toml"), "rear", travel=[0.0])
    said = str(caught.value).replace(f"{folder}/", "")
    assert said == (folder / "expected.txt").read_text("utf-8").strip()


@pytest.mark.parametrize("name", builtin_names())
def test_every_point_of_a_layout_is_described(name: str) -> None:
    layout = builtin(name)
    points = set(layout.known_points()) - {"wheel_axis"}
    assert points == set(layout.notes)
    assert layout.about
    if layout.demo:
        assert set(points_needed(layout, {})) <= set(layout.demo) <= points


@pytest.mark.parametrize("name", builtin_names())
def test_a_car_of_every_layout_starts(name: str, tmp_path: Path) -> None:
    done = CliRunner().invoke(build(), ["new", str(tmp_path), "--layout", name.replace(" ", "-")])
    assert done.exit_code == 0, done.output
    car = kin3d.load(tmp_path / "car.toml")
    assert {a.layout.name for a in car.axles()} == {builtin(name).name}
    axle = car.axles()[0].name
    assert kin3d.sweep(car, axle, travel=[-20.0, 20.0], measures=["camber_deg"]).complete
    warned = [f for f in car.findings if str(f.severity) == "warning"]
    assert not warned, warned


def test_a_layout_that_is_none_is_refused_with_those_that_there_are(tmp_path: Path) -> None:
    with pytest.raises(kin3d.Kin3dError, match='no layout "twist bean"; built in: "de Dion axle"'):
        kin3d.layouts("twist bean")


@pytest.mark.parametrize(
    ("asked", "meant"),
    [
        ("double wishbon", '"double wishbone"'),
        ("MacPherson", '"strut with A-arm" or "strut with two links"'),
        ("Panhard rod on a live axle", '"live axle with Panhard rod"'),
    ],
)
def test_a_layout_is_found_by_what_it_is(asked: str, meant: str) -> None:
    with pytest.raises(kin3d.Kin3dError) as caught:
        kin3d.layouts(asked)
    assert meant in str(caught.value).split("did you mean ")[1]


def test_a_layout_like_none_has_no_guess() -> None:
    with pytest.raises(kin3d.Kin3dError) as caught:
        kin3d.layouts("xyz")
    assert "did you mean" not in str(caught.value)


def test_a_spring_may_name_points_of_both_sides(tmp_path: Path) -> None:
    points = '"left_spring_outer", "right_spring_outer"'
    spring = f'[[rear.springs]]\nname = "across"\npoints = [{points}]\nrate_n_per_mm = 5\n'
    car = demo_car(tmp_path, "twist beam", more=spring)
    assert car.rear is not None
    assert car.rear.springs[0].points == ("left_spring_outer", "right_spring_outer")
    assert kin3d.sweep(car, "rear", travel=[0.0]).complete
