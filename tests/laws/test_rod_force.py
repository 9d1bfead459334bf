"""Rod force by the transposed Jacobian against free bodies with every joint force unknown, positions from elsewhere."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose

import kin3d
from kin3d.linkage.part_keys import RodPart
from kin3d.loads.rod import buckling_load
from kin3d.studies.inboard import inboard_curves
from tests.car_files import write_car
from tests.laws.cars import car
from tests.oracles import free_body, whole_corner
from tests.oracles.corners import scattered

TRAVEL = np.array([-25.0, 0.0, 30.0])
RADIUS = 240.0


@pytest.mark.parametrize("rod_on", ["lower arm", "upper arm", "upright"])
@pytest.mark.parametrize("seed", [3, 4])
def test_rod_force_is_that_of_the_free_bodies(tmp_path: Path, rod_on: str, seed: int) -> None:
    points = scattered(rod_on, np.random.default_rng(seed))
    spin = np.array([0.02, 1.0, 0.03])
    spin /= np.linalg.norm(spin)
    table = points | {"wheel_axis": points["wheel_centre"] + 100.0 * spin}
    read = kin3d.load(write_car(tmp_path, table, rod_on=rod_on, loaded_radius_mm=RADIUS))
    found = inboard_curves(read, "front", TRAVEL).rod_force_per_load
    solved = whole_corner.solve(points, rod_on, spin, TRAVEL)
    for k in range(len(TRAVEL)):
        at = points | {n: p[k] for n, p in solved.at.items()}
        down = np.array([0.0, 0.0, 1.0]) - solved.spin[k, 2] * solved.spin[k]
        contact = at["wheel_centre"] - RADIUS * down / np.linalg.norm(down)
        expected = free_body.rod_tension(at, rod_on, contact, np.array([0.0, 0.0, 1.0]))
        assert_allclose(found[k], expected, rtol=1e-8)


@pytest.mark.parametrize(("name", "sign"), [("dunlin", -1.0), ("plover", 1.0)])
def test_push_rods_are_compressed_and_pull_rods_pulled(name: str, sign: float) -> None:
    curves = inboard_curves(car(name), "front", [-30.0, 0.0, 30.0])
    assert (sign * curves.rod_force_per_load > 1.0).all()
    assert curves.kind == ("pull" if sign > 0 else "push")


def test_buckling_load_of_a_tube() -> None:
    # by hand: D 16, wall 1.5, steel: I = pi/64 (16^4 - 13^4) = 1815.03 mm^4; pi^2 * 205000 * I / 500^2 = 14689 N
    found = buckling_load(RodPart(diameter_mm=16.0, wall_mm=1.5, modulus_n_per_mm2=205000.0), np.array(500.0))
    assert found is not None
    assert_allclose(float(found), 14689.3, rtol=1e-4)
    assert buckling_load(RodPart(diameter_mm=16.0, wall_mm=1.5), np.array(500.0)) is None
