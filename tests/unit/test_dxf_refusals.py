"""Drawings that say everything and are read: what was refused for no reason once."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from kin3d.reading.dxf import look_at_drawing, read_drawing
from kin3d.studies.drawing_draft import names_text
from kin3d.studies.drawing_sketch import sketch
from tests.unit.drawn import POINTS, draw_views, errors_mm, new, place, plan_of, save, three_views


def _right(path: Path, **given: Any) -> None:
    reading = read_drawing(path, **given)
    assert set(reading.points) == set(POINTS), [str(f) for f in reading.findings if str(f.severity) == "error"]
    assert max(errors_mm(reading.points).values()) < 1e-6


@pytest.mark.parametrize("gap", [0.3, 0.9, 1.4])
def test_leaders_that_stop_short_of_the_symbol(tmp_path: Path, gap: float) -> None:
    """`gap` in text heights before the rim."""
    doc, views, rng = new(), three_views(), np.random.default_rng(4)
    for view in views:
        for name, xyz in POINTS.items():
            uv, turn = place(view, xyz), rng.uniform(0.0, 2.0 * np.pi)
            way = np.array([np.cos(turn), np.sin(turn)])
            tail = uv + 12.0 * way
            align = {"halign": 2, "align_point": tuple(tail)} if way[0] < 0.0 else {}
            doc.modelspace().add_circle(tuple(uv), 0.5)
            doc.modelspace().add_line(tuple(uv + (0.5 + gap * 1.2) * way), tuple(tail))
            doc.modelspace().add_text(name, height=1.2, dxfattribs={"insert": tuple(tail), **align})
    reading = read_drawing(save(doc, tmp_path / "d.dxf"), views=plan_of(views))
    assert max(errors_mm(reading.points).values()) < 1e-6
    assert len(reading.points) >= len(POINTS) - 2


def _table(further: bool) -> Any:
    doc = new()
    heads = ("no", "point", "X", "Y", "Z", "thread", "qty") if further else ("point", "X", "Y", "Z")
    rows = [heads]
    for k, (name, xyz) in enumerate(POINTS.items(), 1):
        cells = [name, *(f"{c:.1f}" for c in xyz)]
        rows.append((str(k), *cells, "M10", "2") if further else tuple(cells))
    for r, row in enumerate(rows):
        for c, cell in enumerate(row):
            doc.modelspace().add_text(cell, height=3, dxfattribs={"insert": (70.0 * c, -8.0 * r)})
    return doc


@pytest.mark.parametrize("further", [False, True])
def test_a_parts_table_with_further_columns(tmp_path: Path, further: bool) -> None:
    _right(save(_table(further), tmp_path / "d.dxf"), views={"source": "text table"})


def test_rows_of_letters_and_figures(tmp_path: Path) -> None:
    doc = new()
    for k, (name, (x, y, z)) in enumerate(POINTS.items()):
        doc.modelspace().add_text(f"{name} X{x} Y{y} Z{z}", height=3, dxfattribs={"insert": (0, -8.0 * k)})
    _right(save(doc, tmp_path / "d.dxf"), views={"source": "text table"})


def test_such_a_row_beside_a_mark_is_its_label_and_checks_it(tmp_path: Path) -> None:
    for slip in (0.0, 40.0):
        doc = new()
        for name, (x, y, z) in POINTS.items():
            said = y + slip if name == "tie_outer" else y
            doc.modelspace().add_point((x, y, z))
            text = f"{name} X{x:.0f} Y{said:.0f} Z{z:.0f}"
            doc.modelspace().add_text(text, height=3, dxfattribs={"insert": (x + 4.0, y + 4.0, z)})
        reading = read_drawing(save(doc, tmp_path / "d.dxf"))
        assert ("tie_outer" in reading.points) is (slip == 0.0)
        assert max(errors_mm(reading.points).values()) < 1e-6


def test_both_corners_in_the_front_view_with_a_side_told(tmp_path: Path) -> None:
    doc, views = new(), three_views()
    views[0]["origin"][0] -= 300.0
    draw_views(doc, views)
    other = {n: (x, -y, z) for n, (x, y, z) in POINTS.items()}
    draw_views(doc, [{**views[0], "title": "FRONT VIEW"}], other, np.random.default_rng(8))
    path = save(doc, tmp_path / "d.dxf")
    _right(path, side="left", views=plan_of(views))


def test_a_detail_at_a_scale_of_its_own_when_every_scale_is_told(tmp_path: Path) -> None:
    doc, views = new(), three_views()
    views[0]["origin"][0] += 900.0
    detail = {
        "name": "detail",
        "axes": ["y", "z"],
        "origin": [-1500.0, -900.0],
        "m": 1.0,
        "title": "DETAIL A, SCALE 1:1",
    }
    draw_views(doc, views)
    some = {n: POINTS[n] for n in ("lower_outer", "upper_outer", "tie_outer", "wheel_centre")}
    draw_views(doc, [detail], some)
    for view in (views[0], detail):
        a, b = place(view, POINTS["tie_outer"]), place(view, POINTS["wheel_centre"])
        base = (0.0, float(a[1]) - 20.0)
        doc.modelspace().add_linear_dim(base, tuple(a), tuple(b), override={"dimlfac": view["m"]}).render()
    doc.modelspace().add_text("SCALE 1:5", height=4, dxfattribs={"insert": (0, -200)})
    plan = plan_of([*views, detail])
    spread = {v["name"]: np.array([place(v, p) for p in POINTS.values()]) for v in [*views, detail]}
    for name, view in plan["views"].items():
        low, high = spread[name].min(axis=0) - 12.0, spread[name].max(axis=0) + 12.0
        view["region"] = [float(c) for c in (*low, *high)]
    _right(save(doc, tmp_path / "d.dxf"), views=plan)


def test_attributes_of_a_block_that_is_more_than_a_symbol(tmp_path: Path) -> None:
    """A flag with a pole, its name and three figures as attributes in one line: no table, and no text among others."""
    doc = new()
    block = doc.blocks.new("FLAG")
    block.add_circle((0, 0), 1.0)
    block.add_line((0, 0), (0, 9))
    for corner in ((0, 9), (6, 9), (6, 12)):
        block.add_line(corner, (corner[0] + 6, corner[1]))
    for tag in ("NAME", "A", "B", "C"):
        block.add_attdef(tag, (0, 0))
    for name, (x, y, z) in POINTS.items():
        flag = doc.modelspace().add_blockref("FLAG", (x, y, z))
        for k, words in enumerate((name, "10.5", "20.5", "30.5")):
            tag = ("NAME", "A", "B", "C")[k]
            flag.add_attrib(tag, words, (x + 1.0 + 30.0 * k, y + 9.5, z), dxfattribs={"height": 2.0})
    _right(save(doc, tmp_path / "d.dxf"))


def test_a_place_in_the_name_table_beats_every_text(tmp_path: Path) -> None:
    """The label is drawn at the wrong circle; the table says where the point is."""
    doc, views = new(), three_views()
    swapped = {"tie_outer": "lower_outer", "lower_outer": "tie_outer"}
    draw_views(doc, views, label=lambda n: swapped.get(n, n))
    rows = {f"@{u:.4f},{v:.4f}": n for n in swapped for u, v in (place(w, POINTS[n]) for w in views)}
    _right(save(doc, tmp_path / "d.dxf"), views=plan_of(views), names=rows)


def test_the_pick_list_holds_line_ends_and_names_the_draft(tmp_path: Path) -> None:
    doc = new()
    for xyz in list(POINTS.values())[:6]:
        doc.modelspace().add_circle(xyz, 1.0)
    doc.modelspace().add_line((7, 650, 131), (9, 300, 400))
    with pytest.raises(Exception, match=r'"@9,300,400" LINE') as caught:
        read_drawing(save(doc, tmp_path / "d.dxf"))
    assert "--draft" in str(caught.value)


def test_the_pick_list_and_the_draft_hold_every_place_of_a_crowded_drawing(tmp_path: Path) -> None:
    doc, rng = new(), np.random.default_rng(4)
    places = rng.uniform(0.0, 900.0, (450, 3)).round(1)
    for xyz in places:
        doc.modelspace().add_circle(xyz, 1.0)
    job = look_at_drawing(save(doc, tmp_path / "d.dxf"))
    said = next(f.text for f in job.log.findings if f.code == "names-missing")
    assert "#400 " in said
    assert "and 50 more" in said
    labels = {r.split('"')[1] for r in names_text(sketch(job)).splitlines() if r.startswith('"@')}
    assert labels == {"@" + ",".join(f"{c:g}" for c in xyz) for xyz in places}
