"""The demo drawings in models/: what is read from them agrees with the cars' own tables, also in a car file."""

from __future__ import annotations

import shutil
from pathlib import Path

import ezdxf
import numpy as np
import pytest

import kin3d
from kin3d.reading.dxf import read_drawing
from models.draw_sheets import HERE, PLACES, SCALE, points_of

ROUNDING_MM = 0.5 * 10.0**-PLACES * SCALE


@pytest.mark.parametrize(("car", "tol_mm", "kind"), [("plover", ROUNDING_MM, "sheet"), ("dunlin", 1e-9, "space")])
def test_drawings_agree_with_the_tables(car: str, tol_mm: float, kind: str) -> None:
    reading, table = read_drawing(HERE / car / "front.dxf"), points_of(car)
    assert reading.form == kind
    assert not reading.failed
    assert set(reading.points) == set(table)
    for name, point in reading.points.items():
        np.testing.assert_allclose(point.xyz_mm, table[name], rtol=0.0, atol=tol_mm + 1e-9)


@pytest.mark.parametrize("car", ["plover", "dunlin"])
def test_drawings_are_sound(car: str) -> None:
    doc = ezdxf.readfile(HERE / car / "front.dxf")
    assert doc.audit().errors == []
    assert doc.header["$INSUNITS"] == 4


@pytest.mark.parametrize("car", ["plover", "dunlin"])
def test_a_car_file_takes_a_drawing_for_its_points(car: str, tmp_path: Path) -> None:
    shutil.copytree(HERE / car, tmp_path, dirs_exist_ok=True)
    text = (HERE / car / "car.toml").read_text("utf-8")
    head, front = text.split("[front]", 1)
    keys = {"points": '"front.dxf"', "units": '"mm"', "axes": '"x forward, y left, z up"'}
    lines = front.split("\n")
    for key, value in keys.items():
        at = next(k for k, line in enumerate(lines) if line.startswith(f"{key} ="))
        lines[at] = f"{key} = {value}"
    (tmp_path / "drawn.toml").write_text(head + "[front]" + "\n".join(lines), "utf-8")
    drawn, plain = kin3d.load(tmp_path / "drawn.toml").front, kin3d.load(HERE / car / "car.toml").front
    assert drawn is not None
    assert plain is not None
    for name in plain.points.names:
        np.testing.assert_allclose(drawn.points[name], plain.points[name], rtol=0.0, atol=ROUNDING_MM + 1e-9)


def test_a_car_file_reads_its_side_of_a_drawing_with_both_corners(tmp_path: Path) -> None:
    shutil.copytree(HERE / "dunlin", tmp_path, dirs_exist_ok=True)
    doc = ezdxf.readfile(tmp_path / "front.dxf")
    for insert in list(doc.modelspace().query("INSERT")):
        x, y, z = insert.dxf.insert
        twin = doc.modelspace().add_blockref("PICKUP", (x, -y, z))
        twin.add_attrib("NAME", insert.attribs[0].dxf.text, (x + 9.0, -y + 4.0, z))
    doc.saveas(tmp_path / "front.dxf")
    text = (tmp_path / "car.toml").read_text("utf-8").replace('"front.csv"', '"front.dxf"')
    (tmp_path / "drawn.toml").write_text(text, "utf-8")
    front, plain = kin3d.load(tmp_path / "drawn.toml").front, kin3d.load(HERE / "dunlin" / "car.toml").front
    assert front is not None
    assert plain is not None
    np.testing.assert_allclose(front.points["tie_outer"], plain.points["tie_outer"], rtol=0.0, atol=1e-9)
