"""The camera model on real pixels: calibration from 13 + 13 pictures of a chessboard equals that of OpenCV.

Source of the pictures: Debian package opencv-doc, examples/data. `tests/files/chessboards.csv` holds the corners, and
OpenCV's answer with how it was made; OpenCV puts 0 at the centre of the first pixel, kin3d at its corner.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from kin3d.photographs.camera import Cameras
from kin3d.solve.upright import rotations

TABLE = Path(__file__).parents[1] / "files" / "chessboards.csv"
SIZE = np.array([640.0, 480.0])
SHARED = (6, 7, 8, 9)  # focal length, principal point and distortion are one lens's


def corners(camera):
    lines = TABLE.read_text("utf-8").splitlines()
    answer = next(line.split(",")[2:] for line in lines if line.startswith(f"# answer,{camera}"))
    rows = [line.split(",") for line in lines if line.startswith(camera)]
    names = sorted({row[0] for row in rows})
    which = np.array([names.index(row[0]) for row in rows])
    board = np.array([[float(row[1]), float(row[2]), 0.0] for row in rows])
    pixels = np.array([[float(row[3]), float(row[4])] for row in rows]) / 1024.0 + 0.5
    return which, board, pixels, [float(x) for x in answer]


def calibrate(which, board, pixels):
    """Least squares over all pictures of one lens: damped Gauss-Newton with the camera's own derivatives."""
    count = which.max() + 1
    half = 0.5 * np.hypot(*SIZE)
    numbers = np.zeros((count, 10))
    turns = np.zeros((count, 3, 3))
    for k in range(count):
        flat = np.linalg.lstsq(
            np.c_[board[which == k, :2], np.ones((which == k).sum())], pixels[which == k], rcond=None
        )[0]
        u, _, v = np.linalg.svd(flat[:2].T)
        turns[k, :2, :2] = u @ v  # as if the board stood square to the camera
        turns[k, 2, 2] = np.linalg.det(u @ v)
        numbers[k, 3:5] = pixels[which == k].mean(axis=0)
        numbers[k, 5] = np.log(6.5 / np.ptp(pixels[which == k], axis=0).mean())
    numbers[:, 6:9] = [np.log(550.0), *(SIZE / 2)]
    cameras = Cameras(turns, numbers, np.tile([4.0, 2.5, 0.0], (count, 1)), np.full(count, half))
    place = np.full((count, 10), -1)
    place[:, :6] = np.arange(6 * count).reshape(count, 6)
    place[:, SHARED] = 6 * count + np.arange(4)
    damping = 1.0
    view = cameras.seen(which, board)
    off = view.pixels - pixels
    for round_ in range(300):
        jacobian = np.zeros((len(which), 2, 6 * count + 4))
        np.put_along_axis(
            jacobian, np.broadcast_to(place[which][:, None], (len(which), 2, 10)), view.by_camera(), axis=2
        )
        flat = jacobian.reshape(-1, jacobian.shape[2])
        if round_ < 20:  # poses first
            flat[:, -4:] = 0.0
        normal = flat.T @ flat + 1e-9 * np.eye(6 * count + 4) * (round_ < 20)
        step = -np.linalg.solve(normal + damping * np.diag(np.diag(normal)), flat.T @ off.ravel())
        moved = step[place]
        moved *= min(1.0, 0.3 / np.abs(moved[:, [0, 1, 2, 5, 6, 9]]).max())
        changed = cameras.numbers + moved
        changed[:, :3] = 0.0
        tried = Cameras(rotations(moved[:, :3]) @ cameras.turn, changed, cameras.reference, cameras.half_px)
        view = tried.seen(which, board)
        new = view.pixels - pixels
        if (new**2).sum() <= (off**2).sum() and not view.behind.any():
            cameras, off, damping = tried, new, 0.1 * damping
            if round_ > 25 and np.abs(step).max() < 1e-12:
                break
        else:
            damping = max(10.0 * damping, 1e-12)
            view = cameras.seen(which, board)
    return cameras, off


@pytest.mark.parametrize("camera", ["left", "right"])
def test_calibration_is_that_of_opencv(camera):
    which, board, pixels, (focal, cx, cy, k1, rms) = corners(camera)
    cameras, off = calibrate(which, board, pixels)
    found_focal = float(np.exp(cameras.numbers[0, 6]))
    np.testing.assert_allclose(found_focal, focal, rtol=0.0, atol=1e-6)
    np.testing.assert_allclose(cameras.numbers[0, 7:9] - 0.5, [cx, cy], rtol=0.0, atol=1e-6)
    # OpenCV's k₁ is over the focal length, kin3d's over the half diagonal
    found_k1 = cameras.numbers[0, 9] * (found_focal / cameras.half_px[0]) ** 2
    np.testing.assert_allclose(found_k1, k1, rtol=0.0, atol=1e-9)
    np.testing.assert_allclose(np.sqrt((off**2).sum(axis=1).mean()), rms, rtol=0.0, atol=1e-9)
