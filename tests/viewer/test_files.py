"""Scenes as files, read back by others; the page that needs no network; meshes that move with their bodies."""

from __future__ import annotations

import base64
import io
import json
import os
import re
import subprocess

import imageio_ffmpeg
import numpy as np
import pytest
import trimesh

import kin3d
from kin3d.errors import ReadingError, RequestError
from kin3d.linkage.car import MeshFile
from kin3d.writing.files import earlier_result
from kin3d_viewer.command import Request, run
from kin3d_viewer.export import glb
from kin3d_viewer.geometry import surface
from kin3d_viewer.images import _film
from kin3d_viewer.instances import instance, unit_mesh
from kin3d_viewer.model import Drives
from kin3d_viewer.page import round_steps
from kin3d_viewer.primitives import Ball, Coil, Rod, Wheel
from kin3d_viewer.session import Session
from kin3d_viewer.solids import read_solid, solid_surface
from tests.viewer.cars import STRUT_POINTS, car, strut


@pytest.fixture(scope="module")
def session():
    return Session.of(car("dunlin", None), "front", Drives(12.0, 3.0))


def test_glb_has_every_part_where_it_is(session):
    """Read by trimesh: metres, y up, z forward, x to the left."""
    scene = session.scene()
    read = trimesh.load(io.BytesIO(glb(list(scene.items))), file_type="glb")
    for item in (*scene.of(Rod), *scene.of(Ball), *scene.of(Coil)):
        transform, geometry = read.graph[item.name]
        points = trimesh.transform_points(read.geometry[geometry].vertices, transform)
        wanted = surface(item).points
        box = 0.001 * np.array([wanted.min(axis=0), wanted.max(axis=0)])[:, [1, 2, 0]]
        np.testing.assert_allclose([points.min(axis=0), points.max(axis=0)], box, rtol=0.0, atol=1e-6)


def test_glb_in_roll_stands_on_level_ground(tmp_path):
    """Contact points at one height (y of glTF); the chassis joints of both sides are not."""
    file = tmp_path / "roll.glb"
    run(car("dunlin", None), None, Request(scene=file, drives=Drives(0.0, 0.0, 2.0)))
    read = trimesh.load(io.BytesIO(file.read_bytes()), file_type="glb")

    def height(name):
        transform, geometry = read.graph[name]
        return trimesh.transform_points(read.geometry[geometry].vertices, transform)[:, 1].mean()

    np.testing.assert_allclose(height("left/contact"), height("right/contact"), rtol=0.0, atol=1e-6)
    assert height("left/upper_front") - height("right/upper_front") > 0.015  # 0.55 m apart, sin 2° of that


def test_unit_meshes_make_the_same_surfaces(session):
    for item in session.scene().items:
        found = instance(item)
        if found is None or isinstance(item, Coil):
            continue
        unit, whole = unit_mesh(found.mesh), surface(item)
        placed = (unit.points * found.size) @ found.turn.T + found.shift
        atol = 2e-3 * item.radius_mm if isinstance(item, Wheel) else 1e-9
        np.testing.assert_allclose(placed, whole.points, rtol=0.0, atol=atol)


def test_surfaces_are_closed_and_normals_point_outwards():
    rod = Rod("a", "rod", np.array([1.0, 2.0, 3.0]), np.array([40.0, -20.0, 90.0]), 5.0)
    for item in (rod, *(Ball("b", "joint", np.array([9.0, 8.0, 7.0]), 10.0, s) for s in ("ball", "cube", "diamond"))):
        mesh = surface(item)
        solid = trimesh.Trimesh(mesh.points, mesh.triangles, process=False)
        solid.merge_vertices(digits_vertex=6)
        solid.update_faces(solid.nondegenerate_faces())
        assert solid.is_watertight
        assert solid.volume > 0.0
        out = np.sum(mesh.normals * (mesh.points - mesh.points.mean(axis=0)), axis=1)
        assert (out > -1e-9).all()


def test_page_needs_nothing_from_anywhere(tmp_path):
    file = tmp_path / "page.html"
    run(car("plover", None), None, Request(scene=file, drives=Drives(10.0), show=("front centres",)))
    text = file.read_text("utf-8")
    addresses = set(re.findall(r"https?://[^\s\"'<>]+", text))
    assert addresses == {"http://www.w3.org/2000/svg"}  # a name, not an address that is asked
    assert "default-src 'none'" in text
    assert not re.search(r"\bsrc=|\bhref=|@import|fetch\(|XMLHttpRequest|import\(", text)
    assert len(text) < 800_000


def test_page_holds_the_sweep(tmp_path):
    file = tmp_path / "page.html"
    read = car("dunlin", None)
    run(read, None, Request(scene=file, drives=Drives(10.0)))
    data = json.loads(re.search(r'id="data">(.*)</script>\n', file.read_text("utf-8")).group(1))
    at = data["at"]
    assert at[data["start"]] == 10.0
    made = Session.of(read, "front", Drives())
    names = {d["name"]: d for d in data["items"]}
    for k in (0, data["start"], len(at) - 1):
        made.editor.drive(travel_mm=at[k])
        for side, number in (("left", 0), ("right", 1)):
            packed = np.frombuffer(base64.b64decode(names[f"{side}/upper_outer"]["data"]), "<f4").reshape(-1, 3, 4)
            wanted = made.view.now.at(number, "upper_outer")
            np.testing.assert_allclose(packed[k, :, 3], wanted, rtol=0.0, atol=1e-4)
        camber = next(c for c in data["curves"] if c["name"] == "camber_deg")["values"][k]
        np.testing.assert_allclose(camber, made.view.now.values["camber_deg"], rtol=1e-5, atol=0.0)


@pytest.mark.parametrize(
    ("first", "last", "count", "some"),
    [
        (-40.0, 40.0, 17, {1: -35.0, 8: 0.0, 16: 40.0}),
        (30.0, -30.0, 25, {0: -30.0, 1: -27.5, 12: 0.0}),
        (-3.0, 3.0, 25, {1: -2.75, 13: 0.25}),
        (-33.0, 41.0, 32, {0: -33.0, 1: -32.5, 30: 40.0, 31: 41.0}),
        (0.0, 0.0, 1, {0: 0.0}),
    ],
)
def test_slider_stands_at_round_values_and_at_both_ends(first, last, count, some):
    """At least sixteen steps of 1, 2, 2.5 or 5 times a power of ten; values by hand."""
    along = round_steps(first, last)
    assert len(along) == count
    for k, value in some.items():
        assert along[k] == value


def test_page_of_two_cars_has_the_figures_of_both_rounded_as_elsewhere(tmp_path):
    """Values of the second car are those of its own sweep; words of a centre follow the slider."""
    file = tmp_path / "page.html"
    run(car("dunlin", None), car("plover", None), Request(scene=file, show=("front centres",)))
    data = json.loads(re.search(r'id="data">(.*)</script>\n', file.read_text("utf-8")).group(1))
    curve = next(c for c in data["curves"] if c["name"] == "roll_centre_height_mm")
    assert (curve["shown"][data["start"]], curve["shownBeside"][data["start"]]) == ("24.42", "37.02")
    own = kin3d.sweep(car("plover", None), "front", travel=data["at"], measures=["roll_centre_height_mm"])
    np.testing.assert_allclose(curve["beside"], own.values["roll_centre_height_mm"][:, 0, 0], rtol=1e-5, atol=1e-6)
    labels = [d["label"] for d in data["items"] if "label" in d]
    said = next(x for x in labels if isinstance(x, list) and x[0].startswith("Plover") and "roll centre" in x[0])
    assert len(said) == len(data["at"])
    assert said[data["start"]].endswith("+37.0 mm")
    assert [c["title"].split(",")[0] for c in data["cars"]] == ["Dunlin", "Plover"]


def test_page_in_roll_stands_on_level_ground(tmp_path):
    """Each frame's matrix brings both contact points to one height."""
    file = tmp_path / "page.html"
    run(car("plover", None), None, Request(scene=file, over="roll_deg"))
    data = json.loads(re.search(r'id="data">(.*)</script>\n', file.read_text("utf-8")).group(1))
    places = {}
    for side in ("left", "right"):
        item = next(d for d in data["items"] if d["name"] == f"{side}/contact")
        places[side] = np.frombuffer(base64.b64decode(item["data"]), "<f4").reshape(-1, 3, 4)[:, :, 3]
    assert len(data["level"]) == len(data["at"])
    apart = 0.0
    for k, packed in enumerate(data["level"]):
        matrix = np.frombuffer(base64.b64decode(packed), "<f4").reshape(4, 4).T
        left, right = (matrix @ np.append(places[s][k], 1.0) for s in ("left", "right"))
        np.testing.assert_allclose(left[2], right[2], rtol=0.0, atol=1e-2)
        apart = max(apart, abs(float(places["left"][k][2] - places["right"][k][2])))
    assert apart > 50.0  # in the vehicle frame, at 3° over a track of 1.5 m
    run(car("plover", None), None, Request(scene=tmp_path / "travel.html"))
    assert '"level":null' in (tmp_path / "travel.html").read_text("utf-8")


def test_wrong_requests_are_told_all_at_once(tmp_path):
    request = Request(
        screenshot=tmp_path / "a.bmp",
        animation=tmp_path / "none" / "a.gif",
        scene=tmp_path / "a.obj",
        view="below",
        show=("wheel",),
        size=(10, 10),
    )
    with pytest.raises(RequestError) as told:
        run(car("dunlin", None), None, request)
    text = str(told.value)
    for said in (
        'ending ".bmp" is not known; expected one of .png, .jpg, .jpeg',
        "make it first",
        'ending ".obj" is not known; expected one of .glb, .html',
        '--view "below": there are front, side, plan, perspective',
        '"wheel": there are linkage, wheels',
        "from 64 to 8192 px",
    ):
        assert said in text
    assert len(told.value.findings) == 6


def test_position_out_of_reach_is_told(tmp_path):
    with pytest.raises(RequestError, match=r"the position asked for is out of reach: left wheel: travel \+1"):
        run(car("dunlin", None), None, Request(drives=Drives(140.0), scene=tmp_path / "a.glb"))


def box_car(tmp_path, body, kind="stl"):
    """A strut whose mesh is a box about a point of the upright, in the unit and axes of the table."""
    centre = np.array(STRUT_POINTS["lower_outer"]) if body != "chassis" else np.array([0.0, 100.0, 200.0])
    box = trimesh.creation.box(extents=(20.0, 30.0, 40.0))
    box.apply_translation(centre)
    box.export(tmp_path / f"part.{kind}")
    strut(tmp_path)
    file = tmp_path / "car.toml"
    file.write_text(file.read_text("utf-8") + f'[front.meshes]\n{body} = "part.{kind}"\n', "utf-8")
    return file


@pytest.mark.parametrize("kind", ["stl", "obj", "glb"])
@pytest.mark.parametrize("body", ["upright", "wheel"])
def test_mesh_moves_with_its_body_on_both_sides(tmp_path, kind, body):
    session = Session.of(kin3d.load(box_car(tmp_path, body, kind)), "front", Drives(25.0, 8.0))
    scene = session.scene()
    for side, number in (("left", 0), ("right", 1)):
        points = solid_surface(scene[f"mesh/{side}/{body}"]).points
        middle = 0.5 * (points.min(axis=0) + points.max(axis=0))
        np.testing.assert_allclose(middle, session.view.now.at(number, "lower_outer"), rtol=0.0, atol=1e-4)
    assert [p.name for p in scene.of(Wheel)] == ["left/wheel", "right/wheel"]


def test_mesh_of_a_tyre_stands_for_ours_and_the_chassis_stays(tmp_path):
    session = Session.of(kin3d.load(box_car(tmp_path, "tyre")), "front", Drives(25.0))
    assert not session.scene().of(Wheel)
    other = Session.of(kin3d.load(box_car(tmp_path, "chassis")), "front", Drives(25.0))
    points = solid_surface(other.scene()["mesh/chassis"]).points
    np.testing.assert_allclose(points.max(axis=0), [10.0, 115.0, 220.0], rtol=0.0, atol=1e-4)


def test_mesh_in_other_units_and_axes(tmp_path):
    file = MeshFile(tmp_path / "part.stl", ((-1000.0, 0.0, 0.0), (0.0, -1000.0, 0.0), (0.0, 0.0, 1000.0)))
    trimesh.creation.box(bounds=[[0.0, 0.0, 0.0], [0.1, 0.2, 0.3]]).export(file.path)
    mesh = read_solid(file)
    np.testing.assert_allclose(mesh.points.min(axis=0), [-100.0, -200.0, 0.0], rtol=0.0, atol=1e-4)
    np.testing.assert_allclose(np.linalg.norm(mesh.normals, axis=1), 1.0, rtol=0.0, atol=1e-12)


def test_wrong_meshes_are_told_with_their_keys(tmp_path):
    strut(tmp_path)
    file = tmp_path / "car.toml"
    text = '[front.meshes]\nupright = "none.stl"\nwheel = "wheel.step"\n'
    file.write_text(file.read_text("utf-8") + text, "utf-8")
    with pytest.raises(ReadingError) as told:
        kin3d.load(file)
    for said in (
        '[front.meshes] upright: "none.stl" is not there; the path is relative to the car file',
        '[front.meshes] wheel: "wheel.step" is not a mesh; expected a file ending in .stl or .obj or .glb or .ply',
    ):
        assert said in str(told.value)
    file.write_text(file.read_text("utf-8").replace("upright", "hub"), "utf-8")
    with pytest.raises(ReadingError, match="hub: is not a known key; known here: upright, wheel, tyre, chassis"):
        kin3d.load(file)
    (tmp_path / "broken.glb").write_bytes(b"not a mesh")
    with pytest.raises(ReadingError, match=r"broken\.glb: cannot be read as a mesh"):
        read_solid(MeshFile(tmp_path / "broken.glb", ((1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0))))


@pytest.mark.parametrize(
    ("option", "ending"), [("scene", ".glb"), ("scene", ".html"), ("screenshot", ".png"), ("screenshot", ".jpg"),
                           ("animation", ".gif"), ("animation", ".mp4")]
)  # fmt: skip
def test_every_kind_of_file_is_an_earlier_result_and_the_same_again(option, ending, tmp_path, monkeypatch):
    place = tmp_path / f"made{ending}"
    asked = {option: place, "size": (640, 400), "sweep": (-5.0, 5.0) if option == "animation" else ()}
    made = []
    for _ in range(2):
        run(car("dunlin", None), None, Request(**asked))
        made.append(place.read_bytes())
    assert earlier_result(place)
    assert made[0] == made[1]

    def full(_handle):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(RequestError, match="No space left"):
        run(car("dunlin", None), None, Request(**asked))
    assert place.read_bytes() == made[0]
    assert [p.name for p in tmp_path.iterdir()] == [place.name]
    place.write_bytes(b"mine")
    monkeypatch.undo()
    with pytest.raises(RequestError, match="no earlier result"):
        run(car("dunlin", None), None, Request(**asked))


def test_a_film_has_the_size_that_was_asked_for_and_no_complaint_of_its_writer(tmp_path, caplog):
    """H.264 takes even sizes; the writer's own wish for sixteens would stretch every frame and say so."""
    frames = [np.full((242, 322, 3), shade, np.uint8) for shade in (40, 200)]
    _film(tmp_path / "film.mp4", frames, 10, [5, 5])
    asked = [imageio_ffmpeg.get_ffmpeg_exe(), "-hide_banner", "-i", str(tmp_path / "film.mp4"), "-f", "null", "-"]
    told = subprocess.run(asked, capture_output=True, text=True, check=True, timeout=60).stderr
    assert re.search(r"Video: h264.*[ ,]322x242[ ,]", told), told
    assert re.search(r"frame= *10\b", told), told
    assert caplog.text == ""
