"""Length units: the factors by definition (an inch is 25.4 mm), and the words for an unknown one."""

from __future__ import annotations

import pytest

from kin3d.errors import Kin3dError
from kin3d.units import UnitError, known_lengths, length_factor


@pytest.mark.parametrize(
    ("name", "factor"),
    [
        ("mm", 1.0),
        ("Millimetres", 1.0),
        ("millimeter", 1.0),
        (" CM ", 10.0),
        ("m", 1000.0),
        ("metre", 1000.0),
        ("in", 25.4),
        ("Inch", 25.4),
        ("inches", 25.4),
        ('"', 25.4),
        ("ft", 304.8),
        ("feet", 304.8),
    ],
)
def test_a_unit_has_its_factor(name: str, factor: float) -> None:
    assert length_factor(name) == factor


def test_every_known_name_has_a_factor() -> None:
    assert known_lengths() == ("mm", "cm", "m", "in", "ft")
    assert [length_factor(n) for n in known_lengths()] == [1.0, 10.0, 1000.0, 25.4, 304.8]


@pytest.mark.parametrize(
    ("name", "text"),
    [
        ("mmm", 'length unit "mmm" is not known; known are mm, cm, m, in, ft; did you mean "mm"?'),
        ("furlong", 'length unit "furlong" is not known; known are mm, cm, m, in, ft'),
        ("", 'length unit "" is not known; known are mm, cm, m, in, ft'),
    ],
)
def test_an_unknown_unit_names_those_known(name: str, text: str) -> None:
    with pytest.raises(UnitError) as caught:
        length_factor(name)
    assert str(caught.value) == text
    assert isinstance(caught.value, Kin3dError)
    assert isinstance(caught.value, ValueError)
    assert caught.value.findings[0].code == "unit-unknown"
