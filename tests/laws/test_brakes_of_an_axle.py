"""``brakes`` in an axle's own table stands over the car's: anti values and load shares of that axle alone."""

from __future__ import annotations

import pytest

import kin3d
from kin3d.linkage.record import changed
from tests.laws.cars import car

NAMES = {
    "front": ("anti_dive_pct", "spring_share_braking_pct", "support_angle_braking_deg"),
    "rear": ("anti_lift_pct", "spring_share_braking_pct"),
}


@pytest.mark.parametrize("axle", ["front", "rear"])
def test_an_axle_with_inboard_brakes_is_as_in_a_car_with_inboard_brakes(axle: str) -> None:
    outboard = car("dunlin")
    inboard = changed(outboard, data=changed(outboard.data, brakes="inboard"))
    mixed = changed(outboard, **{axle: changed(outboard.axle(axle), brakes="inboard")})
    other = "rear" if axle == "front" else "front"
    for where, same, differs in ((axle, inboard, outboard), (other, outboard, inboard)):
        rows = [kin3d.sweep(c, where, heave=[0.0, 10.0]).dataset() for c in (mixed, same, differs)]
        for name in NAMES[where]:
            here, alike, apart = (float(r[name].values.ravel()[-1]) for r in rows)
            assert here == pytest.approx(alike, rel=1e-12, abs=1e-12), name
            assert abs(here - apart) > 0.1, name
