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
