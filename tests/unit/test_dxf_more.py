"""Drawings of other corners by other programs, and the kinds of drawing that they brought up."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from kin3d.errors import ReadingError, Severity
from kin3d.reading.dxf import read_drawing
from kin3d.reading.dxf.content import Origin
from kin3d.reading.dxf.declared import DeclaredView
from kin3d.reading.dxf.matching import DrawnMark, Tie
from kin3d.reading.dxf.view_marks import part_by_agreement
from kin3d.reading.dxf.wording import PointName
from tests.unit.drawn import LINKS, POINTS, draw_space, draw_views, errors_mm, new, place, plan_of, save, three_views

FOLDER = Path(__file__).parents[1] / "files" / "drawings_more"
TRUTHS = sorted(FOLDER.glob("*.truth.json"))
ALL = set(POINTS)
TIGHT = 1e-6


def _read(doc: Any, tmp_path: Path, **kwargs: Any) -> Any:
    return read_drawing(save(doc, tmp_path / "d.dxf"), **kwargs)


def _right(reading: Any, names: set[str] = ALL, tol: float = TIGHT) -> None:
    assert set(reading.points) == names, [str(f) for f in reading.findings if f.severity is Severity.ERROR]
    assert max(errors_mm(reading.points).values()) <= tol


def _refused(doc: Any, tmp_path: Path, code: str, **kwargs: Any) -> str:
    with pytest.raises(ReadingError) as caught:
        _read(doc, tmp_path, **kwargs)
    found = [f.text for f in caught.value.findings if f.code == code]
    assert found, str(caught.value)
    return " ".join(found)


# --- files of other programs --------------------------------------------------------------------------------------


@pytest.fixture(params=TRUTHS, ids=lambda p: p.name[:4])
def truth(request: pytest.FixtureRequest) -> dict[str, Any]:
    given: dict[str, Any] = json.loads(request.param.read_text("utf-8"))
    return given


def _wrong(truth: dict[str, Any], points: dict[str, Any]) -> dict[str, Any]:
    good = {n: p for n, p in truth["points"].items() if n not in truth["unreadable"]}
    return {
        n: p.xyz_mm
        for n, p in points.items()
        if n in truth["points"] and not (n in good and np.allclose(p.xyz_mm, good[n], rtol=0.0, atol=truth["tol_mm"]))
    }


def test_files_are_right_with_what_the_user_supplies(truth: dict[str, Any], tmp_path: Path) -> None:
    give = dict(truth["give"])
    if "names" in give:
        rows = [",".join(f'"{c}"' for c in [*row, "", ""][:3]) for row in give["names"]]
        give["names"] = tmp_path / "names.csv"
        give["names"].write_text("\n".join(["label,point,ends", *rows]), "utf-8")
    reading = read_drawing(FOLDER / truth["file"], **give)
    assert _wrong(truth, reading.points) == {}
    assert set(reading.points) == set(truth["points"]) - set(truth["unreadable"])


@pytest.mark.parametrize("keep", [(), ("units",), ("views",), ("names",)], ids=str)
def test_files_give_nothing_wrong_without_it(truth: dict[str, Any], keep: tuple[str, ...]) -> None:
    give = {k: v for k, v in truth["give"].items() if k in keep and k != "names"}
    try:
        reading = read_drawing(FOLDER / truth["file"], **give)
    except ReadingError:
        return
    assert _wrong(truth, reading.points) == {}


# --- the door -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("before", "line_end"), [(b"", b"\r\n"), (b"\xef\xbb\xbf", b"\n")], ids=["crlf", "bom"])
def test_line_ends_and_byte_order_mark(tmp_path: Path, before: bytes, line_end: bytes) -> None:
    doc = new()
    draw_space(doc)
    path = save(doc, tmp_path / "d.dxf")
    path.write_bytes(before + path.read_bytes().replace(b"\r\n", b"\n").replace(b"\n", line_end))
    _right(read_drawing(path))


def test_an_external_reference_beside_a_border_is_named(tmp_path: Path) -> None:
    doc = new()
    doc.add_xref_def("corner.dwg", "CORNER")
    doc.modelspace().add_blockref("CORNER", (0, 0))
    doc.modelspace().add_lwpolyline([(0, 0), (420, 0), (420, 297), (0, 297)], close=True)
    assert "corner.dwg" in _refused(doc, tmp_path, "external-reference")


# --- leaders ----------------------------------------------------------------------------------------------------------


def _bent(space: Any, uv: np.ndarray, way: np.ndarray, text: str, under: bool) -> None:
    """A leader of two LINEs: up to a shoulder beside the label, or along under it."""
    bend = uv + way
    side = 1.0 if way[0] > 0.0 else -1.0
    end = bend + np.array([side * (1.44 * len(text) if under else 3.0), 0.0])
    space.add_line(tuple(uv), tuple(bend))
    space.add_line(tuple(bend), tuple(end))
    at = tuple(bend + np.array([0.0, 0.5])) if under else tuple(end)
    align = {} if side > 0.0 else {"halign": 2, "align_point": at}
    space.add_text(text, height=1.8, dxfattribs={"insert": at, **align})


@pytest.mark.parametrize("under", [False, True], ids=["shoulder", "underline"])
@pytest.mark.parametrize("count", [2, 3])
@pytest.mark.parametrize("seed", [6, 7])
def test_leaders_of_two_lines(tmp_path: Path, under: bool, count: int, seed: int) -> None:
    """Two views without a title share z only: which is which is told by where the joints would lie."""
    doc, views, rng = new(), three_views()[:count], np.random.default_rng(seed)
    for view in views:
        for a, b in LINKS:
            doc.modelspace().add_line(tuple(place(view, POINTS[a])), tuple(place(view, POINTS[b])))
        for name, xyz in POINTS.items():
            uv = place(view, xyz)
            doc.modelspace().add_circle(tuple(uv), 1.0)
            _bent(doc.modelspace(), uv, rng.uniform(5.0, 9.0) * rng.choice([-0.7, 0.7], 2), name, under)
    reading = _read(doc, tmp_path, views=plan_of(views))
    assert max(errors_mm(reading.points).values()) < TIGHT
    assert len(reading.points) >= 13


def _sheet_with(tmp_path: Path, extra: Any) -> Any:
    """Two views in which only tie_outer's label of the front view is placed by `extra`."""
    doc, views = new(), three_views()[:2]
    draw_views(doc, [views[1]])
    draw_views(doc, [views[0]], {n: p for n, p in POINTS.items() if n != "tie_outer"}, leader="LEADER")
    uv = place(views[0], POINTS["tie_outer"])
    doc.modelspace().add_circle(tuple(uv), 1.0)
    extra(doc.modelspace(), uv, place(views[0], POINTS["lower_outer"]))
    return _read(doc, tmp_path, views=plan_of(views))


def test_a_leader_may_end_over_another_mark(tmp_path: Path) -> None:
    def extra(space: Any, uv: np.ndarray, other: np.ndarray) -> None:
        tail = tuple(other + np.array([0.5, 0.4]))
        space.add_line(tuple(uv), tail)
        space.add_text("tie_outer", height=1.8, dxfattribs={"insert": tail})

    _right(_sheet_with(tmp_path, extra))


def test_a_bend_over_another_mark_is_not_where_the_leader_points(tmp_path: Path) -> None:
    def extra(space: Any, uv: np.ndarray, other: np.ndarray) -> None:
        bend, end = tuple(other + np.array([0.5, 0.4])), tuple(other + np.array([4.5, 0.4]))
        space.add_line(tuple(uv), bend)
        space.add_line(bend, end)
        space.add_text("tie_outer", height=1.8, dxfattribs={"insert": end})

    _right(_sheet_with(tmp_path, extra))


def test_a_label_whose_middle_is_over_a_mark_is_no_balloon(tmp_path: Path) -> None:
    def extra(space: Any, uv: np.ndarray, other: np.ndarray) -> None:
        width = 0.8 * 1.8 * len("tie_outer")
        at = tuple(other - (width / 2.0, 0.9))
        space.add_leader([tuple(uv), at])
        space.add_text("tie_outer", height=1.8, dxfattribs={"insert": at})

    _right(_sheet_with(tmp_path, extra))


# --- symbols and views --------------------------------------------------------------------------------------------


def test_crosses_as_symbols_beside_centre_lines(tmp_path: Path) -> None:
    doc, views = new(), three_views()
    draw_views(doc, views)
    space = doc.modelspace()
    for circle in list(space.query("CIRCLE[radius<2]")):
        x, y, _ = circle.dxf.center
        space.add_line((x - 1.0, y), (x + 1.0, y))
        space.add_line((x, y - 1.0), (x, y + 1.0))
        space.delete_entity(circle)
    for view in views:
        x, y = place(view, POINTS["wheel_centre"])
        space.add_line((x - 60.0, y), (x + 60.0, y), dxfattribs={"layer": "CENTRE"})
        space.add_line((x, y - 60.0), (x, y + 60.0), dxfattribs={"layer": "CENTRE"})
    _right(_read(doc, tmp_path, views=plan_of(views)))


@pytest.mark.parametrize("spacing", [760.0, 600.0, 520.0])
def test_views_close_together_or_in_each_other(tmp_path: Path, spacing: float) -> None:
    doc, views = new(), three_views(spacing=spacing)
    draw_views(doc, views, leader="LEADER")
    _right(_read(doc, tmp_path, views=plan_of(views)))


def test_views_close_together_with_a_wrong_origin_are_refused(tmp_path: Path) -> None:
    doc, views = new(), three_views(spacing=600.0)
    draw_views(doc, views, leader="LEADER")
    plan = plan_of(views)
    plan["views"]["side"]["origin"][1] += 40.0
    try:
        reading = _read(doc, tmp_path, views=plan)
    except ReadingError:
        return
    assert reading.points == {}


def test_two_titles_that_lie_are_seen_by_the_order_of_the_joints(tmp_path: Path) -> None:
    doc, views = new(), three_views()[:2]
    views[0]["title"], views[1]["title"] = "SIDE VIEW", "FRONT VIEW"
    draw_views(doc, views, leader="LEADER")
    reading = _read(doc, tmp_path, views=plan_of(views))
    _right(reading)
    assert "view-title" in {f.code for f in reading.findings}


def test_a_block_with_one_point_may_stand_anywhere(tmp_path: Path) -> None:
    doc = new()
    doc.blocks.new("HP").add_circle((0, 0), 3.0)
    for name, xyz in POINTS.items():
        block = doc.blocks.new(f"N_{name}")
        block.add_blockref("HP", (0, 0))
        block.add_text(name, height=4, dxfattribs={"insert": (4, 4)})
        doc.modelspace().add_blockref(block.name, xyz, dxfattribs={"rotation": 30, "xscale": 0.5, "yscale": 0.5})
    _right(_read(doc, tmp_path), tol=1e-9)


# --- words ------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "label",
    [lambda n: f"HP-{n.upper()}", lambda n: f"LF {n}", lambda n: "".join(w.title() for w in n.split("_")),
     lambda n: n.replace("centre", "center"), lambda n: f"PT {n.replace('_', ' ')} LH"],
)  # fmt: skip
def test_more_spellings(tmp_path: Path, label: Any) -> None:
    doc = new()
    draw_space(doc, label=label)
    _right(_read(doc, tmp_path))


def test_keys_of_several_letters(tmp_path: Path) -> None:
    keys = {n: f"HP{i + 1}" for i, n in enumerate(POINTS)}
    doc = new()
    draw_space(doc, label=keys.get)
    for i, (name, key) in enumerate(keys.items()):
        doc.modelspace().add_text(f"{key} = {name}", height=10, dxfattribs={"insert": (2000, -20 * i, 0)})
    _right(_read(doc, tmp_path))


def _table(doc: Any, rows: list[list[str]]) -> None:
    for i, row in enumerate(rows):
        for x, cell in zip((0, 40, 300, 380, 460), ["", *row] if len(row) == 4 else row, strict=True):
            doc.modelspace().add_text(cell, height=6, dxfattribs={"insert": (x, -12 * i)})


@pytest.mark.parametrize(
    "cell",
    [lambda c: f"{c:,.1f}".replace(",", " "), lambda c: f"{c:,.1f}", lambda c: f"{c:.3f}", lambda c: f"{c:.1f} mm",
     lambda c: f"{c:.2f}".replace(".", ",").replace("-", "−")],
    ids=["blank", "comma", "three decimals", "unit", "minus"],
)  # fmt: skip
def test_tables_of_large_numbers(tmp_path: Path, cell: Any) -> None:
    rear = {n: (x - 2600.0, y, z) for n, (x, y, z) in POINTS.items()}
    doc = new()
    _table(doc, [[n, *(cell(c) for c in xyz)] for n, xyz in rear.items()])
    reading = _read(doc, tmp_path, views={"source": "text table"})
    assert set(reading.points) == ALL
    assert max(errors_mm(reading.points, rear).values()) <= 0.05


def test_tables_with_numbered_rows_and_three_decimals(tmp_path: Path) -> None:
    """ "150,000" in every cell: as thousands the points would lie far apart for any car."""
    doc = new()
    rows = [[n, *(f"{c:.3f}".replace(".", ",") for c in xyz)] for n, xyz in POINTS.items()]
    _table(doc, [[str(i), *row] for i, row in enumerate(rows, 1)])
    _right(_read(doc, tmp_path, views={"source": "text table"}))


def test_a_name_table_for_layers_that_are_not_there(tmp_path: Path) -> None:
    doc = new()
    doc.modelspace().add_line((0, 0, 0), (100, 300, 20), dxfattribs={"layer": "ARM"})
    table = tmp_path / "n.csv"
    table.write_text("label,point,ends\nLEG,lower_front lower_outer,inboard first\n", "utf-8")
    assert "ARM" in _refused(doc, tmp_path, "links-missing", names=table)


@pytest.mark.parametrize("side", [1.0, -1.0], ids=["left", "right"])
def test_the_inboard_end_of_a_link_is_the_one_nearer_to_the_centre_line(tmp_path: Path, side: float) -> None:
    doc = new()
    links = [(a, b, f"LINK_{k}") for k, (a, b) in enumerate(LINKS) if not a.startswith(("rocker", "rod", "spring"))]
    for a, b, layer in links:
        (xa, ya, za), (xb, yb, zb) = POINTS[a], POINTS[b]
        doc.modelspace().add_line((xb, side * yb, zb), (xa, side * ya, za), dxfattribs={"layer": layer})
    table = tmp_path / "n.csv"
    rows = [f"{layer},{a} {b},inboard first" for a, b, layer in links]
    table.write_text("\n".join(["label,point,ends", *rows]) + "\n", "utf-8")
    reading = _read(doc, tmp_path, names=table)
    for name in {n for a, b, _ in links for n in (a, b)}:
        x, y, z = POINTS[name]
        assert reading.points[name].xyz_mm == pytest.approx((x, side * y, z), rel=0, abs=1e-6), name


@pytest.mark.parametrize(("height", "told"), [(0.0, False), (31.0, True)])
def test_views_in_each_other_are_parted_only_where_their_origins_tell_them_apart(height: float, told: bool) -> None:
    """Front and side view share z alone: drawn from one height, a label's two places fit both ways alike."""
    views = [
        DeclaredView("front", ((1, 1.0), (2, 1.0)), (0.0, 0.0), mm_per_unit=5.0),
        DeclaredView("side", ((0, -1.0), (2, 1.0)), (70.0, height), mm_per_unit=5.0),
    ]
    ties: list[Tie] = []
    for x, y, z in POINTS.values():
        name = PointName(f"p{len(ties)}")
        both = [(y / 5.0, z / 5.0), (70.0 - x / 5.0, height + z / 5.0)]
        marks = [DrawnMark(np.array([u, v, 0.0]), 3.0, "circle", Origin("CIRCLE", "1", "0")) for u, v in both]
        ties += [Tie(name, mark, "near") for mark in marks]
    found = part_by_agreement(views, ties)
    assert (found is not None) is told
    if found is not None:
        assert [{id(t) for t in part} for part in found] == [{id(t) for t in ties[k::2]} for k in (0, 1)]
