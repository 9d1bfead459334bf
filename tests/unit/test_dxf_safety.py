"""A wrong pickup point is worse than a refusal: drawings that look sound and are not."""

from __future__ import annotations

import gzip
import struct
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import typer
from typer.testing import CliRunner

from kin3d.cli.habits import with_habits
from kin3d.cli.import_ import import_drawing
from kin3d.errors import ReadingError
from kin3d.reading.dxf import read_drawing
from tests.unit.drawings import LINKS
from tests.unit.drawn import POINTS, draw_space, draw_views, new, plan_of, save, three_views

APP = typer.Typer()
APP.command()(with_habits(import_drawing))
RUN = CliRunner(env={"COLUMNS": "200"})


def _outcome(path: Path, **given: Any) -> tuple[dict[str, Any], dict[str, Any], set[str], str]:
    """Points, refused points, codes of the findings and their text."""
    try:
        reading = read_drawing(path, **given)
    except ReadingError as err:
        return {}, {}, {f.code for f in err.findings}, " ".join(f.text for f in err.findings)
    return (
        reading.points, reading.partial, {f.code for f in reading.findings}, " ".join(f.text for f in reading.findings)
    )  # fmt: skip


def _link_lines(points: dict[str, np.ndarray]) -> Any:
    doc = new()
    for layer, (ends, _) in LINKS.items():
        a, b = ends.split()
        doc.modelspace().add_line(tuple(points[a]), tuple(points[b]), dxfattribs={"layer": layer})
    return doc


@pytest.mark.parametrize(("noise", "seed"), [(0.0, 0), (1e-4, 1), (1e-4, 2)])
def test_link_layers_in_one_plane_are_no_drawing_in_space(tmp_path: Path, noise: float, seed: int) -> None:
    rng = np.random.default_rng(seed)
    flat = {n: np.array([p[0], p[1], 0.0]) + rng.normal(0.0, noise, 3) for n, p in POINTS.items()}
    names = tmp_path / "names.csv"
    names.write_text("label,point,ends\n" + "".join(f"{a},{b},{c}\n" for a, (b, c) in LINKS.items()), "utf-8")
    points, partial, codes, _ = _outcome(save(_link_lines(flat), tmp_path / "d.dxf"), names=names)
    assert points == {}
    assert "drawing-flat" in codes
    assert all(np.isnan(p.xyz_mm).all() for p in partial.values())


def test_one_circle_at_another_elevation_makes_no_drawing_in_space(tmp_path: Path) -> None:
    flat = {n: (p[0], p[1], 300.0 if n == "upper_outer" else 0.0) for n, p in POINTS.items()}
    doc = new()
    draw_space(doc, flat)
    points, _, codes, _ = _outcome(save(doc, tmp_path / "d.dxf"))
    assert points == {}
    assert codes & {"drawing-flat", "views-missing"}


def test_a_flattened_front_view_is_not_shown_as_a_plan(tmp_path: Path) -> None:
    """All z are 0 as in a flattened plan view, but the order of the joints is that of a front view."""
    doc = new()
    draw_space(doc, {n: (p[1], p[2], 0.0) for n, p in POINTS.items()}, step=(3.0, 3.0, 0.0))
    points, partial, codes, _ = _outcome(save(doc, tmp_path / "d.dxf"))
    assert points == {}
    assert "drawing-flat" in codes
    assert all(np.isnan(p.xyz_mm).all() for p in partial.values())


def test_a_flattened_plan_view_shows_what_it_shows(tmp_path: Path) -> None:
    doc = new()
    draw_space(doc, {n: (p[0], p[1], 0.0) for n, p in POINTS.items()})
    points, partial, _, _ = _outcome(save(doc, tmp_path / "d.dxf"))
    assert points == {}
    np.testing.assert_allclose(partial["tie_outer"].xyz_mm[:2], POINTS["tie_outer"][:2], rtol=0.0, atol=1e-9)
    assert np.isnan(partial["tie_outer"].xyz_mm[2])


def test_points_in_a_slanting_plane_are_no_drawing_in_space(tmp_path: Path) -> None:
    slanting = {n: (p[0], p[1], 0.4 * p[0] + 0.3 * p[1] + 1e-5 * p[2]) for n, p in POINTS.items()}
    doc = new()
    draw_space(doc, slanting)
    points, _, codes, _ = _outcome(save(doc, tmp_path / "d.dxf"))
    assert points == {}
    assert "drawing-flat" in codes


@pytest.mark.parametrize("shift", [(0.0, 4700.0, 0.0), (-25_000.0, 0.0, 0.0), (0.0, -701.0, 0.0), (0.0, 0.0, 4000.0)])
def test_a_place_that_no_car_has_is_refused_and_the_remedy_is_origin(
    tmp_path: Path, shift: tuple[float, float, float]
) -> None:
    doc = new()
    draw_space(doc, {n: tuple(np.add(p, shift)) for n, p in POINTS.items()})
    path = save(doc, tmp_path / "d.dxf")
    points, partial, codes, text = _outcome(path)
    assert points == {}
    assert "place-odd" in codes
    assert "origin" in text
    assert all(np.isnan(p.xyz_mm).all() for p in partial.values())
    mended, _, _, _ = _outcome(path, views={"origin": list(shift)})
    assert set(mended) == set(POINTS)
    np.testing.assert_allclose(mended["tie_outer"].xyz_mm, POINTS["tie_outer"], rtol=0.0, atol=1e-9)


def test_a_sheet_whose_origin_is_metres_off_is_refused(tmp_path: Path) -> None:
    doc, views = new(), three_views()
    draw_views(doc, views)
    plan = plan_of(views)
    for view in plan["views"].values():  # every view says the same wrong thing: they agree with each other
        for direction, axis in enumerate(view["axes"]):
            if axis.endswith("x"):
                view["origin"][direction] += 25_000.0 / 5.0
    points, _, codes, _ = _outcome(save(doc, tmp_path / "d.dxf"), views=plan)
    assert points == {}
    assert "place-odd" in codes


def test_a_point_that_lacks_a_coordinate_fails_the_command(tmp_path: Path) -> None:
    doc, views = new(), three_views()
    draw_views(doc, views[:1])
    draw_views(doc, views[1:], {n: p for n, p in POINTS.items() if n != "tie_outer"})
    path = save(doc, tmp_path / "sheet.dxf")
    reading = read_drawing(path, views=plan_of(views))
    assert set(reading.points) == set(POINTS) - {"tie_outer"}
    assert "coordinate-missing" in {f.code for f in reading.findings if str(f.severity) == "error"}
    assert reading.failed


def test_of_two_rows_for_one_name_neither_is_shown(tmp_path: Path) -> None:
    doc = new()
    rows = [("tie_inner", 84, 249, 187), ("tie_outer", 91, 646, 176), ("wheel_centre", 0, 701, 241),
            ("lower_outer", 6, 655, 131), ("tie_inner", 1, 2, 3)]  # fmt: skip
    for k, row in enumerate(rows):
        for c, cell in enumerate(row):
            doc.modelspace().add_text(str(cell), height=3, dxfattribs={"insert": (60 * c, -8 * k)})
    reading = read_drawing(save(doc, tmp_path / "d.dxf"), views={"source": "text table"})
    assert "tie_inner" not in reading.points
    assert np.isnan(reading.partial["tie_inner"].xyz_mm).all()


def test_nothing_placed_has_no_size_to_complain_of(tmp_path: Path) -> None:
    doc = new()
    for n, p in POINTS.items():
        doc.modelspace().add_circle(p, 2.0)
        far = (p[0] + 300.0, p[1] + 700.0, p[2])
        doc.modelspace().add_text(n, height=2.0, dxfattribs={"insert": far})
    _, _, codes, _ = _outcome(save(doc, tmp_path / "d.dxf"))
    assert "size-odd" not in codes
    assert "unit-odd" not in codes


def test_the_count_of_errors_counts_errors(tmp_path: Path) -> None:
    from kin3d.cli.screen import show_error
    from kin3d.errors import Finding, Severity

    found = [Finding("a", "one", "x"), Finding("b", "two", "x", Severity.WARNING), Finding("c", "three", "x")]
    app = typer.Typer()
    app.command()(lambda: show_error(ReadingError(found)))
    assert "2 errors; nothing was computed" in CliRunner().invoke(app).output


# --- files of other kinds ---------------------------------------------------------------------------------------------

STL = b"made by hand".ljust(80, b" ") + struct.pack("<I", 1) + bytes(50)
IGES = b"corner of a car".ljust(72) + b"S      1\r\n" + b"1H,,1H;".ljust(72) + b"G      1\r\n"
OTHERS = {
    "PDF": (b"%PDF-1.7 \n SECTION", ("PDF", "kin3d locate")),
    "PNG": (b"\x89PNG\r\n\x1a\n" + bytes(60), ("PNG", "kin3d locate")),
    "JPEG": (b"\xff\xd8\xff\xe0" + bytes(60), ("JPEG", "kin3d locate")),
    "SVG": (b'<?xml version="1.0"?>\n<svg xmlns="http://www.w3.org/2000/svg"></svg>', ("SVG", "DXF")),
    "STEP": (b"ISO-10303-21;\nHEADER;\nENDSEC;\n", ("STEP", "DXF")),
    "IGES": (IGES, ("IGES", "DXF")),
    "STL": (STL, ("STL", "DXF")),
    "STL text": (b"solid corner\n facet normal 0 0 1\n", ("STL", "DXF")),
    "CSV": (b"point,x,y,z\nlower_front,1,2,3\n", ("CSV", "car file")),
    "CSV of Europe": (b"Punkt;x;y;z\nA;1,5;2;3\n", ("CSV", "car file")),
    "gzip": (gzip.compress(b"  0\nSECTION\n"), ("gzip", "unpack")),
    "ZIP": (b"PK\x03\x04" + bytes(40), ("ZIP", "unpack")),
    "DWG": (b"AC1032\x00\x00" + bytes(40), ("DWG", "DXF")),
    "UTF-16": ("  0\nSECTION\n  2\nHEADER\n".encode("utf-16"), ("UTF-16", "UTF-8")),
    "UTF-16 bare": (("  0\nSECTION\n  2\nHEADER\n" * 20).encode("utf-16-le"), ("UTF-16", "UTF-8")),
}


@pytest.mark.parametrize("kind", OTHERS)
def test_a_file_of_another_kind_is_named_with_the_way_out(kind: str, tmp_path: Path) -> None:
    content, words = OTHERS[kind]
    path = tmp_path / "sheet.dxf"
    path.write_bytes(content)
    _, _, codes, text = _outcome(path)
    assert codes == {"file-kind"}
    for word in words:
        assert word in text


def test_a_car_file_that_names_a_file_of_another_kind_says_what_it_is(tmp_path: Path) -> None:
    from kin3d.reading.car import read_car

    (tmp_path / "front.pdf").write_bytes(b"%PDF-1.7\n")
    (tmp_path / "car.toml").write_text('[front]\npoints = "front.pdf"\nlayout = "double wishbone"\n')
    with pytest.raises(ReadingError, match=r"is expected; it is a PDF file: export the drawing as DXF"):
        read_car(tmp_path / "car.toml")
