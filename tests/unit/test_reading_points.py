"""Point tables that are right, in all the dresses they may come in."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from kin3d.errors import Kin3dError, Severity
from kin3d.linkage.car import PointTable
from kin3d.linkage.names import normalise
from kin3d.reading.points import read_points_csv

VEHICLE = "x forward, y left, z up"


def read(tmp_path: Path, text: str | bytes, units: str = "mm", axes: str = VEHICLE) -> PointTable:
    file = tmp_path / "points.csv"
    file.write_bytes(text if isinstance(text, bytes) else text.encode())
    return read_points_csv(file, units=units, axes=axes)


@pytest.mark.parametrize(
    "text",
    [
        "point,x,y,z\nlower_front,1.5,-2,300\n",
        "point;x;y;z\nlower_front;1.5;-2;300\n",
        "point;x;y;z\nlower_front;1,5;-2;300\n",
        "point\tx\ty\tz\nlower_front\t1,5\t-2,0\t3e2\n",
        "\ufeffsep=;\r\npoint;x;y;z\r\nlower_front;1,5;-2;300\r\n",
        '"sep=,"\npoint,x,y,z\nlower_front,1.5,-2,300\n',
        "\ufeffpoint,x,y,z\r\nlower_front,1.5,-2,300\r\n",
        "point,x,y,z\rlower_front,1.5,-2,300\r",
        "# one, two; three\n\npoint,x,y,z\n  # four\n\nlower_front,1.5,-2,300",
        '"point","x","y","z"\n"# quoted, comment"\n"Lower Front", "1.5",-2,300\n',
        "Z, Y ,POINT,X\n300,-2,Lower-Front,1.5\n",
        "point,x,y,z,,\nlower.front,1.5,-2,300,,\n,,,,,\n",
        "point,x,y,z\nLOWER  FRONT,+1.5,\u22122,300.\n",
        "point,x,y,z\nlower_front,15e-1,-2E0,3.E+2\n",
    ],
)
def test_the_same_point_in_many_dresses(text: str, tmp_path: Path) -> None:
    table = read(tmp_path, text)
    assert table.names == ("lower_front",)
    assert table.xyz_mm == pytest.approx(np.array([[1.5, -2.0, 300.0]]), rel=0, abs=1e-12)
    assert table.sigma_mm == pytest.approx(np.zeros((1, 3)), rel=0, abs=0)
    assert table.findings == ()


def test_unit_and_axes_turn_points_and_deviations(tmp_path: Path) -> None:
    text = "point,x,y,z,sigma_x,sigma_y,sigma_z,note\na,1,2,3,0.1,0.2,0.3,up first\n"
    table = read(tmp_path, text, "in", "x up, y rearward, z right")
    # by hand: forward = -y, left = -z, up = x; an inch is 25.4 mm; a deviation has no sign
    assert table.xyz_mm == pytest.approx(np.array([[-50.8, -76.2, 25.4]]), rel=1e-15, abs=0)
    assert table.sigma_mm == pytest.approx(np.array([[5.08, 7.62, 2.54]]), rel=1e-15, abs=0)
    assert table.notes == ("up first",)


def test_one_sigma_is_that_of_every_coordinate(tmp_path: Path) -> None:
    table = read(tmp_path, "point;x;y;z;Sigma\na;1;2;3;0,5\nb;1;2;3;0\n", "cm")
    assert table.sigma_mm == pytest.approx(np.array([[5.0] * 3, [0.0] * 3]), rel=1e-15, abs=0)


def test_places_are_lines_of_the_file(tmp_path: Path) -> None:
    table = read(tmp_path, "# one\n\npoint,x,y,z\n# four\na,1,2,3\n\nb,1,2,3\n")
    assert [p.rsplit(", ", 1)[1] for p in table.places] == ["row 5", "row 7"]


def test_a_comma_that_could_group_thousands_is_told(tmp_path: Path) -> None:
    table = read(tmp_path, "point;x;y;z\na;1,234;2;3\n")
    assert table.xyz_mm[0, 0] == pytest.approx(1.234, rel=0, abs=0)
    (finding,) = table.findings
    assert (finding.code, finding.severity) == ("decimal-comma", Severity.NOTE)
    assert finding.assumed == "the comma is the decimal mark"


@pytest.mark.parametrize(
    ("written", "name"),
    [
        (" Lower Front ", "lower_front"),
        ("LOWER.FRONT.", "lower_front"),
        ("lower - front", "lower_front"),
        ("lower\u2013front", "lower_front"),
        ("lower\u00a0front", "lower_front"),
        ("rocker-axis 1", "rocker_axis_1"),
        ("_x__y_", "x_y"),
        ("--", ""),
    ],
)
def test_names(written: str, name: str) -> None:
    assert normalise(written) == name


@given(st.text())
def test_a_name_is_normal_once_normalised(text: str) -> None:
    assert normalise(normalise(text)) == normalise(text)


CELLS = st.sampled_from(
    [
        "point",
        "x",
        "y",
        "z",
        "sigma",
        "note",
        "a",
        "b",
        "1",
        "1,5",
        "2.5",
        "nan",
        "",
        "#",
        '"',
        "-",
        "1e400",
        "é",
    ]
)
LINES = st.lists(st.lists(CELLS, max_size=6), max_size=6)


@given(lines=LINES, separator=st.sampled_from([",", ";", "\t"]), headed=st.booleans())
def test_any_text_is_a_table_or_a_finding(
    lines: list[list[str]], separator: str, headed: bool, tmp_path_factory: pytest.TempPathFactory
) -> None:
    rows = [["point", "x", "y", "z"], *lines] if headed else lines
    file = tmp_path_factory.getbasetemp() / "any.csv"
    file.write_text("\n".join(separator.join(row) for row in rows), "utf-8")
    try:
        table = read_points_csv(file, units="ft", axes=VEHICLE)
    except Kin3dError as err:
        said = err.findings
    else:
        said = table.findings
        assert np.isfinite(table.xyz_mm).all()
        assert len(set(table.names)) == len(table.names) == len(table.xyz_mm) > 0
    assert all(f.place.startswith(str(file)) and f.text for f in said)


@given(raw=st.binary(max_size=200))
def test_any_bytes_are_a_table_or_a_finding(raw: bytes, tmp_path_factory: pytest.TempPathFactory) -> None:
    file = tmp_path_factory.getbasetemp() / "bytes.csv"
    file.write_bytes(raw)
    with pytest.raises(Kin3dError):
        read_points_csv(file, units="mm", axes=VEHICLE)
