"""Bores out of a mesh: parts of known shape and noise, their deviations, placing by known points, wrong input."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh
from numpy.testing import assert_allclose
from trimesh import transformations as tf

import kin3d
from kin3d.errors import Kin3dError
from kin3d.reading.points import read_points_csv
from kin3d.spatial.bores import find_bore

PLACES = {"lower_outer": (4.5, 713.0, 150.0), "upper_outer": (-17.0, 685.5, 374.0), "tie_outer": (70.5, 717.0, 222.5)}


def ring(radius, length, facets, outer=11.0, chamfer=0.0, part=1.0):
    """A ring with a bore, its edges broken by a chamfer, or a part of its round."""
    half, c = 0.5 * length, chamfer
    section = [[radius + c, -half], [radius + outer, -half], [radius + outer, half], [radius + c, half]]
    section += [[radius, half - c], [radius, c - half]] if c else []
    section.append(section[0])
    whole = {} if part == 1.0 else {"angle": 2 * np.pi * part}
    out = trimesh.creation.revolve(section, sections=max(8, int(facets * part)), **whole)
    if out.volume < 0:
        out.invert()
    return out


def upright(noise=0.03, seed=4):
    """Three bores of 14 mm in the places of the demo's ball joints, each tilted another way."""
    rng = np.random.default_rng(seed)
    parts = []
    for k, place in enumerate(PLACES.values()):
        one = ring(7.0, 18.0, 48)
        one.apply_transform(tf.rotation_matrix(0.4 * k, [1.0, 0.3, 0.1 * k]))
        one.apply_translation(place)
        parts.append(one)
    whole = trimesh.util.concatenate(parts)
    whole.vertices += noise * rng.normal(size=whole.vertices.shape)
    return whole


def written(folder, places, shift=(0.0, 0.0, 0.0), sigma=None):
    rows = [f"{n},{x + shift[0]},{y + shift[1]},{z + shift[2]}" for n, (x, y, z) in places.items()]
    head = "point,x,y,z" + ("" if sigma is None else ",sigma")
    file = folder / ("near.csv" if sigma is None else "known.csv")
    file.write_text("\n".join([head, *(r if sigma is None else f"{r},{sigma}" for r in rows)]) + "\n")
    return file


def random_part(seed):
    """Truth, mesh and a guess 3 mm off: 24 to 96 facets, noise to 0.1 mm, half bores, chamfers, at times another."""
    rng = np.random.default_rng(seed)
    radius, length = rng.uniform(5, 12), rng.uniform(12, 25)
    kinds = {1: {"part": 0.5}, 2: {"chamfer": 1.5}}
    part = ring(radius, length, int(rng.choice([24, 48, 96])), **kinds.get(seed % 4, {}))
    turn = tf.random_rotation_matrix(rng.random(3))
    centre = 200 * rng.normal(size=3)
    part.apply_transform(turn)
    part.apply_translation(centre)
    if seed % 3 == 0:
        other = ring(4.0, 16.0, 24, 5.0)
        way = rng.normal(size=3)
        other.apply_translation(centre + 45 * way / np.linalg.norm(way))
        part = trimesh.util.concatenate([part, other])
    part.merge_vertices()
    corners = part.vertices + rng.choice([0.02, 0.05, 0.1]) * rng.normal(size=part.vertices.shape)
    noisy = trimesh.Trimesh(corners, part.faces, process=False)
    guess = rng.normal(size=3)
    return centre, turn[:3, 2], radius, noisy, centre + 3 * guess / np.linalg.norm(guess)


def misses(seeds):
    """How far each bore's axis is off in two directions, over its deviation."""
    out = []
    for seed in seeds:
        centre, axis, radius, mesh, guess = random_part(seed)
        found = find_bore(mesh.vertices, mesh.faces, mesh.face_normals, guess)
        assert found is not None
        assert found.axis is not None
        assert_allclose(found.radius, radius, rtol=0, atol=0.1)
        assert abs(found.axis @ axis) > 0.999
        flat = np.linalg.svd(np.eye(3) - np.outer(found.axis, found.axis))[0][:, :2]
        out += list((flat.T @ (found.centre - centre)) / np.sqrt(np.diag(flat.T @ found.covariance @ flat)))
    return np.array(out)


def test_bands_hold_the_truth():
    """Six parts: no miss of over 4 deviations, and they are not all tiny; `tests.by_hand.bores` counts over many."""
    size = np.abs(misses(range(6)))
    assert size.max() < 4.0
    assert size.max() > 0.5


def test_a_part_in_the_vehicle(tmp_path):
    upright().export(tmp_path / "upright.stl")
    near = written(tmp_path, PLACES, (1.5, -2.0, 1.0))
    found = kin3d.import_bores(tmp_path / "upright.stl", near, units="mm", body="upright")
    assert tuple(found.bores) == tuple(PLACES)
    for name, place in PLACES.items():
        bore = found.bores[name]
        assert_allclose(bore.radius, 7.0, rtol=0, atol=0.02)
        off = np.cross(found.points[name] - place, bore.axis)
        assert np.linalg.norm(off) < 5 * bore.sigma_across < 0.1
        assert_allclose(bore.sigma_along, 9.0, rtol=0, atol=0.2)
    found.save(tmp_path / "made.csv")
    back = read_points_csv(tmp_path / "made.csv", units="mm", axes="x forward, y left, z up")
    assert_allclose(back.sigma_mm, found.points.sigma_mm, rtol=1e-6)
    effect = back.errors.effect_mm.reshape(-1, 9)
    own = found.bores["tie_outer"].covariance
    assert_allclose((effect.T @ effect)[6:, 6:], own, rtol=0, atol=1e-6 * own.max())
    found.plot(tmp_path / "bores.svg")


def test_a_part_in_a_frame_of_its_own_is_placed_by_known_points(tmp_path):
    turn = tf.rotation_matrix(0.7, [0.2, 1.0, 0.4])
    turn[:3, 3] = (-50.0, -700.0, -200.0)
    part = upright()
    part.apply_transform(turn)
    part.export(tmp_path / "own.stl")
    places = {n: tuple(turn[:3, :3] @ np.array(p) + turn[:3, 3]) for n, p in PLACES.items()}
    near, known = written(tmp_path, places, (1.0, 2.0, -1.0)), written(tmp_path, PLACES, sigma=0.3)
    found = kin3d.import_bores(tmp_path / "own.stl", near, units="mm", known=known)
    for name, place in PLACES.items():
        assert np.linalg.norm(found.points[name] - place) < 0.3
        assert found.misfits[name] < 0.3
    few = written(tmp_path, dict(list(PLACES.items())[:2]), sigma=0.3)
    with pytest.raises(Kin3dError, match="three or more are expected"):
        kin3d.import_bores(tmp_path / "own.stl", near, units="mm", known=few)


def test_a_spherical_seat_tells_all_three_coordinates():
    ball = trimesh.creation.icosphere(subdivisions=3, radius=9.0)
    ball.invert()  # a hollow
    rng = np.random.default_rng(3)
    corners = ball.vertices + 0.02 * rng.normal(size=ball.vertices.shape) + [10.0, 20.0, 30.0]
    mesh = trimesh.Trimesh(corners, ball.faces, process=False)
    found = find_bore(mesh.vertices, mesh.faces, mesh.face_normals, np.array([11.0, 22.0, 29.0]))
    assert found.axis is None
    assert_allclose(found.centre, [10.0, 20.0, 30.0], rtol=0, atol=0.02)
    assert_allclose(found.radius, 9.0, rtol=0, atol=0.02)
    assert found.sigma_along < 0.01


def test_wrong_input_is_told(tmp_path):
    upright().export(tmp_path / "upright.stl")
    near = written(tmp_path, PLACES)
    with pytest.raises(Kin3dError, match="never guessed"):
        kin3d.import_bores(tmp_path / "upright.stl", near)
    with pytest.raises(Kin3dError, match="is the unit another than m"):
        kin3d.import_bores(tmp_path / "upright.stl", near, units="m")
    with pytest.raises(Kin3dError, match="is not a mesh"):
        kin3d.import_bores(near, near, units="mm")
    far = written(tmp_path, PLACES, (5000.0, 0.0, 0.0))
    with pytest.raises(Kin3dError, match="none of its points lies by the mesh"):
        kin3d.import_bores(tmp_path / "upright.stl", far, units="mm")
    some = written(tmp_path, PLACES | {"nothing_here": (0.0, 600.0, 250.0)})
    found = kin3d.import_bores(tmp_path / "upright.stl", some, units="mm")
    assert found.missed == ("nothing_here",)
    assert not found.complete
