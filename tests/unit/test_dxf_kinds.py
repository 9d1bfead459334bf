"""Kinds of drawing beyond the collected files: every one is read right, or refused with the cause named."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from kin3d.errors import ReadingError, Severity
from kin3d.reading.dxf import read_drawing, read_drawing_points
from tests.unit.drawn import POINTS, draw_space, draw_views, errors_mm, new, place, plan_of, save, three_views

ALL = set(POINTS)
TIGHT = 1e-6


def _read(doc: Any, tmp_path: Path, binary: bool = False, **kwargs: Any) -> Any:
    return read_drawing(save(doc, tmp_path / "d.dxf", binary), **kwargs)


def _refused(doc: Any, tmp_path: Path, code: str, **kwargs: Any) -> str:
    """The text of the finding; either nothing is read, or the finding is an error beside what is right."""
    try:
        reading = _read(doc, tmp_path, **kwargs)
    except ReadingError as err:
        findings = err.findings
    else:
        assert max(errors_mm(reading.points).values(), default=0.0) < TIGHT
        findings = reading.findings
    found = [f for f in findings if f.code == code]
    assert found, [f"{f.code}: {f.text}" for f in findings]
    return " ".join(str(f) for f in found)


def _right(reading: Any, names: set[str] = ALL, tol: float = TIGHT) -> None:
    assert set(reading.points) == names, [str(f) for f in reading.findings]
    assert max(errors_mm(reading.points).values()) <= tol


# --- the door -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("version", ["R12", "R2000", "R2004", "R2007", "R2010", "R2013", "R2018"])
@pytest.mark.parametrize("binary", [False, True])
def test_all_versions_ascii_and_binary(tmp_path: Path, version: str, binary: bool) -> None:
    doc = new(version=version)
    draw_space(doc)
    _right(_read(doc, tmp_path, binary, units="mm"))


def test_cut_binary_file_is_refused(tmp_path: Path) -> None:
    doc = new()
    draw_space(doc)
    path = save(doc, tmp_path / "d.dxf", binary=True)
    path.write_bytes(path.read_bytes()[:-3000])
    with pytest.raises(ReadingError, match="truncated"):
        read_drawing(path)


@pytest.mark.parametrize(
    ("content", "said"),
    [(b"", "is empty"), (b"AC1032\x00\x00 something", "DWG"), (b"point,x,y,z\na,1,2,3\n", "no DXF file"),
     (b"%PDF-1.7 SECTION", "no DXF file")],
)  # fmt: skip
def test_files_that_are_no_dxf(tmp_path: Path, content: bytes, said: str) -> None:
    path = tmp_path / "d.dxf"
    path.write_bytes(content)
    with pytest.raises(ReadingError, match=said):
        read_drawing(path)


def test_a_missing_file_and_a_folder(tmp_path: Path) -> None:
    for path in (tmp_path / "none.dxf", tmp_path):
        with pytest.raises(ReadingError, match="cannot be opened"):
            read_drawing(path)


def test_empty_export(tmp_path: Path) -> None:
    assert "empty" in _refused(new(), tmp_path, "drawing-empty")


def test_external_reference_only(tmp_path: Path) -> None:
    doc = new()
    doc.add_xref_def("corner.dwg", "CORNER")
    doc.modelspace().add_blockref("CORNER", (0, 0))
    assert "corner.dwg" in _refused(doc, tmp_path, "external-reference")


def test_everything_frozen(tmp_path: Path) -> None:
    doc = new()
    doc.layers.add("HP").freeze()
    draw_space(doc)
    _refused(doc, tmp_path, "drawing-hidden")


# --- units, axes, datum -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("code", "unit_mm"), [(1, 25.4), (5, 10.0), (6, 1000.0)])
def test_header_units(tmp_path: Path, code: int, unit_mm: float) -> None:
    doc = new(code)
    draw_space(doc, unit_mm=unit_mm)
    _right(_read(doc, tmp_path))


def test_unit_against_header_is_refused_where_sizes_do_not_tell(tmp_path: Path) -> None:
    doc = new(5)
    draw_space(doc, unit_mm=10.0)
    _refused(doc, tmp_path, "unit-contradiction", units="in")
    doc = new(4)
    draw_space(doc)
    _refused(doc, tmp_path, "unit-contradiction", units="in")


def test_override_takes_the_users_unit(tmp_path: Path) -> None:
    doc = new(1)
    draw_space(doc, unit_mm=10.0)
    _refused(doc, tmp_path, "unit-contradiction", units="cm")
    _right(_read(doc, tmp_path, units="cm", views={"override": ["units"]}))


def test_axes_are_applied_and_wrong_axes_are_seen(tmp_path: Path) -> None:
    doc = new()
    draw_space(doc, {n: (-x, -y, z) for n, (x, y, z) in POINTS.items()})
    _right(_read(doc, tmp_path, axes="x rearward, y right, z up"))
    assert "lower_front lies behind lower_rear" in _refused(doc, tmp_path, "sense")


def test_origin_in_the_drawing(tmp_path: Path) -> None:
    doc = new()
    draw_space(doc, {n: (x + 2500.0, y + 30.0, z - 12.0) for n, (x, y, z) in POINTS.items()})
    _right(_read(doc, tmp_path, views={"origin": [2500, 30, -12]}))


# --- names -----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "label",
    [str.upper, lambda n: n.replace("_", " ").title(), lambda n: n.replace("_", "-"), lambda n: f"{n}_LH",
     lambda n: f"({n})", lambda n: f"{n.replace('_', '.')} (L)", lambda n: f"%%u{n}"],
)  # fmt: skip
def test_spellings(tmp_path: Path, label: Any) -> None:
    doc = new()
    draw_space(doc, label=label)
    _right(_read(doc, tmp_path))


def test_name_table_with_umlauts(tmp_path: Path) -> None:
    own = {n: f"Stößel {i} außen" for i, n in enumerate(POINTS)}
    doc = new()
    draw_space(doc, label=own.get)
    _right(_read(doc, tmp_path, names={f"STOESSEL {i} AUSSEN": n for i, n in enumerate(POINTS)}))


@pytest.mark.parametrize("encoding", ["utf-8", "cp1252"])
def test_umlauts_in_old_versions_in_either_encoding(tmp_path: Path, encoding: str) -> None:
    own = {n: f"Gelenk {i} außen" for i, n in enumerate(POINTS)}
    doc = new(version="R2000")
    draw_space(doc, label=lambda n: own[n].replace("ß", "QQ"))
    path = save(doc, tmp_path / "d.dxf")
    path.write_bytes(path.read_bytes().replace(b"QQ", "ß".encode(encoding)))
    _right(read_drawing(path, names={label: n for n, label in own.items()}))


@pytest.mark.parametrize(
    ("rows", "said"),
    [("name,point\na,b\n", 'must start with "label,point"'), ("label,point\nA,x\na,y\n", "given two points"),
     ("label,point,ends\nL,a b,\n", "which end comes first"), ('label,point\n"@1,b",a\n', 'expected "@x,y"'),
     ('label,point\n"@1,2,3",tie_inner\n', "no mark and no line ends")],
)  # fmt: skip
def test_mistakes_in_a_name_table(tmp_path: Path, rows: str, said: str) -> None:
    doc = new()
    draw_space(doc)
    table = tmp_path / "n.csv"
    table.write_text(rows, "utf-8")
    path = save(doc, tmp_path / "d.dxf")
    with pytest.raises(ReadingError, match=said):
        read_drawing(path, names=table)


def test_keys_with_a_legend(tmp_path: Path) -> None:
    """Eleven keys and more: "1" is not "10"."""
    keys = {n: str(i + 1) for i, n in enumerate(POINTS)}
    doc = new()
    draw_space(doc, label=keys.get)
    for i, (name, key) in enumerate(keys.items()):
        doc.modelspace().add_text(
            f"{key}  {name.replace('_', ' ')}", height=10, dxfattribs={"insert": (2000, -20 * i, 0)}
        )
    _right(_read(doc, tmp_path))


def test_keys_with_a_legend_in_two_columns(tmp_path: Path) -> None:
    keys = {n: str(i + 1) for i, n in enumerate(POINTS)}
    doc = new()
    draw_space(doc, label=keys.get)
    for i, (name, key) in enumerate(keys.items()):
        doc.modelspace().add_text(key, height=10, dxfattribs={"insert": (2000, -20 * i, 0)})
        doc.modelspace().add_text(name, height=10, dxfattribs={"insert": (2040, -20 * i, 0)})
    _right(_read(doc, tmp_path))


def test_keys_in_balloons(tmp_path: Path) -> None:
    """A circle around the key at the end of its leader is no point."""
    doc, views, rng = new(), three_views(), np.random.default_rng(11)
    space = doc.modelspace()
    for view in views:
        for k, xyz in enumerate(POINTS.values(), 1):
            uv, turn = place(view, xyz), rng.uniform(0.0, 2.0 * np.pi)
            way = np.array([np.cos(turn), np.sin(turn)])
            space.add_circle(tuple(uv), 0.8)
            space.add_line(tuple(uv), tuple(uv + 9.0 * way))
            space.add_circle(tuple(uv + 11.0 * way), 2.0)
            middle = tuple(uv + 11.0 * way)
            space.add_text(str(k), height=1.6, dxfattribs={"insert": middle, "halign": 4, "align_point": middle})
    for k, name in enumerate(POINTS, 1):
        space.add_text(f"{k}: {name}", height=2.0, dxfattribs={"insert": (-150.0, -4.0 * k)})
    reading = _read(doc, tmp_path, views=plan_of(views))
    assert max(errors_mm(reading.points).values()) < TIGHT
    assert len(reading.points) >= 13


def test_a_large_drawing_around_does_not_matter(tmp_path: Path) -> None:
    """The tyre is still too large to be a symbol when the sheet's extent is not its own."""
    doc, views = new(), three_views()
    draw_views(doc, views)
    doc.modelspace().add_circle((9000.0, 9000.0), 1.5)
    doc.modelspace().add_point((-9000.0, 9000.0))
    _right(_read(doc, tmp_path, views=plan_of(views)))


def test_keys_without_legend_are_refused(tmp_path: Path) -> None:
    doc = new()
    draw_space(doc, label=lambda n: str(list(POINTS).index(n) + 1))
    assert '"@' in _refused(doc, tmp_path, "names-missing")


def test_both_corners_by_suffix(tmp_path: Path) -> None:
    doc = new()
    draw_space(doc, label=lambda n: f"{n} L")
    draw_space(doc, {n: (x, -y, z) for n, (x, y, z) in POINTS.items()}, label=lambda n: f"{n} R")
    _refused(doc, tmp_path, "side-missing")
    _right(_read(doc, tmp_path, side="left"))


def test_old_revision_on_a_layer_that_is_on(tmp_path: Path) -> None:
    doc = new()
    draw_space(doc, layer="REV_B")
    draw_space(doc, {n: (x + 9.0, y - 4.0, z + 6.0) for n, (x, y, z) in POINTS.items()}, layer="REV_A")
    assert "REV_A" in _refused(doc, tmp_path, "label-twice")
    _right(_read(doc, tmp_path, views={"layers": ["REV_B"]}))
    _right(_read(doc, tmp_path, views={"ignore_layers": ["REV_A"]}))


def test_written_coordinates_are_checked(tmp_path: Path) -> None:
    doc = new()
    for name, xyz in POINTS.items():
        wrong = (xyz[0] + 7.0, *xyz[1:]) if name == "tie_inner" else xyz
        text = f"{name}\\P({wrong[0]:g}; {wrong[1]:g}; {wrong[2]:g})"
        doc.modelspace().add_point(xyz)
        doc.modelspace().add_mtext(text, dxfattribs={"insert": (xyz[0] + 4, xyz[1] + 4, xyz[2]), "char_height": 5})
    text = _refused(doc, tmp_path, "written-contradiction")
    assert "tie_inner" in text
    assert "its label says (91, 249, 187)" in text
    assert set(_read(doc, tmp_path).points) == ALL - {"tie_inner"}


def test_hand_placed_labels_far_apart_and_a_label_between_two_points(tmp_path: Path) -> None:
    rng = np.random.default_rng(2)
    doc = new()
    points = {n: POINTS[n] for n in ("lower_front", "lower_rear", "lower_outer", "upper_front", "tie_outer")}
    for name, xyz in points.items():
        doc.modelspace().add_point(xyz)
        step = rng.uniform(-9.0, 9.0, 3) * (1, 1, 0)
        doc.modelspace().add_text(name, height=4, dxfattribs={"insert": tuple(np.array(xyz) + step)})
    doc.modelspace().add_point((0, 300, 100))
    doc.modelspace().add_point((0, 300, 120))
    doc.modelspace().add_text("rod_inner", height=4, dxfattribs={"insert": (0, 300, 110)})
    reading = _read(doc, tmp_path)
    assert set(reading.points) <= set(points)
    assert len(reading.points) >= 4
    assert max(errors_mm(reading.points).values()) < TIGHT
    text = next(f.text for f in reading.findings if f.code == "label-doubt" and "rod_inner" in f.text)
    assert "(0, 300, 100)" in text
    assert "(0, 300, 120)" in text


def test_attributes_in_arrays_scaled_and_zero_scale(tmp_path: Path) -> None:
    doc = new()
    block = doc.blocks.new("HP")
    block.add_circle((2.0, 0.0), 1.0)
    block.add_attdef("NAME", (3, 3))
    for name, (x, y, z) in POINTS.items():
        # the pickup point is the circle inside: off the insertion point by 2 * xscale, turned with the block
        insert = doc.modelspace().add_blockref(
            "HP", (x, y - 6.0, z), dxfattribs={"xscale": 3, "yscale": 3, "zscale": 3, "rotation": 90}
        )
        insert.add_attrib("NAME", name, (x, y))
    doc.modelspace().add_blockref("HP", (50, 50, 0), dxfattribs={"xscale": 0, "yscale": 0, "zscale": 0})
    _right(_read(doc, tmp_path), tol=1e-9)


def test_blocks_that_go_round_in_a_circle_end(tmp_path: Path) -> None:
    doc = new()
    a, b = doc.blocks.new("A"), doc.blocks.new("B")
    a.add_blockref("B", (1, 0))
    b.add_blockref("A", (0, 1))
    b.add_blockref("A", (0, 2))
    doc.modelspace().add_blockref("A", (0, 0))
    draw_space(doc)
    _right(_read(doc, tmp_path))


def test_labels_in_paper_space_through_a_viewport(tmp_path: Path) -> None:
    doc = new()
    for xyz in POINTS.values():
        doc.modelspace().add_point(xyz)
    sheet = doc.layout("Layout1")
    view = sheet.add_viewport((150, 150), (280, 280), (400, 300), 840)
    view.dxf.view_direction_vector = (1, 0, 0)
    view.dxf.view_center_point = (400, 300)
    for name, (_, y, z) in POINTS.items():
        u, v = 150 + (y - 400) / 3.0, 150 + (z - 300) / 3.0
        sheet.add_line((u, v), (u + 4, v + 3))
        sheet.add_text(name, height=1.5, dxfattribs={"insert": (u + 4, v + 3)})
    _right(_read(doc, tmp_path), tol=1e-6)


def test_labels_in_paper_space_without_viewport(tmp_path: Path) -> None:
    doc = new()
    for xyz in POINTS.values():
        doc.modelspace().add_point(xyz)
    for i, name in enumerate(POINTS):
        doc.layout("Layout1").add_text(name, height=2, dxfattribs={"insert": (10, 10 * i)})
    _refused(doc, tmp_path, "names-in-paper")


# --- sheets -----------------------------------------------------------------


@pytest.mark.parametrize("leader", ["LINE", "LEADER", "POLYLINE"])
def test_sheets_with_leaders(tmp_path: Path, leader: str) -> None:
    doc, views = new(), three_views()
    draw_views(doc, views, leader=leader)
    _right(_read(doc, tmp_path, views=plan_of(views)))


def test_multileaders(tmp_path: Path) -> None:
    from ezdxf.math import Vec2
    from ezdxf.render.mleader import ConnectionSide

    doc, views, rng = new(), three_views(), np.random.default_rng(8)
    doc.mleader_styles.new("S") if "S" not in doc.mleader_styles else None
    for view in views:
        for name, xyz in POINTS.items():
            uv = place(view, xyz)
            doc.modelspace().add_circle(tuple(uv), 1.0)
            builder = doc.modelspace().add_multileader_mtext("S")
            builder.set_content(name, char_height=1.5)
            builder.add_leader_line(ConnectionSide.left, [Vec2(tuple(uv))])
            builder.build(insert=Vec2(tuple(uv + rng.uniform(3, 8, 2))))
    _right(_read(doc, tmp_path, views=plan_of(views)))


@pytest.mark.parametrize("how", ["polyline", "lines", "arcs", "bulges", "spline", "circle in block"])
def test_circles_drawn_otherwise(tmp_path: Path, how: str) -> None:
    doc, views = new(), three_views()
    draw_views(doc, views)
    space = doc.modelspace()
    block = doc.blocks.new("O")
    block.add_circle((0, 0), 1.0)
    for circle in list(space.query("CIRCLE")):
        centre, r = np.array(tuple(circle.dxf.center))[:2], circle.dxf.radius
        corners = [tuple(centre + r * np.array([np.cos(a), np.sin(a)])) for a in np.linspace(0, 2 * np.pi, 25)]
        if how == "polyline":
            space.add_polyline2d(corners, close=True)
        elif how == "lines":
            for a, b in zip(corners[:-1], [*corners[1:-1], corners[0]], strict=True):
                space.add_line(a, b)
        elif how == "arcs":
            space.add_arc(tuple(centre), r, 10, 190)
            space.add_arc(tuple(centre), r, 190, 10)
        elif how == "bulges":
            space.add_lwpolyline(
                [(centre[0] - r, centre[1], 1), (centre[0] + r, centre[1], 1)], format="xyb", close=True
            )
        elif how == "spline":
            space.add_spline_control_frame(corners[:-1] + corners[:1], degree=3)
        else:
            space.add_blockref("O", tuple(centre), dxfattribs={"xscale": r, "yscale": r})
        space.delete_entity(circle)
    reading = _read(doc, tmp_path, views=plan_of(views))
    if how == "spline":
        _right(reading, tol=0.5)
    else:
        _right(reading, tol=1e-4)


def test_two_views(tmp_path: Path) -> None:
    doc, views = new(), three_views()[:2]
    draw_views(doc, views)
    _right(_read(doc, tmp_path, views=plan_of(views)))


def test_first_angle_mirrored_and_nose_up(tmp_path: Path) -> None:
    views = [
        {"name": "rear", "axes": ["-y", "z"], "origin": [200, 300], "m": 5.0},
        {"name": "side", "axes": ["x", "z"], "origin": [400, 300], "m": 5.0},
        {"name": "plan", "axes": ["-y", "x"], "origin": [200, 60], "m": 5.0},
    ]
    doc = new()
    draw_views(doc, views)
    _right(_read(doc, tmp_path, views=plan_of(views)))


def test_views_of_different_scale(tmp_path: Path) -> None:
    views = three_views(5.0)
    views[0]["m"] = 4.0
    doc = new()
    draw_views(doc, views)
    _right(_read(doc, tmp_path, views=plan_of(views)))


def test_views_on_layers_of_their_own_names_and_in_blocks(tmp_path: Path) -> None:
    views = three_views()
    doc = new()
    for view in views:
        block = doc.blocks.new(view["name"].upper())
        for name, xyz in POINTS.items():
            uv = place(view, xyz)
            block.add_circle(tuple(uv), 1.0)
            block.add_text(name, height=1.5, dxfattribs={"insert": (uv[0] + 2.0, uv[1] + 1.0)})
        doc.modelspace().add_blockref(block.name, (0, 0))
    _right(_read(doc, tmp_path, views=plan_of(views)))


def test_one_view_only_reports_what_is_missing(tmp_path: Path) -> None:
    doc, views = new(), three_views()
    draw_views(doc, views[:2])
    extra = place(views[0], (10.0, 400.0, 333.0))
    doc.modelspace().add_circle(tuple(extra), 1.0)
    doc.modelspace().add_text("wheel_axis", height=1.8, dxfattribs={"insert": (extra[0] + 3.0, extra[1] + 3.0)})
    doc.modelspace().add_line(tuple(extra), (extra[0] + 3.0, extra[1] + 3.0))
    reading = _read(doc, tmp_path, views=plan_of(views[:2]))
    _right(reading)
    text = next(f.text for f in reading.findings if f.code == "coordinate-missing")
    assert "x is missing" in text
    np.testing.assert_allclose(reading.partial["wheel_axis"].xyz_mm[1:], [400.0, 333.0], rtol=0.0, atol=1e-9)


def test_a_contradiction_does_not_spoil_the_other_points(tmp_path: Path) -> None:
    """With offsets to be found, one point 60 mm wrong in one view would pull all others by 4 mm."""
    doc, views = new(), three_views()
    draw_views(doc, views[:2])
    bad = dict(POINTS, tie_outer=(91.5, 646.0, 236.0))
    draw_views(doc, [views[2]], bad)
    doc2 = new()
    draw_views(doc2, [views[0], views[2]])
    draw_views(doc2, [views[1]], bad)
    plan = plan_of(views)
    for view in plan["views"].values():
        del view["origin"]
    plan["known"] = {"upper_front": list(POINTS["upper_front"])}
    reading = _read(doc2, tmp_path, views=plan)
    _right(reading, ALL - {"tie_outer"})
    assert "views-disagree" in {f.code for f in reading.findings if f.severity is Severity.ERROR}


def test_axes_found_from_known_points_and_refused_where_they_are_not_settled(tmp_path: Path) -> None:
    doc, views = new(), three_views()
    draw_views(doc, views)
    plan = plan_of(views)
    for view in plan["views"].values():
        del view["axes"], view["origin"]
    some = ("lower_front", "upper_rear", "wheel_centre", "spring_inner")
    reading = _read(doc, tmp_path, views={**plan, "known": {n: list(POINTS[n]) for n in some}})
    _right(reading)
    assert "view-axes-assumed" in {f.code for f in reading.findings}
    assert "ways" in _refused(
        doc, tmp_path, "view-ambiguous", views={**plan, "known": {"wheel_centre": list(POINTS["wheel_centre"])}}
    )


def test_scale_from_the_title_is_taken_with_a_warning_and_contradictions_are_refused(tmp_path: Path) -> None:
    doc, views = new(), three_views()
    draw_views(doc, views)
    doc.modelspace().add_text("SCALE 1:5", height=4, dxfattribs={"insert": (0, -60)})
    plan = plan_of(views)
    for view in plan["views"].values():
        del view["scale"]
    reading = _read(doc, tmp_path, views=plan)
    _right(reading)
    assert "scale-assumed" in {f.code for f in reading.findings}
    _refused(doc, tmp_path, "scale-contradiction", views={**plan, "scale": "1:4"})
    dimension = doc.modelspace().add_linear_dim(base=(0, -40), p1=(0, -30), p2=(50, -30), text="200")
    dimension.render()
    _refused(doc, tmp_path, "scale-contradiction", views=plan)


def test_no_scale_is_refused(tmp_path: Path) -> None:
    doc, views = new(), three_views()
    draw_views(doc, views)
    plan = plan_of(views)
    for view in plan["views"].values():
        del view["scale"]
    _refused(doc, tmp_path, "scale-missing", views=plan)


def test_fit_scales_corrects_a_view_drawn_one_percent_small(tmp_path: Path) -> None:
    views = three_views()
    drawn = [dict(views[0]), dict(views[1], m=5.05), dict(views[2])]
    doc = new()
    draw_views(doc, drawn)
    plain = _read(doc, tmp_path, views=plan_of(views))
    assert len(plain.points) < len(ALL)
    known = {n: list(POINTS[n]) for n in ("lower_front", "upper_outer", "spring_inner")}
    fitted = _read(doc, tmp_path, views={**plan_of(views), "known": known}, fit_scales=True)
    _right(fitted, tol=0.01)


def test_a_text_table(tmp_path: Path) -> None:
    doc = new()
    for i, (name, xyz) in enumerate(POINTS.items()):
        doc.modelspace().add_text(
            f"{name}  {xyz[0]:.1f}  {xyz[1]:.1f}  {xyz[2]:.1f}", height=5, dxfattribs={"insert": (0, -9 * i)}
        )
    _refused(doc, tmp_path, "table-unconfirmed")
    _right(_read(doc, tmp_path, views={"source": "text table"}), tol=0.05)


def test_decimal_mark_that_cannot_be_told_is_refused(tmp_path: Path) -> None:
    doc = new()
    for i, name in enumerate(POINTS):
        doc.modelspace().add_text(f"{name}  1,500  2,125  3,250", height=5, dxfattribs={"insert": (0, -9 * i)})
    _refused(doc, tmp_path, "table-decimal", views={"source": "text table"})


def test_errors_in_views_toml_come_all_at_once(tmp_path: Path) -> None:
    doc = new()
    draw_space(doc)
    (tmp_path / "d.views.toml").write_text('scal = "1:5"\n[views.front]\naxes = ["y", "y"]\norigin = [1]\n', "utf-8")
    with pytest.raises(ReadingError) as caught:
        _read(doc, tmp_path)
    text = str(caught.value)
    for part in ('did you mean "scale"', "views.front.axes", "views.front.origin", "d.views.toml"):
        assert part in text


def test_a_car_file_gets_a_table_or_all_errors(tmp_path: Path) -> None:
    doc = new()
    draw_space(doc)
    table = read_drawing_points(save(doc, tmp_path / "d.dxf"), units="mm", axes="x forward, y left, z up", layout=None)
    assert set(table.names) == ALL
    assert table.sigma_mm.shape == (len(ALL), 3)
    draw_space(doc, {n: (x, -y, z) for n, (x, y, z) in POINTS.items()})
    both = save(doc, tmp_path / "e.dxf")
    with pytest.raises(ReadingError, match="stands at 2 places"):
        read_drawing_points(both, units="mm")
    assert set(read_drawing_points(both, side="left").names) == ALL


@pytest.mark.parametrize(
    ("change", "said"),
    [({"origin": [34.0, 12.5]}, "one origin is wrong"), ({"axes": ["x", "z"]}, "one axis runs the other way"),
     ({"scale": "1:5.2"}, "one scale is wrong"), ({"axes": ["z", "-x"]}, "have nothing to do with each other")],
)  # fmt: skip
def test_a_wrong_view_is_blamed_once_and_all_points_are_refused(
    tmp_path: Path, change: dict[str, Any], said: str
) -> None:
    doc, views = new(), three_views()
    draw_views(doc, views)
    plan = plan_of(views)
    plan["views"]["side"].update(change, region=[240, -60, 420, 140])
    plan["views"]["front"]["region"] = [-60, -60, 200, 140]
    plan["views"]["plan"]["region"] = [200, 150, 500, 400]
    reading = _read(doc, tmp_path, views=plan)
    assert reading.points == {}
    assert any(said in f.text for f in reading.findings if f.code == "views-misfit")


def test_two_rings_that_nearly_lie_over_each_other_are_two_marks() -> None:
    """Joints 0.3 mm apart in one view: their rings were taken for one, and both joints for its middle."""
    from kin3d.reading.dxf.circles import marks_of
    from kin3d.reading.dxf.content import Origin

    turn = np.linspace(0.0, 2.0 * np.pi, 13)[:-1]
    centres = np.array([[10.0, 5.0, 0.0], [10.03, 4.99, 0.0]])
    rings = [c + np.column_stack([np.cos(turn), np.sin(turn), np.zeros(12)]) for c in centres]
    origin = Origin("LINE", "1A", "0")
    found = marks_of([(ring, origin) for ring in rings], [])
    assert len(found) == 2
    at = sorted((m.xyz for m in found), key=lambda p: float(p[0]))
    np.testing.assert_allclose(at, centres, rtol=0.0, atol=1e-9)
    halves = [(rings[0][:7], origin), (rings[0][6:], origin)]  # pieces of one ring stay one
    assert len(marks_of(halves, [])) == 1


@pytest.mark.parametrize("turned", [0.0, 90.0, 180.0])
def test_rings_that_share_a_corner_are_two_chains(turned: float) -> None:
    """Four lines meet there: both rings were taken for nothing, and their leaders for those of other marks."""
    from kin3d.reading.dxf.circles import chains, fit
    from kin3d.reading.dxf.content import Origin

    turn = np.radians(np.arange(0.0, 360.0, 30.0))
    shared, origin = np.array([3.0, 4.0, 0.0]), Origin("LINE", "1A", "0")
    centres, lines = [], []
    for angle in (0.0, turned):
        outward = np.array([np.cos(np.radians(angle)), np.sin(np.radians(angle)), 0.0])
        centres.append(shared - 2.0 * outward)
        ring = centres[-1] + 2.0 * np.column_stack([np.cos(turn), np.sin(turn), np.zeros(12)])
        lines += [(a, b, origin) for a, b in zip(ring, np.roll(ring, -1, axis=0), strict=True)]
    lines.append((shared, shared, origin))  # a line without length is none
    found = sorted(tuple(np.round(fit(points)[0], 9)) for points, _ in chains(lines))
    assert found == sorted({tuple(np.round(c, 9)) for c in centres})
