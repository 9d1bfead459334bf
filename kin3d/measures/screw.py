"""The instant screw axis of the upright as the wheel travels, rack held: direction, point, pitch."""

from __future__ import annotations

from kin3d.measures.corner import Corner, unit
from kin3d.measures.entry import Measure
from kin3d.spatial.screws import axis_point, pitch
from kin3d.spatial.vectors import Number

_SOURCE = "instant screw of a twist: Encyclopaedia Britannica, 11th ed. (1911), Mechanics, eqs. (7)-(9)"


def _direction(corner: Corner, k: int) -> Number:
    return unit(corner.omega)[k]


def _point(corner: Corner, k: int) -> Number:
    return axis_point(corner.centre, corner.centre_velocity, corner.omega)[k]


def screw_pitch(corner: Corner) -> Number:
    """ω·v_c/ω·ω, mm per rad."""
    return pitch(corner.centre_velocity, corner.omega)


def _component(k: int, axis: str, *, point: bool) -> Measure:
    return Measure(
        name=f"isa_p{axis}_mm" if point else f"isa_d{axis}",
        label=f"Screw axis {'point' if point else 'direction'}, {axis}",
        unit="mm" if point else "1",
        sign=f"{('forward', 'left', 'up')[k]} positive",
        definition="c + ω×v_c/ω·ω, the axis point nearest to the wheel centre" if point else "ω/‖ω‖",
        source=_SOURCE,
        function=(lambda c: _point(c, k)) if point else (lambda c: _direction(c, k)),
        order=1,
        # a turning is a pseudovector: its mirror image has the other sign, save about y
        mirror=1 if point == (k != 1) else -1,
        group="screw axis",
    )


MEASURES = (
    *(_component(k, axis, point=False) for k, axis in enumerate("xyz")),
    *(_component(k, axis, point=True) for k, axis in enumerate("xyz")),
    Measure(
        name="isa_pitch_mm_per_rad",
        label="Screw axis pitch",
        unit="mm/rad",
        sign="advance along the direction as it turns right-handed positive",
        definition="ω·v_c/ω·ω",
        source=_SOURCE,
        function=screw_pitch,
        order=1,
        mirror=-1,
        group="screw axis",
    ),
)
