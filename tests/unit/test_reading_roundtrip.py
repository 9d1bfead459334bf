"""Write-read identity of point tables through any unit, axes, separator and decimal mark."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from kin3d.errors import RequestError
from kin3d.linkage.car import PointTable
from kin3d.reading.points import read_points_csv, write_points_csv
from tests.unit.test_frames import TRIPLES, right_handed

NAMES = st.from_regex(r"[a-zäß][a-z0-9]{0,8}(_[a-z0-9]{1,6}){0,2}", fullmatch=True)
NOTES = st.text(st.characters(exclude_categories=["Cc", "Cs", "Zl", "Zp"]), max_size=20).map(
    lambda s: " ".join(s.split())
)
COORDINATES = st.tuples(*[st.floats(-5000, 5000)] * 3)
SIGMAS = st.tuples(*[st.floats(0, 20)] * 3) | st.floats(0, 20).map(lambda s: (s, s, s))
FORMATS = st.sampled_from([(",", "."), (";", "."), (";", ","), ("\t", "."), ("\t", ",")])
AXES = st.sampled_from([t for t in TRIPLES if right_handed(t)])


@st.composite
def tables(draw: st.DrawFn) -> PointTable:
    names = draw(st.lists(NAMES, min_size=1, max_size=6, unique=True))
    many = {"min_size": len(names), "max_size": len(names)}
    no_sigma = st.just([(0.0, 0.0, 0.0)] * len(names))
    return PointTable(
        source=Path("made.csv"),
        names=tuple(names),
        xyz_mm=np.array(draw(st.lists(COORDINATES, **many))),
        sigma_mm=np.array(draw(no_sigma | st.lists(SIGMAS, **many))),
        places=("",) * len(names),
        notes=tuple(draw(st.lists(NOTES, **many))),
    )


@given(
    table=tables(),
    units=st.sampled_from(["mm", "cm", "m", "in", "ft"]),
    words=AXES,
    style=FORMATS,
)
def test_a_table_comes_back_as_it_was(
    table: PointTable,
    units: str,
    words: tuple[str, ...],
    style: tuple[Any, Any],
    tmp_path_factory: pytest.TempPathFactory,
) -> None:
    axes = ", ".join(f"{a} {w}" for a, w in zip("xyz", words, strict=True))
    file = tmp_path_factory.mktemp("round") / "round.csv"
    write_points_csv(table, file, units=units, axes=axes, separator=style[0], decimal=style[1])
    back = read_points_csv(file, units=units, axes=axes)
    assert back.names == table.names
    assert back.notes == table.notes
    np.testing.assert_allclose(back.xyz_mm, table.xyz_mm, rtol=0, atol=1e-9)
    np.testing.assert_allclose(back.sigma_mm, table.sigma_mm, rtol=0, atol=1e-9)


def small(name: str = "a") -> PointTable:
    xyz = np.array([[10.0, 20.0, -30.5]])
    return PointTable(Path("x"), (name,), xyz, np.array([[1.0, 2.0, 3.0]]), ("",), ("be, brief",))


def test_the_file_is_as_the_conventions_say(tmp_path: Path) -> None:
    file = tmp_path / "p.csv"
    write_points_csv(small(), file, units="cm", axes="x rearward, y right, z up")
    assert file.read_text("utf-8").partition("\n")[2] == (
        'point,x,y,z,sigma_x,sigma_y,sigma_z,note\na,-1.0,-2.0,-3.05,0.1,0.2,0.3,"be, brief"\n'
    )
    write_points_csv(small(), file, separator=";", decimal=",")
    assert file.read_text("utf-8").splitlines()[2] == "a;10,0;20,0;-30,5;1,0;2,0;3,0;be, brief"


def test_what_could_not_be_read_back_is_not_written(tmp_path: Path) -> None:
    file = tmp_path / "p.csv"
    with pytest.raises(RequestError) as caught:
        write_points_csv(small("#a"), file, separator=",", decimal=",")
    assert [f.code for f in caught.value.findings] == ["decimal-comma", "point-name"]
    assert not file.exists()
