"""Wrong files: every folder of tests/files/bad_points and bad_car has the whole text that it must give."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from kin3d.errors import ReadingError
from kin3d.reading.car import read_car
from kin3d.reading.points import read_points_csv

FILES = Path(__file__).parents[1] / "files"
POINTS = sorted(FILES.glob("bad_points/*/"))
CARS = sorted(FILES.glob("bad_car/*/"))


def expected(folder: Path) -> str:
    return (folder / "expected.txt").read_text("utf-8").removesuffix("\n")


def without_parser_words(text: str) -> str:
    """Drop the reason that Python's own TOML parser gives: its wording is not ours."""
    return re.sub(r"(is not valid TOML) \(.*\)", r"\1", text)


@pytest.mark.parametrize("folder", POINTS, ids=lambda p: p.name)
def test_a_wrong_table_gives_its_text(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(folder)
    with pytest.raises(ReadingError) as caught:
        read_points_csv("points.csv", units="mm", axes="x forward, y left, z up")
    assert str(caught.value) == expected(folder)


@pytest.mark.parametrize("folder", CARS, ids=lambda p: p.name)
def test_a_wrong_car_gives_its_text(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(folder)
    with pytest.raises(ReadingError) as caught:
        read_car("car.toml")
    assert without_parser_words(str(caught.value)) == without_parser_words(expected(folder))


def test_the_files_are_there() -> None:
    assert len(POINTS) >= 34
    assert len(CARS) >= 55


def test_places_start_with_what_was_typed(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(FILES)
    with pytest.raises(ReadingError) as caught:
        read_car("bad_car/everything_at_once/car.toml")
    files = {f.place.split(",")[0] for f in caught.value.findings}
    assert files == {"bad_car/everything_at_once/car.toml", "bad_car/everything_at_once/front.csv"}


@pytest.mark.parametrize(
    ("name", "text"),
    [
        ("no.toml", "no.toml: there is no such file; check the path and the name"),
        ("cars.toml", 'cars.toml: there is no such file; did you mean "car.toml"?'),
        ("a/b.toml", 'a/b.toml: there is no such file; there is no folder "a" either; check the path'),
        (".", ".: is a folder; give the path of a file"),
    ],
)
def test_a_car_that_is_not_there(
    name: str, text: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "car.toml").write_text("[front]\n", "utf-8")
    monkeypatch.chdir(tmp_path)
    with pytest.raises(ReadingError) as caught:
        read_car(name)
    assert str(caught.value) == text


def test_unit_and_axes_of_a_table_are_reported_with_its_rows(tmp_path: Path) -> None:
    file = tmp_path / "p.csv"
    file.write_text("point,x,y,z\na,1,2,nan\n", "utf-8")
    with pytest.raises(ReadingError) as caught:
        read_points_csv(file, units="league", axes="x forward, y right, z up")
    assert [f.code for f in caught.value.findings] == [
        "unit-unknown",
        "axes-left-handed",
        "number-not-finite",
    ]
