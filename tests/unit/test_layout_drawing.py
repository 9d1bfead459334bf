"""Pictures of the built-in layouts: every point has its name, no name stands on another."""

from __future__ import annotations

from itertools import combinations
from pathlib import Path

import numpy as np
import pytest

import kin3d
from kin3d.linkage.layout import WHEEL_AXIS
from kin3d.linkage.layout_file import builtin, builtin_names
from kin3d.studies.layout_drawing import example, layout_sheet
from kin3d.writing.drawing import Words
from kin3d.writing.placing import words_box


@pytest.mark.parametrize("name", builtin_names())
def test_every_point_has_its_name_in_a_place_of_its_own(name: str) -> None:
    linkage, places = example(builtin(name))
    drawing, frame = layout_sheet(linkage, places)
    words = [item for item in drawing.items if isinstance(item, Words)]
    assert sorted(line for w in words for line in w.lines) == sorted(p for p in linkage.points if p != WHEEL_AXIS)
    boxes = [words_box(w, drawing.scale) for w in words]
    for (low, high), (other_low, other_high) in combinations(boxes, 2):
        assert (np.maximum(low, other_low) >= np.minimum(high, other_high)).any()
    for low, high in boxes:
        assert (low >= frame.low).all()
        assert (high <= frame.high).all()


def test_a_picture_is_of_one_layout(tmp_path: Path) -> None:
    kin3d.layouts("twist beam").plot(tmp_path / "beam.svg")
    text = (tmp_path / "beam.svg").read_text("utf-8")
    assert "shear_mid" in text
    with pytest.raises(kin3d.Kin3dError, match="a picture is of one layout: give its name"):
        kin3d.layouts().plot(tmp_path / "all.svg")
