"""Files of photographs: what is read, what is assumed and said, what is refused, all at once."""

from __future__ import annotations

import re

import numpy as np
import pytest

from kin3d.errors import ReadingError, Severity
from kin3d.reading.photographs import read_photographs
from kin3d.reading.points import read_points_csv
from kin3d.studies.locate import locate
from tests import photo_scenes as scenes
from tests.photo_scenes import FRONT, QUARTER

GOOD = """title = "Plover, paddock"
marks = "front.marks.csv"
[known]
wheelbase_mm = [2380, 2]
loaded_radius_mm = 260
[[photos]]
name = "pit"
size_px = [4000, 2667]
focal_mm = 50
rack_mm = [1, 2]
sigma_px = { point = 3 }
"""
MARKS = """photo,kind,name,side,u,v,sigma_px,note
pit,point,lower_front,left,1412.5,980.0,,
pit,leg,Upper Rear,left,1500.2,700.8,,a note
pit,rim,front,left,2210.0,1310.5,,
pit,contact,front,left,2190,1702,8,
"""


def read(folder, text=GOOD, marks=MARKS):
    (folder / "front.photos.toml").write_text(text, "utf-8")
    (folder / "front.marks.csv").write_text(marks, "utf-8")
    return read_photographs(folder / "front.photos.toml")


def refused(folder, text=GOOD, marks=MARKS):
    with pytest.raises(ReadingError) as caught:
        read(folder, text, marks)
    return {f.code: f for f in caught.value.findings}


def test_what_is_read(tmp_path):
    car = read(tmp_path)
    assert car.title == "Plover, paddock"
    assert [(m.kind, m.name, m.sigma_px, m.row) for m in car.marks] == [
        ("point", "lower_front", 3.0, 2), ("leg", "upper_rear", 1.5, 3), ("rim", "front", 1.5, 4),
        ("contact", "front", 8.0, 5),
    ]  # fmt: skip
    photo = car.photos[0]
    assert photo.focal_px.value == pytest.approx(50 / 36 * 4000, rel=1e-12)
    assert (photo.rack_mm.value, photo.rack_mm.sigma, photo.travel_mm.sigma) == (1.0, 2.0, 4.0)
    assert car.known["loaded_radius_mm"].sigma == 0.0
    assert photo.centre_sigma_px == pytest.approx(20.0, rel=1e-12)


def test_every_default_is_said(tmp_path):
    said = {f.assumed.split(" =")[0] for f in read(tmp_path).findings if f.severity is Severity.NOTE}
    for word in (
        "side",
        "joint_mm",
        "asymmetry_mm",
        "box_mm",
        "rim_diameter_mm",
        "camber_deg",
        "travel_mm",
        "sensor_width_mm",
    ):
        assert word in said


def test_everything_wrong_is_told_at_once(tmp_path):
    text = (
        GOOD.replace('name = "pit"', 'name = "pit"\ncroped = true')
        .replace("[2380, 2]", '"2380"')
        .replace("= 50", "= -5")
    )
    marks = MARKS + (
        "pitt,point,lower_front,left,1,1,,\npit,dot,lower_front,left,1,1,,\npit,point,lower_frnt,left,1,1,,\n"
        "pit,leg,lower_outer,left,1,1,,\npit,point,lower_rear,middle,1,1,,\npit,point,upper_front,left,5000,1,,\n"
        "pit,point,upper_rear,left,x,1,,\npit,point,lower_front,left,3,3,,\n"
    )
    found = refused(tmp_path, text, marks)
    assert {"key-unknown", "value-type", "kind-unknown", "name-unknown", "side-unknown", "number-text"} <= set(found)
    assert "croped" in found["key-unknown"].place
    assert "cropped" in found["key-unknown"].text
    assert found["side-unknown"].place.endswith("row 10")


def test_a_mark_outside_its_picture_and_one_twice(tmp_path):
    found = refused(tmp_path, marks=MARKS + "pit,point,upper_front,left,4001,1,,\npit,point,lower_front,left,3,3,,\n")
    assert "4000 × 2667" in found["mark-outside"].text
    assert "row 2" in found["mark-twice"].text


def test_without_any_length_there_is_no_scale(tmp_path):
    text = GOOD.replace("wheelbase_mm = [2380, 2]\nloaded_radius_mm = 260\n", "")
    assert "wheelbase_mm" in refused(tmp_path, text)["scale-missing"].text


def test_a_picture_that_is_none(tmp_path):
    (tmp_path / "pit.jpg").write_bytes(b"not a picture at all")
    text = GOOD.replace("size_px = [4000, 2667]", 'file = "pit.jpg"')
    assert "cannot be read as a picture" in refused(tmp_path, text)["picture-kind"].text
    text = GOOD.replace("size_px = [4000, 2667]", 'file = "pti.jpg"')
    assert "pit.jpg" in refused(tmp_path, text)["picture-missing"].text


@pytest.mark.parametrize(("orientation", "size"), [(1, (60.0, 40.0)), (6, (40.0, 60.0))])
def test_size_and_focal_length_of_a_picture(tmp_path, orientation, size):
    from PIL import Image

    image = Image.new("RGB", (60, 40))
    exif = image.getexif()
    exif[0x0112] = orientation
    exif[0x8769] = {0xA405: 70}
    image.save(tmp_path / "pit.jpg", exif=exif)
    text = GOOD.replace("size_px = [4000, 2667]", 'file = "pit.jpg"').replace("focal_mm = 50\n", "")
    marks = "photo,kind,name,side,u,v\npit,point,lower_front,left,12,30\n"
    photo = read(tmp_path, text, marks).photos[0]
    assert photo.size_px == size
    assert len(photo.sha256) == 64
    # a focal length "in 35 mm film" refers to the diagonal of 36 × 24 mm (CIPA DC-008, FocalLengthIn35mmFilm)
    assert photo.focal_px.value == pytest.approx(70 / np.hypot(36, 24) * np.hypot(60, 40), rel=1e-12)


def test_two_cars_are_read_together_and_may_not_contradict(tmp_path):
    scene = scenes.scene(["dunlin", "plover"], [FRONT, QUARTER], 3)
    path = scenes.write_files(scene, tmp_path)
    car = read_photographs(path)
    assert [c.title for c in car.cars()] == ["dunlin", "plover"]
    assert car.shares == {"tyre", "rim", "wheelbase", "joint marking"}
    text = re.sub(r"wheelbase_mm = .*", "wheelbase_mm = [2400, 2]", path.read_text("utf-8"))
    path.write_text(text, "utf-8")
    with pytest.raises(ReadingError, match="2400"):
        read_photographs(path)


def test_points_with_their_covariance_come_out_of_files(tmp_path):
    scene = scenes.scene(["dunlin", "plover"], [FRONT, QUARTER], 5, template_off=25.0)
    found = locate(scenes.write_files(scene, tmp_path))
    own = found.car
    assert found.save(tmp_path / "points.csv") == len(own.names)
    table = read_points_csv(tmp_path / "points.csv", units="mm", axes="x forward, y left, z up")
    np.testing.assert_allclose(table.xyz_mm, own.xyz_mm, rtol=0.0, atol=1e-8)
    lines = (tmp_path / "points.covariance.csv").read_text("utf-8").splitlines()
    rows = [line for line in lines if not line.startswith("#")]
    square = np.array([[float(x) for x in row.split(",")[1:]] for row in rows[1:]])
    np.testing.assert_allclose(np.sqrt(np.diag(square)), table.sigma_mm.ravel(), rtol=1e-9, atol=1e-12)
    truth = np.array([scenes.design("plover")[n] for n in own.names[:-1]])
    off = (own.xyz_mm[:-1] - truth) / np.maximum(own.sigma_mm[:-1], 1e-9)
    assert np.abs(off).max() < 4.0
    assert found.checked.chance > 1e-3
