"""A scanned sheet is a photograph taken straight on: `drawing = true`."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

import kin3d
from kin3d.errors import Kin3dError
from kin3d.reading.photographs import read_photographs
from tests.photo_scenes import design

# car axes that run right and down in each view, with their signs
VIEWS = {"front": ((1, 1), (2, -1)), "side": ((0, -1), (2, -1)), "plan": ((0, -1), (1, 1))}
PX_PER_MM = 1.6
PHOTO = '[[photos]]\nname = "{}"\nsize_px = [4000, 2800]\ndrawing = true\nsigma_px = {{ point = 1 }}\n{}'


def _files(folder: Path, extra: str = "") -> tuple[Path, dict[str, np.ndarray]]:
    """Three orthographic views of Dunlin's front corner, marked to 0.7 px, and a template that is 15 mm off."""
    rng, points = np.random.default_rng(3), design("dunlin")
    rows = ["photo,kind,name,side,u,v"]
    for view, axes in VIEWS.items():
        for name, p in points.items():
            u, v = (sign * (p[k] - (0.0, 400.0, 250.0)[k]) * PX_PER_MM for k, sign in axes)
            du, dv = rng.normal(0.0, 0.7, 2)
            rows.append(f"{view},point,{name},left,{2000 + u + du:.2f},{1400 + v + dv:.2f}")
    (folder / "s.marks.csv").write_text("\n".join(rows) + "\n", "utf-8")
    off = {n: p + rng.uniform(-15.0, 15.0, 3) for n, p in points.items()}
    template = "point,x,y,z\n" + "".join(f"{n},{p[0]:.2f},{p[1]:.2f},{p[2]:.2f}\n" for n, p in off.items())
    (folder / "t.csv").write_text(template, "utf-8")
    head = (
        'title = "scan"\nmarks = "s.marks.csv"\nlayout = "double wishbone"\nside = "left"\ntemplate = "t.csv"\n'
        "box_mm = 40\njoint_mm = 0.5\n[known]\nhalf_track_mm = [748, 1]\nloaded_radius_mm = [260, 3]\n"
    )
    path = folder / "s.photos.toml"
    path.write_text(head + "".join(PHOTO.format(v, extra) for v in VIEWS), "utf-8")
    return path, points


def test_three_scanned_views_give_the_points_within_their_deviations(tmp_path: Path) -> None:
    path, points = _files(tmp_path)
    found = kin3d.locate(path)
    found.save(tmp_path / "points.csv")
    rows = np.genfromtxt(tmp_path / "points.csv", delimiter=",", skip_header=2, dtype=None, encoding="utf-8")
    seen = {str(r[0]): np.array(list(r)[1:]) for r in rows}
    for name, p in points.items():
        off, sigma = np.abs(seen[name][:3] - p), seen[name][3:]
        assert (off <= 3.0 * sigma + 1.0).all(), (name, off, sigma)
        assert off.max() < 10.0, (name, off)


def test_a_drawing_is_seen_from_far_away_and_without_a_lens(tmp_path: Path) -> None:
    """From 10,000 picture widths, 1 m of depth changes a place 1 m off the middle by less than 0.1 mm."""
    photo = read_photographs(_files(tmp_path)[0]).photos[0]
    distance_mm = photo.focal_px.value / PX_PER_MM
    assert 1000.0 * 1000.0 / distance_mm < 0.1
    assert photo.distortion_sigma <= 1e-6
    assert photo.centre_sigma_px <= 10.0


def test_a_drawing_has_no_lens_to_speak_of(tmp_path: Path) -> None:
    path, _ = _files(tmp_path, "focal_mm = 50\n")
    with pytest.raises(Kin3dError, match="a drawing has none; leave it out"):
        read_photographs(path)


LOOKS = {"front": ("y", "z"), "side": ("-x", "z"), "plan": ("-x", "-y")}  # right and up, as VIEWS says right and down


def _known_sheet(folder: Path, looks: dict[str, tuple[str, str]]) -> tuple[Path, dict[str, np.ndarray]]:
    path, points = _files(folder, f"px_per_mm = [{PX_PER_MM}, 0.001]\n")
    text = path.read_text("utf-8")
    for view, (right, up) in looks.items():
        text = text.replace(f'name = "{view}"\n', f'name = "{view}"\naxes = ["{right}", "{up}"]\n')
    path.write_text(text, "utf-8")
    return path, points


def test_a_drawing_of_known_scale_that_lies_straight_gives_its_points_to_a_millimetre(tmp_path: Path) -> None:
    """1 px is 0.625 mm here: the points are off by the marks alone, and say so."""
    path, points = _known_sheet(tmp_path, LOOKS)
    found = kin3d.locate(path)
    found.save(tmp_path / "points.csv")
    rows = np.genfromtxt(tmp_path / "points.csv", delimiter=",", skip_header=2, dtype=None, encoding="utf-8")
    seen = {str(r[0]): np.array([float(c) for c in list(r)[1:7]]) for r in rows}
    for name, p in points.items():
        off, sigma = np.abs(seen[name][:3] - p), seen[name][3:]
        assert (off <= 3.0 * sigma + 0.01).all(), (name, off, sigma)
        assert off.max() < 3.5, (name, off)
        assert (sigma < (2.0, 2.0, 3.5)).all(), (name, sigma)  # z: the tyre is known to 3 mm
    known = next(t for t in found.tables() if t.key == "known")
    told = "\n".join(str(r) for r in known.rows)
    assert "scale (front)" in told
    assert "focal length" not in told
    assert not any("photograph from" in str(r) for t in found.tables() if t.key == "help" for r in t.rows)


def test_a_view_that_is_said_to_look_the_other_way_is_refused(tmp_path: Path) -> None:
    path, _ = _known_sheet(tmp_path, LOOKS | {"front": ("-y", "z")})
    with pytest.raises(
        Kin3dError, match=r'"front" does not go with the others.*whether the view looks as its axes say'
    ):
        kin3d.locate(path)


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("px_per_mm = 1.6", "is of a scanned sheet, with drawing = true"),
        ('axes = ["y", "z"]', "is of a scanned sheet, with drawing = true"),
    ],
)
def test_scale_and_axes_are_of_a_drawing(tmp_path: Path, line: str, said: str) -> None:
    path, _ = _files(tmp_path, f"{line}\n")
    path.write_text(path.read_text("utf-8").replace("drawing = true", "focal_mm = 50"), "utf-8")
    with pytest.raises(Kin3dError, match=said):
        read_photographs(path)


@pytest.mark.parametrize("given", ['["y", "y"]', '["y"]', '"yz"', "[1, 2]"])
def test_axes_that_are_none_are_told(tmp_path: Path, given: str) -> None:
    with pytest.raises(Kin3dError, match="the axes of the car that run right and up are expected"):
        read_photographs(_files(tmp_path, f"axes = {given}\n")[0])


def test_the_rotation_vector_is_that_of_the_matrix() -> None:
    from scipy.spatial.transform import Rotation

    from kin3d.photographs.camera import rotation_vector

    for vector in ([0.1, -0.2, 0.05], [0.0, 0.0, 0.0], [0.0, np.pi, 0.0], [2.0, 1.0, -0.5], [0.0, 3.0, 0.2]):
        turn = Rotation.from_rotvec(vector).as_matrix()
        np.testing.assert_allclose(Rotation.from_rotvec(rotation_vector(turn)).as_matrix(), turn, rtol=0.0, atol=1e-9)
