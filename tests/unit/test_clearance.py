"""Clearance: gaps of Dunlin's corner, derivatives and deviations, limits, meshes against simple shapes, errors."""

from __future__ import annotations

import json
import struct
import tracemalloc
from itertools import pairwise

import numpy as np
import pytest
import trimesh
from numpy.testing import assert_allclose, assert_array_equal

import kin3d
from kin3d.errors import Kin3dError, ReadingError
from kin3d.linkage.car import MeshFile
from kin3d.measures.gaps import TubeSolid, TurnedSolid, moving_pairs, nearest, pair_name
from kin3d.measures.least_gap import least_gap
from kin3d.reading.meshes import read_mesh
from kin3d.solve.model import AxleModel
from kin3d.spatial.distances import Profile, bar_to_revolution
from kin3d.studies.mesh_gaps import rigid_motion, turned_mesh
from tests.readme import ROOT

RIM = np.array(
    [[-112, 176], [-112, 164], [-98, 162], [-60, 150], [20, 146], [42, 146], [60, 162], [72, 164], [72, 176.0]]
)
DUNLIN = ROOT / "models" / "dunlin" / "car.toml"


@pytest.fixture(scope="module")
def car():
    return kin3d.load(DUNLIN)


@pytest.fixture(scope="module")
def found(car):
    return kin3d.clearance(car, [-25.0, 0.0, 25.0], [-30.0, 0.0, 30.0], gap=15.0)


def row_of(part, name):
    return [pair_name(p) for p in part.pairs].index(name)


def test_tie_link_and_rim_at_full_lock(found):
    """By hand: the tube is sampled; the rim's corners are turned about the spin axis; the least of all distances."""
    part = found.parts[0]
    row = row_of(part, "tie link – rim")
    lane = part.worst(row)
    assert (part.drives["travel"][lane], part.drives["rack"][lane]) == (25.0, -30.0)
    at = dict(zip(part.points, part.at[lane], strict=True))
    axis = at["wheel_axis"] - at["wheel_centre"]
    axis = axis / np.linalg.norm(axis)
    bar = at["tie_inner"] + np.linspace(0, 1, 20001)[:, None] * (at["tie_outer"] - at["tie_inner"])
    width = (bar - at["wheel_centre"]) @ axis
    radius = np.linalg.norm(bar - at["wheel_centre"] - width[:, None] * axis, axis=1)
    section = np.concatenate([np.linspace(a, b, 400) for a, b in pairwise(RIM)])
    least = min(np.hypot(width - w, radius - r).min() for w, r in section)
    assert_allclose(part.least(row), least - 8.0, rtol=0, atol=2e-3)
    between = np.linalg.norm(part.first[row, :, lane] - part.second[row, :, lane])
    assert_allclose(between - 8.0, part.least(row), rtol=0, atol=1e-9)




def test_right_is_left_with_the_other_lock(found):
    left, right = found.parts
    turned = np.arange(9).reshape(3, 3)[:, ::-1].ravel()
    assert_allclose(right.gap, left.gap[:, turned], rtol=0, atol=1e-9)


def test_limits_are_where_the_gap_is_used_up(car, found):
    limits = [x for x in found.parts[0].limits if pair_name(found.parts[0].pairs[x.row]).startswith("lower arm, rear")]
    assert not [x for x in limits if x.at]  # with the other drive at 0 it keeps its distance: both together use it up
    again = kin3d.clearance(car, [-25.0, 25.0], [-30.0, 30.0], gap=55.0).parts[0]
    name = "tie link – rim"
    (limit,) = [x for x in again.limits if pair_name(again.pairs[x.row]) == name]
    assert (limit.drive, limit.end) == ("rack", -30.0)
    for at, gap in ((limit.at, 55.0), (limit.at + 1.0, 55.3)):
        here = kin3d.clearance(car, [0.0], [at]).parts[0]
        assert (here.gap[limit.row, 0] > gap) if gap > 55.0 else abs(here.gap[limit.row, 0] - 55.0) < 1e-5


def test_slopes_and_deviations_against_other_cars(car, found):
    part = found.parts[0]
    row = row_of(part, "lower arm, rear leg – rim")
    doubt, lane = part.doubts[row], part.worst(row)
    travel, rack = (float(part.drives[n][lane]) for n in ("travel", "rack"))
    sigmas, total = dict(zip(car.front.points.names, car.front.points.sigma_mm, strict=True)), 0.0
    for k, name in enumerate(doubt.names):
        point, axis = name.rsplit(" ", 1)
        total += (doubt.slope[k] * sigmas[point]["xyz".index(axis)]) ** 2
        if abs(doubt.slope[k]) < 0.3:
            continue
        gaps = []
        for h in (-1e-3, 1e-3):
            place = car.front.points[point].copy()
            place["xyz".index(axis)] += h
            gaps.append(kin3d.clearance(car.with_points({point: place}), [travel], [rack]).parts[0].gap[row, 0])
        assert_allclose((gaps[1] - gaps[0]) / 2e-3, doubt.slope[k], rtol=0, atol=1e-6, err_msg=name)
    assert_allclose(doubt.sigma_mm, np.sqrt(total), rtol=1e-9)


def test_gap_over_travel_and_rack_has_no_steps(car):
    part = kin3d.clearance(car, np.linspace(-25, 25, 41), np.linspace(-30, 30, 41)).parts[0]
    gap = part.gap.reshape(len(part.pairs), 41, 41)
    for axis, step in ((1, 1.25), (2, 1.5)):
        assert np.abs(np.diff(gap, axis=axis)).max() < 2.6 * step  # a rim of 176 mm on a steering arm of 70


def test_in_roll_both_wheels_have_their_own(car):
    rolled = kin3d.clearance(car, roll=[-2.0, 0.0, 2.0], rack=[0.0])
    left, right = rolled.parts
    assert_allclose(left.gap[:, ::-1], right.gap, rtol=0, atol=1e-8)
    assert np.ptp(left.gap[row_of(left, "rod – upper arm, front leg")]) > 0.01


def with_solids(car, **solids):
    return car.with_figures({"front.solids": solids, "front.links": None, "front.rod_part": None})


def stl(mesh, folder, name="part.stl"):
    mesh.export(folder / name)
    return str(folder / name)


def test_a_mesh_of_the_chassis_against_a_bar_by_hand(car, tmp_path):
    """A box whose lower face is 60 mm over the design position's bar: the gap is the height over its highest end."""
    box = trimesh.creation.box(bounds=[[-300, -100, 320], [300, 700, 400]])
    leg = {"points": ["lower_front", "lower_outer"], "diameter_mm": 20.0}
    tub = {"mesh": stl(box, tmp_path), "body": "chassis", "units": "mm"}
    part = kin3d.clearance(with_solids(car, leg=leg, tub=tub), [-20.0, 0.0, 20.0]).parts[0]
    ends = part.at[:, [part.points.index(p) for p in ("lower_front", "lower_outer")], 2]
    inside = part.at[:, part.points.index("lower_outer"), 1] > 700.0
    assert_allclose(part.gap[0][~inside], (310.0 - ends.max(axis=1))[~inside], rtol=0, atol=1e-9)
    assert (part.gap[0][inside] >= (310.0 - ends.max(axis=1))[inside]).all()


def test_meshes_of_simple_shapes_are_within_the_facets(car, tmp_path):
    """The rim as a section against legs, and the same rim turned into 180 facets as a mesh of the wheel."""
    rim = Profile(RIM)
    lanes = kin3d.clearance(car, [0.0]).parts[0].at[0]
    at = dict(zip(car.front.linkage.points, lanes, strict=True))
    z = (at["wheel_axis"] - at["wheel_centre"]) / np.linalg.norm(at["wheel_axis"] - at["wheel_centre"])
    x = np.cross([1.0, 0.0, 0.0], z) / np.linalg.norm(np.cross([1.0, 0.0, 0.0], z))
    points, faces = turned_mesh(rim)
    placed = points @ np.stack([x, np.cross(z, x), z]) + at["wheel_centre"]
    leg = {"points": ["lower_rear", "lower_outer"], "diameter_mm": 22.0}
    meshed = {"mesh": stl(trimesh.Trimesh(placed, faces, process=False), tmp_path), "body": "wheel", "units": "mm"}
    simple = with_solids(car, leg=leg, rim={"profile": RIM.tolist()})
    travel, rack = np.linspace(-25, 25, 5), np.linspace(-30, 30, 5)
    exact = kin3d.clearance(simple, travel, rack).parts
    facets = kin3d.clearance(with_solids(car, leg=leg, rim=meshed), travel, rack).parts
    sagitta = 176.0 * (1.0 - np.cos(np.pi / 180))
    for a, b in zip(exact, facets, strict=True):
        assert_allclose(b.gap, a.gap, rtol=0, atol=sagitta + 1e-4)
        assert np.abs(b.gap - a.gap).max() > 1e-6
    assert any("open" in f.text for f in kin3d.clearance(with_solids(car, leg=leg, rim=meshed), [0.0]).findings)


def test_the_library_against_formulas_over_random_poses():
    """200 poses of a bar and a section of 720 facets: within the sagitta of the facets."""
    import fcl

    profile = Profile(np.array([[-40.0, 120.0], [0.0, 90.0], [50.0, 130.0]]))
    points, faces = turned_mesh(profile, 720)
    model = fcl.BVHModel()
    model.beginModel(len(points), len(faces))
    model.addSubModel(points, faces)
    model.endModel()
    rng = np.random.default_rng(11)
    a, b = rng.normal(size=(2, 200, 3)) * 150
    origin, axis = np.zeros((3, 200)), np.tile([[0.0], [0.0], [1.0]], 200)
    exact = bar_to_revolution(tuple(a.T), tuple(b.T), tuple(origin), tuple(axis), profile).distance
    sagitta = 130.0 * (1.0 - np.cos(np.pi / 720))
    for k in range(200):
        bar = fcl.BVHModel()
        bar.beginModel(3, 1)
        bar.addSubModel(np.array([a[k], b[k], 0.5 * (a[k] + b[k])]), np.array([[0, 1, 2]]))
        bar.endModel()
        objects = [fcl.CollisionObject(m, fcl.Transform()) for m in (model, bar)]
        apart = max(0.0, fcl.distance(*objects, fcl.DistanceRequest(), fcl.DistanceResult()))
        assert_allclose(apart, exact[k], rtol=0, atol=sagitta + 1e-6)


def test_a_rigid_motion_is_found_again():
    rng = np.random.default_rng(2)
    then = rng.normal(size=(3, 3)) * 100
    turn, _ = np.linalg.qr(rng.normal(size=(3, 3)))
    turn = turn * np.sign(np.linalg.det(turn))
    shift = np.array([1.0, -2.0, 3.0])
    found_turn, found_shift = rigid_motion(then, (then @ turn.T + shift)[None])
    assert_allclose(found_turn[0], turn, atol=1e-12)
    assert_allclose(found_shift[0], shift, atol=1e-9)


def test_a_section_out_of_a_drawing(car, tmp_path):
    import ezdxf

    document = ezdxf.new()
    model = document.modelspace()
    model.add_lwpolyline([(-11.2, 17.6), (-11.2, 16.4), (-9.8, 16.2)])
    model.add_line((-9.8, 16.2), (4.2, 14.6))
    document.saveas(tmp_path / "rim.dxf")
    keys = '[front.solids.rim]\nprofile_file = "rim.dxf"\nunits = "cm"\n[rear'
    text = DUNLIN.read_text("utf-8").replace("[front.solids.rim]\nprofile = ", "[front.solids.other]\nprofile = ")
    for table in ("front.csv", "rear.csv"):
        (tmp_path / table).write_bytes((DUNLIN.parent / table).read_bytes())
    (tmp_path / "car.toml").write_text(text.replace("[rear", keys, 1), "utf-8")
    read = kin3d.load(tmp_path / "car.toml")
    rim = next(s for s in read.front.solids if s.name == "rim")
    assert_allclose(rim.profile, [(-112, 176), (-112, 164), (-98, 162), (42, 146)], rtol=0, atol=1e-9)


def tub(path, **more):
    return {"mesh": str(path), "body": "chassis", "units": "mm"} | more


def test_wrong_meshes_each_get_a_sentence(car, tmp_path):
    leg = {"points": ["lower_front", "lower_outer"], "diameter_mm": 20.0}
    box = trimesh.creation.box(bounds=[[-1, -1, -1], [1, 1, 1]])
    small = stl(box.copy().apply_scale(0.3), tmp_path, "metres.stl")
    (tmp_path / "none.stl").write_text("solid none\nendsolid none\n")
    (tmp_path / "text.stl").write_text("not a mesh at all")
    inverted = trimesh.creation.box(bounds=[[-300, -100, 500], [300, 100, 700]])
    inverted.invert()
    for path, error, words in (
        (small, Kin3dError, 'is its unit another\\?; with units = "m" it would fit'),
        (tmp_path / "none.stl", ReadingError, "mesh|triangles"),
        (tmp_path / "text.stl", ReadingError, "mesh|triangles"),
    ):
        with pytest.raises(error, match=words):
            kin3d.clearance(with_solids(car, leg=leg, tub=tub(path)), [0.0])
    told = kin3d.clearance(with_solids(car, leg=leg, tub=tub(stl(inverted, tmp_path, "in.stl"))), [0.0]).findings
    assert [f.code for f in told] == ["mesh-inverted"]


def glb(count):
    """A glTF of one triangle whose positions are told to be `count`, without bytes for them."""
    head = {"asset": {"version": "2.0"}, "accessors": [{"componentType": 5126, "count": count, "type": "VEC3"}]}
    head |= {"meshes": [{"primitives": [{"attributes": {"POSITION": 0}}]}], "nodes": [{"mesh": 0}]}
    head |= {"scene": 0, "scenes": [{"nodes": [0]}]}
    text = json.dumps(head).encode()
    text += b" " * (-len(text) % 4)
    return struct.pack("<4sII", b"glTF", 2, 20 + len(text)) + struct.pack("<II", len(text), 0x4E4F534A) + text


AXES = "".join(f"property float {c}\n" for c in "xyz")
PLY = "ply\nformat {} 1.0\nelement vertex 2000000000\n" + AXES + "end_header\n"
CLAIMS = "tells of [0-9,]+ parts, for which it is too short"
BOMBS = {
    "head.stl": (b"x" * 80 + struct.pack("<I", 2**31) + b"\0" * 500, CLAIMS),
    "nan.stl": (b"x" * 80 + struct.pack("<I12f", 1, *[float("nan")] * 12) + b"\0\0", "none whose corners"),
    "binary.ply": (PLY.format("binary_little_endian").encode() + b"\0" * 100, CLAIMS),
    "text.ply": (PLY.format("ascii").encode() + b"0 0 0\n", CLAIMS),
    "count.glb": (glb(900_000_000), CLAIMS),
    "index.obj": (b"v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 999999999\n", "damaged or of another kind"),
    "fan.obj": (b"v 0 0 0\nv 1 0 0\nv 0 1 0\nf " + b"1 2 3 " * 150_000, "at most are expected: write it coarser"),
}


@pytest.mark.parametrize("name", BOMBS)
def test_a_small_file_that_would_take_much_is_refused(name, tmp_path):
    data, words = BOMBS[name]
    (tmp_path / name).write_bytes(data)
    mesh = MeshFile(tmp_path / name, ((1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0)), (0.0, 0.0, 0.0))
    tracemalloc.start()
    try:
        with pytest.raises(ReadingError, match=words):
            read_mesh(mesh)
        assert tracemalloc.get_traced_memory()[1] < 400e6
    finally:
        tracemalloc.stop()


def test_a_car_without_solids_says_what_to_give(car):
    bare = car.with_figures({"front.solids": None, "front.links": None, "front.rod_part": None})
    with pytest.raises(Kin3dError, match=r"give tubes, profiles or meshes in \[front.solids.NAME\]"):
        kin3d.clearance(bare, [0.0], axle="front")
    with pytest.raises(Kin3dError, match="travel moves one wheel alone"):
        kin3d.clearance(car, [0.0], roll=[1.0])


def test_what_rides_together_is_no_pair(found):
    for part in found.parts:
        for first, second in part.pairs:
            assert first.rides != second.rides
            assert not (isinstance(first, TurnedSolid) and isinstance(second, TurnedSolid))
    assert any(isinstance(s, TubeSolid) for pair in found.parts[0].pairs for s in pair)


def test_the_least_gap_of_many_lanes_alike_is_that_of_each_pair_by_itself() -> None:
    model = AxleModel.of(kin3d.load(DUNLIN), "front")
    design = model.variants.design[0]
    pairs = moving_pairs(model.axle, design)
    rng = np.random.default_rng(5)
    alike = np.repeat([-10.0, 0.0, 10.0], 60)
    lifted = design[:, :, None] + np.array([0.0, 0.0, 1.0])[None, :, None] * np.where(design[:, :1, None] > 0, alike, 0)
    places = lifted + rng.normal(0.0, 1.5, (*design.shape, len(alike)))
    places[..., 7] = np.nan  # a lane that is not solved
    at = dict(zip(model.linkage.points, places, strict=True))
    each = [nearest(p, {k: (v[0], v[1], v[2]) for k, v in at.items()}).distance for p in pairs]
    assert_array_equal(least_gap(pairs, at, alike), np.min(each, axis=0))
    assert len({int(k) for k in np.argmin(np.nan_to_num(each), axis=0)}) > 1  # not one pair everywhere
