"""Marks and figures that cannot be right are told by name; contradictions and too few marks are refused."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from kin3d.errors import RequestError
from kin3d.photographs import other_car
from kin3d.photographs.adjust import adjust
from kin3d.photographs.located import located, result_of
from kin3d.photographs.model import Model
from kin3d.photographs.parameters import parameters_of
from kin3d.photographs.snooping import BEYOND, snoop
from tests import photo_scenes as scenes
from tests.photo_scenes import FRONT, LOW, QUARTER, SIDE

SEED = 21


@pytest.fixture(scope="module")
def scene():
    return scenes.scene(["dunlin"], [FRONT, QUARTER, LOW], SEED, template_off=15.0)


def checked(scene, car):
    """Tests of a changed car's marks, from an adjustment near the truth."""
    model = Model(parameters_of(car))
    model.reference = scene.model.reference
    return snoop(adjust(model, model.state(scene.truth.numbers, scene.truth.turns), most=10))


def refused(car):
    with pytest.raises(RequestError) as caught:
        located(car)
    return {f.code: f.text for f in caught.value.findings}


def test_right_marks_stay(scene):
    found = checked(scene, scene.car)
    assert not found.out
    assert not found.figures_out
    assert found.chance > 0.001


def test_a_wrong_mark_is_found_by_name(scene):
    number = next(k for k, m in enumerate(scene.car.marks) if m.kind == "point" and m.name == "lower_front")
    marks = list(scene.car.marks)
    marks[number] = replace(marks[number], v=marks[number].v + 45.0)
    found = checked(scene, replace(scene.car, marks=tuple(marks)))
    assert found.out == (number,)
    # told how far it is off: 45 px but for what the marks' deviations and the joint's let it move
    assert abs(found.miss_px[number, 1] - 45.0) < 15.0


def test_redundancies_add_up_to_the_freedom(scene):
    found = checked(scene, scene.car)
    rows = np.array([1 + (m.kind in ("point", "contact")) for _, m in found.model.marks])
    total = (found.redundancy * rows).sum() + found.figure_redundancy.sum()
    np.testing.assert_allclose(total, found.freedom, rtol=1e-8, atol=0.0)


def test_a_wrong_wheelbase_shows_in_its_own_test():
    """A wheelbase 90 mm wrong hides from the test of the whole: only its own residual tells."""
    scene = scenes.scene(["dunlin"], [FRONT, QUARTER, SIDE, LOW], SEED, template_off=15.0)
    known = dict(scene.car.known)
    known["wheelbase_mm"] = replace(known["wheelbase_mm"], value=known["wheelbase_mm"].value + 90.0)
    found = checked(scene, replace(scene.car, known=known))
    names = [found.model.parameters.listed[k].name for k in found.figures_out]
    assert names == ["wheelbase"]
    assert not found.out
    assert abs(found.figure_w[found.figures_out[0]]) > BEYOND


def test_a_wheelbase_that_nothing_checks_is_named(scene):
    """From ahead nothing tells the wheelbase: one 60 mm wrong passes, and the result says that it would."""
    known = dict(scene.car.known)
    known["wheelbase_mm"] = replace(known["wheelbase_mm"], value=known["wheelbase_mm"].value + 60.0)
    bare = tuple(m for m in scene.car.marks if m.name != "rear")
    found = result_of(checked(scene, replace(scene.car, known=known, marks=bare)))
    assert not found.checked.figures_out
    told = next(n for n in found.notes() if n.startswith("no other mark or figure checks these"))
    assert "known wheelbase (any)" in told
    # by the definition: an error of that size moves its own residual by 3.5 of the residual's deviations
    listed = found.checked.model.parameters.listed
    k = next(i for i, p in enumerate(listed) if p.name == "loaded radius")
    part = found.checked.figure_redundancy[k]
    np.testing.assert_allclose(found.checked.figure_unseen[k] * part / (3.0 * part**0.5), 3.5, rtol=1e-9, atol=0.0)


def test_a_wheelbase_60_mm_wrong_shows_where_a_side_view_checks_it():
    scene = scenes.scene(["dunlin", "plover"], [FRONT, QUARTER, SIDE, LOW], SEED, template_off=15.0)
    first = scene.car.same_as
    known = dict(first.known)
    known["wheelbase_mm"] = replace(known["wheelbase_mm"], value=known["wheelbase_mm"].value + 60.0)
    found = checked(scene, replace(scene.car, same_as=replace(first, known=known)))
    listed = found.model.parameters.listed
    assert [listed[k].name for k in found.figures_out] == ["wheelbase"]
    assert not found.out


def test_too_few_marks_are_refused_with_what_is_missing(scene):
    few = [m for m in scene.car.marks if m.photo != "low"] + [m for m in scene.car.marks if m.photo == "low"][:3]
    few = [m for m in few if m.name not in ("tie_outer", "tie_inner")]
    found = refused(replace(scene.car, marks=tuple(few)))
    assert '"low"' in found["marks-few"]
    assert "tie_outer" in found["points-unmarked"]
    assert "tie_inner" in found["points-unmarked"]


def test_sides_exchanged_in_one_photograph_are_told(scene):
    other = {"left": "right", "right": "left"}
    marks = tuple(replace(m, side=other[m.side]) if m.photo == "quarter" else m for m in scene.car.marks)
    found = refused(replace(scene.car, marks=marks))
    assert list(found) == ["sides-exchanged"]
    assert '"quarter"' in found["sides-exchanged"]


def test_a_photograph_of_another_car_is_told(scene):
    """The other car is 50 mm wider where its arms begin, with tie rods that much higher."""
    numbers = scene.truth.numbers.copy()
    block, upright = scene.parameters.blocks[0], scene.parameters.uprights[0]
    for name in ("lower_front", "lower_rear", "upper_front", "upper_rear"):
        numbers[block.points[upright.index(name), 1]] += 50.0
    numbers[block.points[upright.index("tie_inner"), 2]] += 50.0
    shown = scenes.visible_pixels(scene.model, scene.model.state(numbers, scene.truth.turns))
    marks = [m for m in scene.car.marks if m.photo != "quarter"]
    for mark, place in zip(scene.car.marks, shown, strict=True):
        if mark.photo == "quarter" and place is not None:
            marks.append(replace(mark, u=float(place[0]), v=float(place[1])))
    found = refused(replace(scene.car, marks=tuple(marks)))
    assert {"photo-misfit", "misfit"} & set(found)
    assert "quarter" in "".join(found.values())


def test_a_picture_with_a_car_of_its_own_starts_where_the_marks_were(scene):
    """Split off with everything carried over, each car's marks miss by what they missed before."""
    both = scenes.scene(["dunlin", "plover"], [FRONT, QUARTER, LOW], SEED, template_off=15.0)
    home = adjust(both.model, both.truth, most=3)
    for photo in (1, 4):  # one of each car
        apart = other_car.apart(home, photo)
        one = both.parameters.photos[photo][1]
        at = apart.model.evaluate(apart.state).residual
        rows = zip(_rows(both.model), home.equations.residual, strict=True)
        before = {(m.photo, m.row, part): miss for (m, part), miss in rows}
        assert {p.name for c, p in apart.model.parameters.photos if c == 2} == {one.name}
        assert len(at) == len(before)
        for (mark, part), now in zip(_rows(apart.model), at, strict=True):
            np.testing.assert_allclose(now, before[mark.photo, mark.row, part], rtol=0.0, atol=1e-6)


def _rows(model):
    out = []
    for k in model.rows:
        mark = model.marks[k][1]
        out.append((mark, len([m for m, _ in out if m is mark])))
    return out


def test_marks_that_are_merely_wrong_accuse_no_photograph():
    """Three marks of one photograph are 45 px off: they go, and nobody is told that it shows another car."""
    made = scenes.scene(["dunlin"], [FRONT, QUARTER, LOW], SEED, template_off=15.0)
    chosen = [k for k, m in enumerate(made.car.marks) if m.photo == "front" and m.kind == "point"][1:8:3]
    marks = [replace(m, v=m.v + 45.0) if k in chosen else m for k, m in enumerate(made.car.marks)]
    found = checked(made, replace(made.car, marks=tuple(marks)))
    assert set(found.out) == set(chosen)
    gains = [o.gain for o in other_car.others(found)]
    assert len(gains) == 3
    assert max(gains) < other_car.ANOTHER
    assert other_car.refuse_another(found) == ()
