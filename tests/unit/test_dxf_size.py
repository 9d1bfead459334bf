"""Time grows with the size of a drawing and no faster: long texts, long tables, blocks that multiply into millions.

The limits are seconds of the processor, many times what each case takes; what they catch takes minutes or never ends.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from kin3d.errors import ReadingError
from kin3d.reading.dxf import read_drawing
from kin3d.reading.dxf.circles import fit
from kin3d.reading.dxf.tables import coordinate_rows, header_of
from kin3d.reading.dxf.wording import coordinates, is_number, key_entry, scales, view_kind
from tests.unit.drawn import POINTS, draw_space, errors_mm, new, save

LONG = 40_000  # characters
SLOWEST_S = 15.0


def _seconds(work: Callable[[], Any]) -> float:
    start = time.process_time()
    work()
    return time.process_time() - start


def _findings(doc: Any, tmp_path: Path, **kwargs: Any) -> dict[str, str]:
    try:
        found = read_drawing(save(doc, tmp_path / "d.dxf"), **kwargs).findings
    except ReadingError as err:
        found = list(err.findings)
    return {f.code: f.text for f in found}


@pytest.mark.parametrize(
    "text",
    ["m" + " " * LONG + "x", "1" * LONG, "1" + " " * LONG + "2", "A" + " 1" * LONG, "-" + " " * LONG + "1 mx",
     "x" + " " * LONG + "mm" + " " * LONG + "q", "1 : " * LONG, "A " + "1," * LONG + "x 2 3", "a" * LONG],
    ids=["m blank", "digits", "blanks", "figures", "sign", "column", "scales", "commas", "letters"],
)  # fmt: skip
def test_words_of_any_length(text: str) -> None:
    def read() -> None:
        for function in (scales, view_kind, key_entry, is_number, coordinates):
            function(text)

    assert _seconds(read) < 2.0


@pytest.mark.parametrize(
    "label", ["lower_front" + " " * LONG + "9", "lower_front (" + "1" * LONG, "lower front" + " 7" * LONG,
              "A" + " " * LONG + "1 2 3", "X" + " " * LONG + "[mm" + " " * LONG + "q"],
    ids=["blanks", "digits", "figures", "row", "head"],
)  # fmt: skip
def test_labels_of_any_length(label: str, tmp_path: Path) -> None:
    doc = new()
    draw_space(doc, {n: p for n, p in POINTS.items() if n != "lower_front"})
    doc.modelspace().add_text(label, height=6, dxfattribs={"insert": (3000, 3000, 0)})
    path = save(doc, tmp_path / "d.dxf")
    reading: list[Any] = []
    assert _seconds(lambda: reading.append(read_drawing(path))) < SLOWEST_S
    assert max(errors_mm(reading[0].points).values()) < 1e-6
    assert len(reading[0].points) == len(POINTS) - 1


@pytest.mark.parametrize("source", ["marks", "text table"])
def test_a_table_of_20000_rows(source: str, tmp_path: Path) -> None:
    doc = new()
    for i in range(20_000):
        text = f"P{i}  {i % 900}.25  {i % 700}.5  {i % 400}.75"
        doc.modelspace().add_text(text, height=5, dxfattribs={"insert": (0, -9 * i)})
    found: dict[str, str] = {}
    assert _seconds(lambda: found.update(_findings(doc, tmp_path, views={"source": source}))) < 3 * SLOWEST_S
    assert ("label-unknown" if source == "text table" else "table-unconfirmed") in found


def test_a_name_table_of_5000_rows(tmp_path: Path) -> None:
    names = {f"@{7 * (i % 71)},{11 * (i // 71)}": f"p{i}" for i in range(5_000)}
    doc = new()
    for i in range(5_000):
        doc.modelspace().add_point((7 * (i % 71), 11 * (i // 71), i % 17))
    path = save(doc, tmp_path / "d.dxf")
    reading: list[Any] = []
    assert _seconds(lambda: reading.append(read_drawing(path, names=names))) < SLOWEST_S
    assert len(reading[0].points) == 5_000


def test_one_label_at_3000_places(tmp_path: Path) -> None:
    doc = new()
    for i in range(3_000):
        p = (40.0 * (i % 60), 40.0 * (i // 60), 300.0 * (i % 7))
        doc.modelspace().add_point(p)
        doc.modelspace().add_text("lower_front", height=1, dxfattribs={"insert": (p[0] + 1, p[1] + 1, p[2])})
    found: dict[str, str] = {}
    assert _seconds(lambda: found.update(_findings(doc, tmp_path))) < SLOWEST_S
    assert "3000 places" in found["label-twice"]
    assert "and 2980 more" in found["label-twice"]


def _nested(doc: Any, levels: int, each: int, block: str = "LEAF") -> None:
    for level in range(levels):
        outer = doc.blocks.new(f"L{level}")
        for k in range(each):
            outer.add_blockref(block, (k, level))
        block = outer.name
    doc.modelspace().add_blockref(block, (0, 0))


@pytest.mark.parametrize("leaf", ["lines", "circle"])
def test_nested_blocks_that_multiply_into_millions(leaf: str, tmp_path: Path) -> None:
    doc = new()
    block = doc.blocks.new("LEAF")
    if leaf == "circle":
        block.add_circle((0, 0), 1.0)
    else:
        for k in range(20):
            block.add_line((k, 0), (k, 1))
    _nested(doc, 8, 10)
    found: dict[str, str] = {}
    assert _seconds(lambda: found.update(_findings(doc, tmp_path))) < SLOWEST_S
    assert "once its blocks are resolved" in found["file-size"]


def test_an_array_of_inserts_that_multiplies_into_millions(tmp_path: Path) -> None:
    doc = new()
    doc.blocks.new("LEAF").add_circle((0, 0), 1.0)
    array = {"row_count": 30_000, "column_count": 30_000, "row_spacing": 1, "column_spacing": 1}
    doc.modelspace().add_blockref("LEAF", (0, 0), dxfattribs=array)
    found: dict[str, str] = {}
    assert _seconds(lambda: found.update(_findings(doc, tmp_path))) < SLOWEST_S
    assert "once its blocks are resolved" in found["file-size"]


def test_hidden_blocks_and_symbols_do_not_count_into_millions(tmp_path: Path) -> None:
    """What is frozen is not read, so it may be as large as it likes."""
    doc = new()
    doc.layers.add("OLD").freeze()
    block = doc.blocks.new("LEAF")
    block.add_circle((0, 0), 1.0)
    array = {"row_count": 3_000, "column_count": 3_000, "row_spacing": 1, "column_spacing": 1, "layer": "OLD"}
    doc.modelspace().add_blockref("LEAF", (0, 0), dxfattribs=array)
    draw_space(doc)
    reading = read_drawing(save(doc, tmp_path / "d.dxf"))
    assert set(reading.points) == set(POINTS)


def test_a_circle_of_many_corners_needs_no_memory() -> None:
    turn = np.linspace(0.0, 2.0 * np.pi, 100_000, endpoint=False)
    centre, radius, off = fit(np.column_stack([3.0 + 2.0 * np.cos(turn), 1.0 + 2.0 * np.sin(turn), 0.0 * turn]))
    np.testing.assert_allclose(centre, [3.0, 1.0, 0.0], rtol=0.0, atol=1e-9)
    assert radius == pytest.approx(2.0, rel=0.0, abs=1e-9)
    assert off < 1e-6


def test_rows_are_read_from_their_end() -> None:
    """Words and three numbers, whatever stands between them; more or fewer numbers are not three."""

    class Told:
        def __init__(self, line: str) -> None:
            self.lines, self.whole, self.height = (line,), line, 1.0
            self.anchor, self.frame = np.zeros(3), np.eye(3)

    def row(line: str) -> Any:
        found = coordinate_rows([Told(line)])  # type: ignore[list-item]
        return (found[0].label, found[0].figures) if found else None

    assert row("tie_inner: 1.5 -2,0 3") == ("tie_inner", ("1.5", "-2,0", "3"))
    assert row("P 7 (1; 2; 3)") == ("P 7", ("1", "2", "3"))
    assert row("P 1|2/3") == ("P", ("1", "2", "3"))
    assert row("P1 2 3") is None
    assert row("1 2 3 4") is None
    assert row("P 12 34") is None
    assert header_of([Told("X [mm]")]) == ((0, 1, 2), None)  # type: ignore[list-item]
