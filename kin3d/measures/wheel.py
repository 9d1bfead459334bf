"""Measures of the wheel: its angles, its centre and where it stands on the ground."""

from __future__ import annotations

from kin3d.measures.corner import Corner
from kin3d.measures.entry import RADIUS, Measure
from kin3d.spatial.jets import asin, atan2
from kin3d.spatial.vectors import Number

ISO = "ISO 8855:2011"


def camber(corner: Corner) -> Number:
    """−asin(a·z)."""
    return -asin(corner.spin[2])


def toe(corner: Corner) -> Number:
    """atan2(a_x, s a_y)."""
    return atan2(corner.spin[0], corner.sign * corner.spin[1])


def steer(corner: Corner) -> Number:
    """−s·toe."""
    return -(corner.sign * toe(corner))


def _place(what: str, k: int) -> Measure:
    """One coordinate of the wheel centre or of the contact point."""
    attribute, label, definition, needs = {
        "wheel": ("centre", "Wheel centre", "wheel centre c in the chassis frame", ()),
        "contact": (
            "contact",
            "Contact point",
            "p = c − R·(n − (n·a)a)/‖n − (n·a)a‖, the lowest point of the wheel's disc",
            RADIUS,
        ),
    }[what]

    def coordinate(corner: Corner) -> Number:
        return getattr(corner, attribute)[k]

    return Measure(
        name=f"{what}_{'xyz'[k]}_mm",
        label=f"{label}, {'xyz'[k]}",
        unit="mm",
        sign=f"{('forward', 'left', 'up')[k]} positive",
        definition=definition,
        source="own definition",
        function=coordinate,
        needs=needs,
        mirror=-1 if k == 1 else 1,
        group="wheel",
    )


MEASURES = (
    Measure(
        name="camber_deg",
        label="Camber",
        unit="deg",
        sign="top of the wheel outboard positive",
        definition="−asin(a·z): true inclination of the wheel to the chassis, not its front-view projection",
        source=f"{ISO}, 7.1.17",
        function=camber,
        usual=True,
        group="wheel",
    ),
    Measure(
        name="toe_deg",
        label="Toe",
        unit="deg",
        sign="toe-in positive",
        definition="atan2(a_x, s·a_y): heading of the wheel plane against the vehicle's x",
        source=f"{ISO}, 7.1.6",
        function=toe,
        usual=True,
        group="wheel",
    ),
    Measure(
        name="steer_deg",
        label="Steer",
        unit="deg",
        sign="to the left positive",
        definition="−s·toe",
        source=f"{ISO}, 7.1.1",
        function=steer,
        mirror=-1,
        group="wheel",
    ),
    *(_place(what, k) for what in ("wheel", "contact") for k in range(3)),
)
