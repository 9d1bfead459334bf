"""Velocities from one dense solve in the design position against differences of positions that the kernel solves."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose

from kin3d.measures.corner import Corner
from kin3d.solve.velocities import design_velocities
from kin3d.spatial.jets import value
from tests.laws.cars import CORNERS, model
from tests.unit.corners import POINTS, double_wishbone

STEP = 0.01  # mm; the error of a central difference goes with its square


@pytest.mark.parametrize(("name", "axle"), CORNERS)
@pytest.mark.parametrize("side", [0, 1])
def test_every_point_moves_as_the_differences_of_its_places(name, axle, side):
    made = model(name, axle)
    lanes = made.kernel.lanes(made.variants, np.array([-STEP, STEP]))
    corner = Corner.of(made, lanes, made.kernel.solve(made.variants, lanes), 1)
    found = design_velocities(made.linkage, made.sides[side].design)
    assert found is not None
    assert found.keys() == set(made.linkage.points)
    for point, velocity in found.items():
        below, above = np.array([value(c) * np.ones(4) for c in corner.place(point)]).T[2 * side : 2 * side + 2]
        assert_allclose(velocity, (above - below) / (2 * STEP), rtol=0, atol=1e-8, err_msg=point)


def test_where_the_linkage_is_not_determined_there_are_none():
    inner, pivot = np.array(POINTS["rod_inner"]), np.array(POINTS["rocker_axis_1"])
    sound = double_wishbone("lower arm")
    assert design_velocities(*sound) is not None
    assert design_velocities(*double_wishbone("lower arm", rod_outer=pivot + 4.0 * (inner - pivot))) is None
    linkage, design = sound
    without = replace(linkage, bodies={n: b for n, b in linkage.bodies.items() if n != "tie link"})
    assert design_velocities(without, design) is None
