"""Deviations and slopes of gaps against cars with changed points: on the ground, with pitch, and of meshes."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh
from numpy.testing import assert_allclose

import kin3d
from tests.unit.test_clearance import DUNLIN, RIM, row_of, stl, with_solids

H = 1e-3  # mm


@pytest.fixture(scope="module")
def car():
    return kin3d.load(DUNLIN)


def slopes_by_other_cars(car, names, gap_of):
    """Central differences of a gap along coordinates of the front table."""
    out = []
    for name in names:
        point, axis = name.rsplit(" ", 1)
        gaps = []
        for h in (-H, H):
            place = car.front.points[point].copy()
            place["xyz".index(axis)] += h
            gaps.append(gap_of(car.with_points({point: place})))
        out.append((gaps[1] - gaps[0]) / (2.0 * H))
    return np.array(out)


def largest(doubt, count=2):
    return np.argsort(-np.abs(doubt.slope))[:count]


@pytest.mark.slow
@pytest.mark.parametrize("drives", [{"roll": [2.0], "heave": [5.0]}, {"pitch": [1.0], "roll": [0.0]}])
def test_slopes_on_the_ground(car, drives):
    """A table for both sides moves both wheels, and these stand on the ground again."""
    part = kin3d.clearance(car, rack=[20.0], **drives).parts[0]
    row = row_of(part, "lower arm, rear leg – rim")
    doubt = part.doubts[row]
    chosen = largest(doubt)
    by_cars = slopes_by_other_cars(
        car, [doubt.names[k] for k in chosen], lambda c: kin3d.clearance(c, rack=[20.0], **drives).parts[0].gap[row, 0]
    )
    assert_allclose(doubt.slope[chosen], by_cars, rtol=0, atol=2e-6)
    sigmas = dict(zip(car.front.points.names, car.front.points.sigma_mm, strict=True))
    each = [sigmas[n.rsplit(" ", 1)[0]]["xyz".index(n[-1])] for n in doubt.names]
    rtol = 1e-5 if "pitch" in drives else 1e-9  # with pitch the rear points have their small part too
    assert_allclose(doubt.sigma_mm, np.linalg.norm(np.array(each) * doubt.slope), rtol=rtol)


@pytest.mark.slow
@pytest.mark.parametrize("body", ["upright", "chassis", "lower arm"])
def test_slopes_of_meshes(car, tmp_path, body):
    """Against a leg, a tube between two bodies and the rim; a mesh stays in its place in the design position."""
    boxes = {
        "upright": [[-20.0, 600.0, 250.0], [10.0, 640.0, 290.0]],
        "chassis": [[-80.0, 420.0, 330.0], [60.0, 470.0, 360.0]],
        "lower arm": [[-20.0, 500.0, 185.0], [40.0, 540.0, 200.0]],
    }
    box = trimesh.creation.box(bounds=boxes[body])
    box.apply_transform(trimesh.transformations.rotation_matrix(0.1, [1.0, 0.4, 0.2], box.centroid))
    solids = {
        "part": {"mesh": stl(box, tmp_path), "body": body, "units": "mm"},
        "leg": {"points": ["upper_front", "upper_outer"], "diameter_mm": 10.0},
        "bar": {"points": ["tie_inner", "tie_outer"], "diameter_mm": 10.0},
        "rim": {"profile": RIM.tolist()},
    }
    meshed = with_solids(car, **solids)
    part = kin3d.clearance(meshed, [15.0], [10.0], sigma=1.0).parts[0]
    checked = 0
    for row in part.rows():
        if all(s.name != "part" for s in part.pairs[row]):
            continue
        doubt = part.doubts[row]
        chosen = largest(doubt)
        by_cars = slopes_by_other_cars(
            meshed, [doubt.names[k] for k in chosen],
            lambda c, row=row: kin3d.clearance(c, [15.0], [10.0]).parts[0].gap[row, 0],
        )  # fmt: skip
        turned = any(s.name == "rim" for s in part.pairs[row])  # its facets are taken as round
        atol = 1e-3 if turned else 2e-5
        assert_allclose(doubt.slope[chosen], by_cars, rtol=0, atol=atol, err_msg=str(part.pairs[row]))
        assert np.isfinite(doubt.sigma_mm)
        assert doubt.sigma_mm > 0.0
        checked += 1
    assert checked >= 2


def test_a_gap_by_name_is_a_measure(car):
    found = kin3d.sweep(car, "front", [25.0], rack=[-30.0], measures=["gap_tie_link_rim_mm"])
    part = kin3d.clearance(car, [25.0], [-30.0]).parts[0]
    gap = found.dataset()["gap_tie_link_rim_mm"].sel(side="left").values.item()
    assert_allclose(gap, part.gap[row_of(part, "tie link – rim"), 0], rtol=0, atol=1e-9)
    wrong = kin3d.sweep(car, "front", [25.0], measures=["gap_tie_rim_mm"])
    assert any('did you mean "gap_tie_link_rim_mm"' in n for n in wrong.notes())
