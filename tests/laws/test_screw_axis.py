"""The upright's instant screw axis against a small finite displacement, by an independent library.

pytransform3d 3 (A. Fabisch, *pytransform3d: 3D Transformations for Python*, J. Open Source Software 4(33), 2019) takes
the finite screw of the motion from travel z − h to z + h. It tends to the instant screw at z with h².
"""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose
from pytransform3d.transformations import (
    exponential_coordinates_from_transform,
    screw_axis_from_exponential_coordinates,
    screw_parameters_from_screw_axis,
)

from kin3d.measures.corner import Corner
from kin3d.measures.entry import values
from kin3d.studies.registry import corner_measures
from tests.laws.cars import CORNERS, model

STEP = 0.1  # mm; the finite screw errs by about its square over a length, and by rounding the more the smaller it is


def displacement(before, after):
    """Homogeneous matrix of the rigid motion between two sets of points (Kabsch by SVD)."""
    a, b = before - before.mean(axis=0), after - after.mean(axis=0)
    u, _, vt = np.linalg.svd(a.T @ b)
    turn = vt.T @ np.diag([1.0, 1.0, np.linalg.det(vt.T @ u.T)]) @ u.T
    out = np.eye(4)
    out[:3, :3] = turn
    out[:3, 3] = after.mean(axis=0) - turn @ before.mean(axis=0)
    return out


@pytest.mark.parametrize("travel", [-30.0, 0.0, 25.0])
@pytest.mark.parametrize(("name", "axle"), CORNERS)
def test_instant_screw_is_the_limit_of_the_finite_one(name, axle, travel):
    m = model(name, axle)
    lanes = m.kernel.lanes(m.variants, np.array([travel]))
    wanted = [w for w in corner_measures(axle) if w.group == "screw axis"]
    found = values(Corner.of(m, lanes, m.kernel.solve(m.variants, lanes)), wanted, (lanes.count,))
    ends = m.kernel.lanes(m.variants, np.array([travel - STEP, travel + STEP]))
    points = m.kernel.points(m.variants, ends, m.kernel.solve(m.variants, ends))
    rows = [m.linkage.index(p) for p in m.linkage.bodies[m.linkage.wheel_body]]
    for side in range(2):
        finite = displacement(points[2 * side, rows], points[2 * side + 1, rows])
        axis, _ = screw_axis_from_exponential_coordinates(exponential_coordinates_from_transform(finite))
        q, direction, pitch = screw_parameters_from_screw_axis(axis)
        mine = np.array([found[f"isa_d{k}"][side] for k in "xyz"])
        point = np.array([found[f"isa_p{k}_mm"][side] for k in "xyz"])
        assert_allclose(direction, mine, rtol=0, atol=1e-6)
        assert_allclose(pitch, found["isa_pitch_mm_per_rad"][side], rtol=1e-5, atol=1e-3)
        off = np.cross(point - q, direction)  # the same line: no distance between its points across it
        assert_allclose(off, 0.0, rtol=0, atol=1e-5 * np.linalg.norm(point - q) + 1e-2)
