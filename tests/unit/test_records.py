"""Types of keys: what a value of a file becomes, and the kind and place of everything that does not fit."""

from __future__ import annotations

import copy
import math
import pickle
from pathlib import Path
from typing import Annotated, Any, Literal

import pytest

from kin3d.linkage.expected import HELD, After, Before, Expected, FileKey, UnfitError
from kin3d.linkage.keys import AxleKeys, CarData, CrossSpring, Spring, Stop
from kin3d.linkage.part_keys import JointPart, LinkPart
from kin3d.linkage.record import changed, known_keys, of_values, values_of


def short(value: Any) -> Any:
    if value == "bad":
        raise UnfitError(value)
    return value


SHARE = Annotated[float | None, Expected("a share", ge=0, le=1)]
OVER = Annotated[float, Expected("over 0", gt=0, lt=90)]
PAIR = Annotated[tuple[float, Annotated[float, Expected(ge=0)]], Expected("two")]
NAMES = Annotated[tuple[Annotated[str, After(str.lower)], ...], After(lambda names: tuple(dict.fromkeys(names)))]
CHECKED = Annotated[str, Before(short), Expected("a text", least_length=2)]
OBJECT = object()


@pytest.mark.parametrize(
    ("kind", "value", "held"),
    [
        (SHARE, 1, 1.0),
        (SHARE, 0.0, 0.0),
        (SHARE, None, None),
        (OVER, 89.999, 89.999),
        (float, -1e300, -1e300),
        (str, "", ""),
        (CHECKED, "ab", "ab"),
        (bool, False, False),
        (Literal["a", "b"], "b", "b"),
        (Literal["a", "b"] | None, None, None),
        (PAIR, [1, 2], (1.0, 2.0)),
        (PAIR, (1, 0), (1.0, 0.0)),
        (tuple[PAIR, ...], [[-1, 2], [3, 4]], ((-1.0, 2.0), (3.0, 4.0))),
        (NAMES, ["A", "b", "a"], ("a", "b")),
        (NAMES, [], ()),
        (Annotated[Path | None, Before(Path)], "a/b", Path("a/b")),
        (Annotated[int, HELD], OBJECT, OBJECT),
    ],
)
def test_what_fits_is_held(kind, value, held):
    ill: list[Any] = []
    found = FileKey("key", kind, None).take(value, ("key",), ill)
    assert ill == []
    assert found == held
    assert type(found) is type(held)


@pytest.mark.parametrize(
    ("kind", "value", "faults"),
    [
        (SHARE, 1.0000001, [("over", ("key",))]),
        (SHARE, -1e-9, [("range", ("key",))]),
        (OVER, 0, [("range", ("key",))]),
        (OVER, 90, [("range", ("key",))]),
        (OVER, None, [("number", ("key",))]),
        (float, True, [("number", ("key",))]),
        (float, "1", [("number", ("key",))]),
        (float, 10**400, [("number", ("key",))]),
        (float, math.nan, [("not finite", ("key",))]),
        (float, -math.inf, [("not finite", ("key",))]),
        (str, 1, [("type", ("key",))]),
        (CHECKED, "a", [("type", ("key",))]),
        (CHECKED, "bad", [("unfit", ("key",))]),
        (bool, 1, [("type", ("key",))]),
        (Literal["a", "b"], "c", [("choice", ("key",))]),
        (Literal["a", "b"], ["a"], [("choice", ("key",))]),
        (PAIR, [1], [("short", ("key", 1))]),
        (PAIR, [], [("short", ("key", 0)), ("short", ("key", 1))]),
        (PAIR, [1, 2, 3], [("long", ("key",))]),
        (PAIR, ["x", -1], [("number", ("key", 0)), ("range", ("key", 1))]),
        (PAIR, 1, [("type", ("key",))]),
        (tuple[PAIR, ...], [[1, 2], [1, -2], 3], [("range", ("key", 1, 1)), ("type", ("key", 2))]),
        (NAMES, ["a", 1, 2], [("type", ("key", 1)), ("type", ("key", 2))]),
        (NAMES, "ab", [("type", ("key",))]),
        (Annotated[Path | None, Before(short)], 3, [("type", ("key",))]),
    ],
)
def test_what_does_not_fit_is_told_by_kind_and_place(kind, value, faults):
    ill: list[Any] = []
    FileKey("key", kind, None).take(value, ("key",), ill)
    assert ill == faults


def test_a_table_is_told_in_the_order_of_its_keys_and_then_of_the_file():
    ill: list[Any] = []
    table = {"zeta": 1, "gap_mm": "x", "on": 3, "alpha": 2}
    Stop._read(table, ("front", "stops", 0), ill)
    place = ("front", "stops", 0)
    assert ill == [
        ("type", (*place, "on")),
        ("number", (*place, "gap_mm")),
        ("missing", (*place, "rate_n_per_mm")),
        ("unknown", (*place, "zeta")),
        ("unknown", (*place, "alpha")),
    ]


def test_keys_of_classes_that_are_derived_from_come_first():
    assert list(known_keys(LinkPart))[-1] == "name"
    assert set(known_keys(LinkPart)) == {"diameter_mm", "wall_mm", "modulus_n_per_mm2", "yield_n_per_mm2", "name"}
    assert known_keys(JointPart)["name"].required
    assert not known_keys(CarData)["mass_kg"].required


def test_a_number_with_its_deviation_is_the_number():
    spring = Spring(rate_n_per_mm=[20, 1.5], design_force_n=[100.0, 0])  # type: ignore[arg-type]
    assert values_of(spring) == {"rate_n_per_mm": 20.0, "design_force_n": 100.0, "captive": False}
    assert spring.sigmas == {"rate_n_per_mm": 1.5, "design_force_n": 0.0}
    assert spring.given == {"rate_n_per_mm", "design_force_n"}
    for sigma in (-1, math.nan, math.inf, True, "1", 10**400):
        with pytest.raises(ValueError, match=r"Spring cannot have rate_n_per_mm \(number\)"):
            Spring(rate_n_per_mm=[20, sigma])  # type: ignore[arg-type]


def test_records_are_frozen_compared_and_copied():
    spring = Spring(rate_n_per_mm=20.0)
    with pytest.raises(AttributeError, match="frozen"):
        spring.rate_n_per_mm = 3.0  # type: ignore[misc]
    with pytest.raises(AttributeError, match="frozen"):
        del spring.captive
    assert spring == Spring(rate_n_per_mm=20)
    assert hash(spring) == hash(Spring(rate_n_per_mm=20))
    assert spring != Spring(rate_n_per_mm=[20.0, 1.0])  # type: ignore[arg-type]
    assert spring != Stop(rate_n_per_mm=20.0, gap_mm=1.0)
    assert repr(spring) == "Spring(rate_n_per_mm=20.0, design_force_n=None, captive=False)"
    for again in (pickle.loads(pickle.dumps(spring)), copy.deepcopy(spring), copy.copy(spring)):
        assert again == spring
        assert again.given == {"rate_n_per_mm"}
    doubled = changed(spring, {"rate_n_per_mm": 2.0}, rate_n_per_mm=40.0)
    assert (doubled.rate_n_per_mm, doubled.sigmas) == (40.0, {"rate_n_per_mm": 2.0})
    assert changed(doubled, captive=True).sigmas == {"rate_n_per_mm": 2.0}
    assert changed(doubled, rate_n_per_mm=1.0).sigmas == {}
    with pytest.raises(TypeError, match="Spring has no field rate"):
        changed(spring, rate=1.0)


def test_values_taken_as_they_are_keep_which_were_given():
    keys = of_values(AxleKeys, camber_deg=99.0)
    assert (keys.camber_deg, keys.toe_deg, keys.given) == (99.0, 0.0, {"camber_deg"})


def test_what_is_wrong_by_hand_is_named():
    with pytest.raises(ValueError, match=r"points \(unfit\), rate_n_per_mm \(missing\), body_ \(unknown\)"):
        CrossSpring(points=[3], body_="x")  # type: ignore[call-arg,arg-type]
