"""Labels and marks: what is tied is right, whatever stands beside it; what cannot be told is refused."""

from __future__ import annotations

import difflib
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from kin3d.errors import ReadingError
from kin3d.reading.dxf import read_drawing
from kin3d.reading.dxf.assignment import assign
from kin3d.reading.dxf.wording import Names, fold, known_points, split_side
from tests.by_hand.random_drawings import draw, outcome
from tests.unit.drawn import LINKS, POINTS, draw_views, errors_mm, new, plan_of, save, three_views


def _codes(path: Path, **given: Any) -> tuple[dict[str, Any], set[str]]:
    try:
        reading = read_drawing(path, **given)
    except ReadingError as err:
        return {}, {f.code for f in err.findings}
    return reading.points, {f.code for f in reading.findings if str(f.severity) == "error"}


def test_the_best_assignment_is_the_best_of_all_and_its_margin_is_to_the_next() -> None:
    """By hand: rows 0 and 1 want column 0; in all (0, 1), (1, 0) costs 3, and the only other way costs 1 + 5."""
    found = assign({(0, 0): 1.0, (0, 1): 2.0, (1, 0): 1.0, (1, 1): 5.0, (7, 9): 0.5}, 100.0)
    assert {row: column for row, (column, _) in found.items()} == {0: 1, 1: 0, 7: 9}
    assert found[0][1] == pytest.approx(3.0, rel=0, abs=1e-12)
    assert found[1][1] == pytest.approx(3.0, rel=0, abs=1e-12)
    assert found[7][1] == pytest.approx(99.5, rel=0, abs=1e-12)


def test_a_slip_of_the_pen_is_found_though_few_names_are_compared_in_full() -> None:
    """Against difflib with every name; slips are letters changed, left out, put in or swapped."""
    names, rng = Names(known_points()), np.random.default_rng(3)
    found = []
    for _ in range(300):
        word = list(str(rng.choice(names.known)))
        for at in rng.integers(0, len(word) - 1, int(rng.integers(0, 4))):
            word[at : at + 2] = rng.permutation([*word[at : at + 2], *rng.choice(list("aäz_9ß"), 1)])[: rng.integers(4)]
        label = "".join(word)
        wanted = bool(difflib.get_close_matches(split_side(fold(label))[0], names.known, 1, 0.8))
        assert names.resembles(label) is wanted, label
        found.append(wanted)
    assert 100 < sum(found) < 290


def _link_lines(layer: str) -> tuple[Any, dict[str, np.ndarray]]:
    """Links as bare lines in space, with a leader of one LINE from each joint to its name, 60 mm away."""
    doc = new()
    space = doc.modelspace()
    points = {n: np.array(p) for n, p in POINTS.items() if n != "wheel_centre"}
    for a, b in LINKS:
        space.add_line(tuple(points[a]), tuple(points[b]), dxfattribs={"layer": "LINKS"})
    for name, xyz in points.items():
        tail = xyz + np.array([0.0, 36.0, 48.0])
        space.add_line(tuple(xyz), tuple(tail), dxfattribs={"layer": layer})
        space.add_text(name, height=5, dxfattribs={"insert": tuple(tail), "layer": "TEXT"})
    return doc, points


def test_the_far_ends_of_leaders_are_no_joints(tmp_path: Path) -> None:
    doc, points = _link_lines("LEADERS")
    found, codes = _codes(save(doc, tmp_path / "d.dxf"))
    assert set(found) == set(points), codes
    assert max(errors_mm(found).values()) < 1e-9


def test_a_common_offset_from_bare_ends_is_no_proof(tmp_path: Path) -> None:
    doc = new()
    space = doc.modelspace()
    for a, b in LINKS:
        space.add_line(POINTS[a], POINTS[b])
    for name, xyz in POINTS.items():
        space.add_text(name, height=5, dxfattribs={"insert": tuple(np.add(xyz, (6.0, 6.0, 0.0)))})
    found, codes = _codes(save(doc, tmp_path / "d.dxf"))
    assert found == {}
    assert "label-doubt" in codes


def test_two_names_on_one_joint_need_one_label(tmp_path: Path) -> None:
    views = three_views()
    for both in (False, True):
        doc = new()
        points = {n: p for n, p in POINTS.items() if n != "rod_outer"}
        draw_views(doc, views, points)
        for view in views:  # rod_outer's leaders go to lower_outer
            label = {"lower_outer": "lower_outer / rod_outer" if both else "rod_outer"}
            draw_views(doc, [view], {"lower_outer": POINTS["lower_outer"]}, np.random.default_rng(3), label=label.get)
        found, codes = _codes(save(doc, tmp_path / "d.dxf"), views=plan_of(views))
        assert ("rod_outer" in found) is both
        assert ("place-shared" in codes) is not both


def test_a_copy_of_another_views_value_is_no_agreement(tmp_path: Path) -> None:
    """A label of the side view stands between two marks of one height: the front view's z tells nothing of its x."""
    views = three_views()[:2]
    doc = new()
    points = dict(POINTS, upper_rear=(-143.0, 262.5, 312.0))  # as high as upper_front
    draw_views(doc, [views[0]], points)
    rest = {n: p for n, p in points.items() if n != "upper_front"}
    draw_views(doc, [views[1]], rest)
    from tests.unit.drawn import place

    at = [place(views[1], points[n]) for n in ("upper_front", "upper_rear")]
    doc.modelspace().add_circle(tuple(at[0]), 1.0)
    doc.modelspace().add_text("upper_front", height=1.8, dxfattribs={"insert": tuple((at[0] + at[1]) / 2.0)})
    found, _ = _codes(save(doc, tmp_path / "d.dxf"), views=plan_of(views))
    assert "upper_front" not in found
    assert max(errors_mm(found, points).values()) < 1e-6


@pytest.mark.parametrize("seed", [*range(12), *range(10_000, 10_012)])
def test_random_drawings_hold_no_wrong_point(tmp_path: Path, seed: int) -> None:
    """Two dozen of the hundreds that `tests.by_hand.random_drawings` counts."""
    case, path = draw(seed, tmp_path, stress=seed >= 10_000)
    kind, said = outcome(case, path)
    assert kind in ("right", "refused"), f"{case}: {said}"
    assert kind == "right" or not case.readable, f"{case}: {said}"


def test_multileaders_inside_one_block_keep_their_own_words(tmp_path: Path) -> None:
    """All entities in a block have the reference's handle: by it alone every leader would belong to one text."""
    case, path = draw(4119, tmp_path)
    assert (case.label, case.writer) == ("MULTILEADER", "block")
    assert outcome(case, path) == ("right", "")


@pytest.mark.parametrize("seed", [5065, 6169])
def test_views_that_agree_tell_labels_that_stand_beside_their_marks(tmp_path: Path, seed: int) -> None:
    """Labels without pointers: 5065 was refused; in the front view of 6169 two marks 1.4 units apart look swapped."""
    case, path = draw(seed, tmp_path)
    assert (case.label, case.form) == ("none", "sheet")
    assert outcome(case, path) == ("right", "")


def test_one_line_that_ends_beside_words_is_no_pointer_where_no_other_label_has_one(tmp_path: Path) -> None:
    """Of 45 labels without pointers one stands where a link ends: that link's other end is not its mark."""
    case, path = draw(7097, tmp_path)
    assert (case.label, case.form) == ("none", "sheet")
    assert outcome(case, path)[0] == "refused"
