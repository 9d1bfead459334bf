"""Every finding of the drawing reader is provoked by a test: those here, and those of the other tests of drawings."""

from __future__ import annotations

import ast
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from kin3d.errors import Finding, ReadingError
from kin3d.reading.dxf import read_drawing
from tests.unit.drawn import POINTS, draw_space, draw_views, new, plan_of, save, three_views

ROOT = Path(__file__).parents[2]
TESTS = [*sorted((ROOT / "tests/unit").glob("test_dxf_*.py")), ROOT / "tests/laws/test_fusion_laws.py"]
Case = tuple[Any, dict[str, Any]]


def _findings(path: Path, **kwargs: Any) -> list[Finding]:
    try:
        return list(read_drawing(path, **kwargs).findings)
    except ReadingError as err:
        return list(err.findings)


def _code_of(call: ast.Call) -> str | None:
    """The code that a call tells, where it tells a finding."""
    name = call.func.attr if isinstance(call.func, ast.Attribute) else getattr(call.func, "id", "")
    at = {"error": 0, "warn": 0, "note": 0, "Finding": 0, "refuse": 1}.get(name)
    first = call.args[at] if at is not None and len(call.args) > at else None
    return first.value if isinstance(first, ast.Constant) and isinstance(first.value, str) else None


def codes() -> set[str]:
    """All codes that stand in the reader's source."""
    calls = [
        node
        for file in (ROOT / "kin3d/reading/dxf").glob("*.py")
        for node in ast.walk(ast.parse(file.read_text("utf-8")))
        if isinstance(node, ast.Call)
    ]
    return {code for call in calls if (code := _code_of(call)) is not None}


def test_every_code_stands_in_a_test() -> None:
    told = codes()
    assert len(told) > 60
    written = {
        node.value
        for file in TESTS
        for node in ast.walk(ast.parse(file.read_text("utf-8")))
        if isinstance(node, ast.Constant) and isinstance(node.value, str)
    }
    assert sorted(told - written) == []


# --- what a drawing is drawn like, and what is said of it: code -> (drawing, what is given) ---------------------------


def _space(**given: Any) -> Case:
    doc = new()
    draw_space(doc)
    return doc, given


def _sheet(**given: Any) -> Case:
    doc, views = new(), three_views()
    draw_views(doc, views)
    return doc, {"views": {**plan_of(views), **given}}


def _attribute_moved() -> Case:
    doc = new()
    block = doc.blocks.new("HP")
    block.add_circle((0.0, 0.0), 1.0)
    block.add_attdef("NAME", (3, 3))
    for name, (x, y, z) in POINTS.items():
        aside = 9.0 if name == "tie_inner" else 3.0
        doc.modelspace().add_blockref("HP", (x, y, z)).add_attrib("NAME", name, (x + aside, y + 3.0, z))
    return doc, {}


def _entity_unreadable() -> Case:
    doc, given = _space()
    doc.modelspace().add_blockref("NOT_THERE", (0, 0))
    return doc, given


def _label_near() -> Case:
    doc = new()
    for k, (name, xyz) in enumerate(POINTS.items()):
        doc.modelspace().add_point(xyz)
        step = (3.0 + 1.7 * (k % 4), 6.5 - 2.9 * (k % 5), 0.0)
        doc.modelspace().add_text(
            name, height=3, dxfattribs={"insert": tuple(a + b for a, b in zip(xyz, step, strict=True))}
        )
    return doc, {}


def _words_of_no_layout() -> Case:
    doc = new()
    draw_space(doc, label=lambda n: f"spot {'abcdefghijklmno'[list(POINTS).index(n)]}")
    return doc, {}


def _link_ends() -> Case:
    doc = new()
    doc.modelspace().add_line((0, 300, 0), (100, 300, 0), dxfattribs={"layer": "LEG"})
    return doc, {"names": "label,point,ends\nLEG,lower_front lower_outer,inboard first\n"}


def _words_alone() -> Case:
    doc = new()
    doc.modelspace().add_text("for information", height=5)
    return doc, {}


def _behind_each_other() -> Case:
    doc = new()
    for z in (100.0, 200.0):
        doc.modelspace().add_point((1.0, 2.0, z))
    return doc, {"names": {"@1,2": "tie_inner"}}


def _two_scales() -> Case:
    doc, given = _sheet()
    for k, text in enumerate(("SCALE 1:5", "SCALE 1:2")):
        doc.modelspace().add_text(text, height=4, dxfattribs={"insert": (0, -60 - 9 * k)})
    for view in given["views"]["views"].values():
        del view["scale"]
    return doc, given


def _one_point_on_the_other_side() -> Case:
    doc = new()
    draw_space(doc, {n: p for n, p in POINTS.items() if n != "tie_inner"})
    draw_space(doc, {n: (x, -y, z) for n, (x, y, z) in POINTS.items()})
    return doc, {"side": "left"}


def _regions(*regions: list[float]) -> Case:
    doc, given = _sheet()
    for view, region in zip(given["views"]["views"].values(), regions, strict=True):
        view["region"] = region
    return doc, given


def _unlike_views() -> Case:
    doc, views = new(), three_views()
    draw_views(doc, views[1:])
    draw_views(doc, views[:1], dict(POINTS, tie_outer=(91.5, 646.5, 176.5)))
    return doc, {"views": plan_of(views)}


def _names_twice_on_a_flat_sheet() -> Case:
    doc, views = new(), [{**v, "title": "DETAIL"} for v in three_views()[:2]]
    draw_views(doc, views)
    return doc, {}


def _unit(code: int | None, units: str) -> Case:
    doc = new(code)
    draw_space(doc)
    return doc, {"units": units}


WIDE, AWAY = [-1e4, -1e4, 1e4, 1e4], [9e4, 9e4, 9.1e4, 9.1e4]
CASES: dict[str, Callable[[], Case]] = {
    "attribute-moved": _attribute_moved,
    "entity-unreadable": _entity_unreadable,
    "known-unseen": lambda: _sheet(known={"bar_axis_1": [0, 100, 200], "wheel_centre": list(POINTS["wheel_centre"])}),
    "label-near": _label_near,
    "label-unknown": _words_of_no_layout,
    "link-ends": _link_ends,
    "marks-missing": _words_alone,
    "name-unknown": lambda: _space(names={"A": "tie_outside"}, layout_points=tuple(POINTS)),
    "names-ends": lambda: _space(names="label,point,ends\nLEG,lower_front lower_outer,\n"),
    "names-header": lambda: _space(names="name,point\na,b\n"),
    "names-place": lambda: _space(names='label,point\n"@1,b",tie_inner\n'),
    "names-row": lambda: _space(names="label,point\nA,\n"),
    "names-twice": lambda: _space(names="label,point\nA,tie_inner\na,tie_outer\n"),
    "names-unreadable": lambda: _space(names=b"label,point\n\xff\xfe,tie_inner\n"),
    "place-empty": lambda: _space(names={"@1,2,3": "tie_inner"}),
    "place-several": _behind_each_other,
    "scale-several": _two_scales,
    "side": lambda: _space(side="up"),
    "side-wrong": _one_point_on_the_other_side,
    "size-odd": lambda: _unit(None, "m"),
    "table-missing": lambda: _space(views={"source": "text table"}),
    "tolerance": lambda: _space(tolerance_mm=0.0),
    "unit-not-stated": lambda: _unit(None, "mm"),
    "view-overlap": lambda: _regions(WIDE, WIDE, AWAY),
    "views-agree": _unlike_views,
    "views-empty": lambda: _regions(AWAY, AWAY, AWAY),
    "views-key": lambda: _space(views={"scal": "1:5"}),
    "views-missing": _names_twice_on_a_flat_sheet,
    "views-unreadable": lambda: _space(views=b"scale = ["),
}


@pytest.mark.parametrize("code", CASES)
def test_the_finding_is_told(code: str, tmp_path: Path) -> None:
    doc, given = CASES[code]()
    for key, file in (("names", "names.csv"), ("views", "views.toml")):
        said = given.get(key)
        if isinstance(said, str | bytes):
            (tmp_path / file).write_bytes(said if isinstance(said, bytes) else said.encode())
            given[key] = tmp_path / file
    found = _findings(save(doc, tmp_path / "d.dxf"), **given)
    told = [f for f in found if f.code == code]
    assert told, [f"{f.code}: {f.text}" for f in found]
    assert all(f.text and f.place for f in told)


# --- files ------------------------------------------------------------------------------------------------------------


def _file(tmp_path: Path) -> Path:
    doc = new()
    draw_space(doc)
    doc.modelspace().add_line((0, 0), (1, 1))
    return save(doc, tmp_path / "d.dxf")


def _tell(path: Path, content: bytes, repair: bool = False) -> set[str]:
    path.write_bytes(content)
    return {f.code for f in _findings(path, repair=repair)}


@pytest.mark.parametrize(
    ("content", "code"),
    [(b"", "file-empty"), (b"AC1032\x00 and more", "file-kind"), (b"point,x,y,z\n", "file-kind"),
     (b"  0\nSECTION\n  2\nENTITIES\nzero\nLINE\n  0\nENDSEC\n  0\nEOF\n", "file-damaged")],
)  # fmt: skip
def test_files_that_are_no_drawing(content: bytes, code: str, tmp_path: Path) -> None:
    assert code in _tell(tmp_path / "d.dxf", content)


def test_a_file_that_is_not_there(tmp_path: Path) -> None:
    assert [f.code for f in _findings(tmp_path / "none.dxf")] == ["file-missing"]


def test_what_the_library_mends_is_told(tmp_path: Path) -> None:
    doc = new()
    draw_space(doc)
    doc.modelspace().add_line((0, 0), (1, 1), dxfattribs={"linetype": "NOT_THERE"})
    found = _findings(save(doc, tmp_path / "d.dxf"), repair=True)
    assert any("linetype not_there" in f.text for f in found if f.code == "file-repaired")


def test_entities_that_the_library_passes_over_are_counted(tmp_path: Path) -> None:
    path = _file(tmp_path)
    raw = path.read_bytes().replace(b"\r\n", b"\n")
    stray = b"  0\nSECTION\n  2\nSTRAY\n  0\nLINE\n  8\n0\n 10\n0.0\n 20\n0.0\n 11\n1.0\n 21\n1.0\n  0\nENDSEC\n"
    at = raw.rindex(b"  0\nEOF")
    assert "entities-lost" in _tell(path, raw[:at] + stray + raw[at:])


def test_three_rows_for_one_point_are_none(tmp_path: Path) -> None:
    """The third row was taken where the first two had been refused."""
    doc = new()
    rows = [*POINTS.items(), ("tie_inner", (1.5, 2.5, 3.5)), ("tie_inner", (4.5, 5.5, 6.5))]
    for i, (name, (x, y, z)) in enumerate(rows):
        doc.modelspace().add_text(f"{name}  {x}  {y}  {z}", height=5, dxfattribs={"insert": (0, -9 * i)})
    reading = read_drawing(save(doc, tmp_path / "d.dxf"), views={"source": "text table"})
    assert set(reading.points) == set(POINTS) - {"tie_inner"}
    assert "label-twice" in {f.code for f in reading.findings}
