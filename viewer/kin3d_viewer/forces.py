"""The force in the push- or pull-rod for the static wheel load, where the car file gives what it takes."""

from __future__ import annotations

import numpy as np

from kin3d.measures.corner import Corner
from kin3d.solve.lanes import Lanes, Solved, Status
from kin3d_viewer.model import LiveModel, View
from kin3d_viewer.primitives import Array

GRAVITY = 9.80665  # m/s²


def rod_force(model: LiveModel, view: View) -> dict[str, Array] | str:
    """Force in the rod on both sides, N, tension positive, by the rod's body; or the sentence of what is missing.

    The wheel load is the static one: half of the axle's share of the car's weight, on each wheel, in every position.
    """
    from kin3d.loads.rod import rod_body, rod_force_per_load

    linkage, data = model.base.linkage, model.base.car
    if linkage.rocker is None:
        return "rod force: the linkage has no rod and rocker"
    if data.mass_kg is None or data.front_mass_share is None:
        return "rod force: [car] mass_kg and front_mass_share are needed for the static wheel load"
    share = data.front_mass_share if model.axle == "front" else 1.0 - data.front_mass_share
    lanes = Lanes(np.arange(2), view.travel_mm, np.full(2, view.now.drives["rack_mm"]))
    solved = Solved(view.q, np.full(2, Status.OK, dtype=np.int8), np.zeros(2), 0, {}, {})
    variants = model.variants(view.design)
    corner = Corner.of(model.base, lanes, solved, 1, variants=variants)
    per_load = rod_force_per_load(corner)
    return {rod_body(linkage): 0.5 * share * data.mass_kg * GRAVITY * per_load}
