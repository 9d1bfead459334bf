"""Films: the sweep there and back; a car that becomes another one."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from kin3d.errors import Finding, RequestError
from kin3d.writing.files import check_place
from kin3d_viewer.becoming import Becoming
from kin3d_viewer.counting import Counting
from kin3d_viewer.images import FILMS, Image, save_film
from kin3d_viewer.pictures import Camera, PictureOptions, beside_px, camera_of
from kin3d_viewer.session import Session

FRAMES = 31
FRAMES_PER_SECOND = 20
STEP_FRAMES = 14  # of one group of points on its way
HOLD = 10  # how many times as long the end of a step is shown
FIRST, LAST = 24, 50  # the same for the first and the last picture


def animation(session: Session, file: Path, options: PictureOptions, at: Sequence[float] = ()) -> int:
    """Write the sweep there and back as a film; returns the number of frames.

    Parameters
    ----------
    at : sequence of float
        Values of the drive that the curves run over; default the range of the curves in `FRAMES` steps. Positions out
        of reach are left out.
    """
    check_place(file, FILMS, "--animation")
    values = np.asarray(at if len(at) else usual(session), dtype=float)
    reached = [float(v) for v in values if not session.editor.drive(**{session.over: float(v)}).reason]
    if not reached:
        text = "no position of the sweep can be reached, so that there is nothing to show"
        raise RequestError(Finding("nothing-to-show", text))
    with camera_of(session, options) as camera:
        images = list(_frames(session, camera, reached))
    save_film(file, images + images[-2:0:-1], FRAMES_PER_SECOND)
    return max(1, 2 * len(images) - 2)


def usual(session: Session) -> NDArray[np.float64]:
    """The range of the curves in `FRAMES` steps."""
    values = np.asarray(session.editor.model.ranges[session.over])
    return np.linspace(values[0], values[-1], FRAMES)


def _frames(session: Session, camera: Camera, at: list[float]) -> Iterator[Image]:
    """A picture of each position, all from one place that holds the first, the middle one and the last."""
    held, near = [], []
    for value in (at[0], at[len(at) // 2], at[-1]):
        session.editor.drive(**{session.over: value})
        held.append(camera.places())
        near.append(camera.near())
    for number, value in enumerate(at):
        session.editor.drive(**{session.over: value})
        yield camera.shoot(aim=number == 0, holding=np.concatenate(held), near=np.concatenate(near))


def becoming_film(becoming: Becoming, file: Path, options: PictureOptions) -> int:
    """Write the film of a car that becomes another one, a figure counting along; returns the number of frames."""
    check_place(file, FILMS, "--animation")
    size = beside_px(options)
    images: list[Image] = []
    holds: list[int] = []
    with Camera(becoming, options, Counting(becoming, size)) as camera:
        held, close = [], []
        for step in (0, len(becoming.steps)):
            becoming.go(step, 0.0)
            held.append(camera.places())
            close.append(camera.near())
        holding, near = np.concatenate(held), np.concatenate(close)
        becoming.restart()
        for number in range(len(becoming.steps)):
            for k in range(number > 0, STEP_FRAMES + 1):
                share = k / STEP_FRAMES
                becoming.go(number, share * share * (3.0 - 2.0 * share))  # slow at both ends
                images.append(camera.shoot(aim=not images, holding=holding, near=near))
                holds.append(HOLD if k == STEP_FRAMES else 1)
    holds[0], holds[-1] = FIRST, LAST
    save_film(file, images, FRAMES_PER_SECOND, holds)
    return len(images)
