"""Measures of the wheel: its angles, its centre and where it stands on the ground."""

from __future__ import annotations

from kin3d.measures.corner import Corner
from kin3d.measures.table import Measure, lacks_radius, nothing
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


def _places() -> list[Measure]:
    out = []
    for what, attribute, lacks in (("wheel", "centre", nothing), ("contact", "contact", lacks_radius)):
        for k, (axis, sign) in enumerate((("x", "forward"), ("y", "left"), ("z", "up"))):
            label = {"wheel": "Wheel centre", "contact": "Contact point"}[what]
            definition = {
                "wheel": "wheel centre c in the chassis frame",
                "contact": "p = c − R·(n − (n·a)a)/‖n − (n·a)a‖, the lowest point of the wheel's disc",
            }[what]
            out.append(
                Measure(
                    name=f"{what}_{axis}_mm",
                    label=f"{label}, {axis}",
                    unit="mm",
                    sign=f"{sign} positive",
                    definition=definition,
                    source="own definition",
                    function=lambda c, a=attribute, k=k: getattr(c, a)[k],
                    lacks=lacks,
                    order=0,
                    group="wheel",
                )
            )
    return out


MEASURES = (
    Measure(
        name="camber_deg",
        label="Camber",
        unit="deg",
        sign="top of the wheel outboard positive",
        definition="−asin(a·z): true inclination of the wheel to the chassis, not its front-view projection",
        source=f"{ISO}, 7.1.17",
        function=camber,
        lacks=nothing,
        order=0,
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
        lacks=nothing,
        order=0,
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
        lacks=nothing,
        order=0,
        group="wheel",
    ),
    *_places(),
)
