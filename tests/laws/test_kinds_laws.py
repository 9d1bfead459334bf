"""Laws over every built-in layout: derivatives against differences, the mirror image, a side with points of its own."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose

import kin3d
from kin3d.linkage.layout_file import builtin
from kin3d.studies.corner_model import CornerModel, derive
from kin3d.studies.derived import AskedMeasures
from kin3d.studies.registry import corner_measures
from tests.kinds import KINDS, demo_car

NAMES = ("camber_deg", "toe_deg", "roll_centre_height_mm", "side_ic_z_mm", "motion_ratio")
TRAVEL = 12.0
STEP = 0.02


@pytest.mark.parametrize("kind", KINDS)
def test_derivatives_along_points(tmp_path: Path, kind: str) -> None:
    """Three coordinates of each table, chosen by a seed: exact derivatives against cars with those points moved."""
    car = demo_car(tmp_path, kind)
    corner = CornerModel.of(car, "rear")
    chosen = tuple(m for m in corner_measures("rear") if m.name in NAMES)
    there, _ = corner.available(chosen)
    there = tuple(m for m in there if not (kind == "trailing arm" and m.name == "roll_centre_height_mm"))
    picked = np.random.default_rng(7).choice(3 * len(corner.names), 3, replace=False)
    seeds = corner.seeds.reshape(-1, *corner.design.shape)[picked]
    variants = corner.variants(corner.design[None])
    lanes = corner.model.kernel.lanes(variants, np.array([TRAVEL]))
    found = derive(corner, variants, lanes, AskedMeasures(there, seeds=seeds))
    for number, k in enumerate(picked):
        point, axis = corner.names[k // 3], k % 3
        if point.startswith("bush") or point.startswith("strut") or point.startswith("mono"):
            continue  # a point on a slider's line would leave it

        def at(h: float, point: str = point, axis: int = axis) -> np.ndarray:
            place = corner.places_mm[corner.names.index(point)] + h * np.eye(3)[axis]
            moved = car.with_points({point: place}, "rear")
            values = kin3d.sweep(moved, "rear", travel=TRAVEL, measures=[m.name for m in there]).values
            return np.array([values[m.name][0, 0, 0] for m in there])

        slope = (8.0 * (at(STEP) - at(-STEP)) - (at(2 * STEP) - at(-2 * STEP))) / (12.0 * STEP)
        size = 1e-6 * (1.0 + np.abs(slope)) + 1e-9 * np.abs(at(0.0)) / STEP
        assert (np.abs(found.slope[:, number, 0] - slope) < size).all(), (point, axis, found.slope[:, number, 0], slope)


# the drag link of the steered axle is on the left, whichever side the points are given for
@pytest.mark.parametrize("kind", [k for k in KINDS if k != "steered beam axle"])
def test_the_mirror_image_of_a_car(tmp_path: Path, kind: str) -> None:
    """All points mirrored and given for the right: left and right change places, roll its sign."""
    one = demo_car(tmp_path / "a", kind)
    mirrored = {n: (x, -y, z) for n, (x, y, z) in builtin(kind).demo.items()}
    two = demo_car(tmp_path / "b", kind, side="right", **mirrored)
    for drives, turned in (({"travel": 15.0}, {"travel": 15.0}), ({"roll": 1.5}, {"roll": -1.5})):
        a, b = kin3d.sweep(one, "rear", **drives), kin3d.sweep(two, "rear", **turned)
        for m in a.measures:
            left, right = a.values[m.name].reshape(-1, 2)[0], b.values[m.name].reshape(-1, 2)[0][::-1]
            if np.isfinite(left).all() and np.abs(left).max() < 1e6:
                size = 1e-7 * (1.0 + np.abs(left).max())
                assert_allclose(right, m.mirror * left, rtol=1e-7, atol=size, err_msg=f"{kind} {m.name}")


@pytest.mark.parametrize("kind", ["live axle with panhard rod", "twist beam", "one spring across", "five link"])
def test_a_side_with_points_of_its_own(tmp_path: Path, kind: str) -> None:
    """The mirror image written out is the same car; one of its points moved is another, on that side."""
    plain = kin3d.sweep(demo_car(tmp_path / "a", kind), "rear", roll=1.0)
    once = builtin(kind).across.points
    other = {n: (x, -y, z) for n, (x, y, z) in builtin(kind).demo.items() if n not in once}
    rows = [f"{n},{x!r},{y!r},{z!r}" for n, (x, y, z) in other.items()]
    folder = tmp_path / "b"
    folder.mkdir()
    (folder / "right.csv").write_text("\n".join(["point,x,y,z", *rows, ""]), "utf-8")
    car = demo_car(folder, kind, more='other_points = "right.csv"\n')
    written = kin3d.sweep(car, "rear", roll=1.0)
    for m in plain.measures:
        assert_allclose(written.values[m.name], plain.values[m.name], rtol=1e-7, atol=1e-7, err_msg=m.name)
    moved = car.with_points({"wheel_centre": np.add(other["wheel_centre"], (0.0, -5.0, 0.0))}, "rear", "right")
    assert np.abs(kin3d.sweep(moved, "rear", roll=1.0).values["track_mm"] - plain.values["track_mm"]).max() > 4.0
