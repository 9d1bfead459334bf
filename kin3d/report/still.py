"""A still of the linkage in space, in the page's own lines: on paper it stands in place of the moving scene."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from kin3d.report.svg import drawing_svg, framed
from kin3d.studies.construction import AxleConstruction
from kin3d.writing.drawing import Drawing, Frame, Layer
from kin3d.writing.html import prose
from kin3d.writing.style import CAR_NAMES

Array = NDArray[np.float64]
TOWARDS = np.array([0.86, 0.62, 0.50])  # from the car to the eye: from ahead, left and above
WIDE_MM = 180.0
ROOM_MM = 40.0


def still(axle: str, cars: Sequence[AxleConstruction]) -> str:
    """All cars of an axle over each other, seen from ahead, left and above."""
    drawing, frame = _drawn(cars)
    names = " and ".join(c.title for c in cars)
    described = f"{axle.capitalize()} axle of {names} in the design position, seen from ahead, left and above"
    return framed(drawing_svg(drawing, frame, f"{axle}-still", described), prose(f"{described}."), "still")


def _drawn(cars: Sequence[AxleConstruction]) -> tuple[Drawing, Frame]:
    """Links and wheels as lines, one colour a car."""
    back = TOWARDS / np.linalg.norm(TOWARDS)
    right = np.cross([0.0, 0.0, 1.0], back)
    right /= np.linalg.norm(right)
    onto = np.stack([right, np.cross(back, right)], axis=1)
    layers = {n: Layer(n, "solid", 1.5 if k else 2.2) for k, n in enumerate(CAR_NAMES)}
    lines: list[tuple[str, Array, bool]] = []
    for k, car in enumerate(cars):
        name = CAR_NAMES[k % len(CAR_NAMES)]
        for wheel in car.wheels:
            lines += [(name, line @ onto, False) for body in wheel.bodies for line in body.lines]
            if car.radius_mm is not None:
                lines.append((name, wheel.rim(car.radius_mm) @ onto, True))
    every = np.concatenate([p for _, p, _ in lines])
    frame = Frame(every.min(axis=0) - ROOM_MM, every.max(axis=0) + ROOM_MM)
    drawing = Drawing(float(frame.size[0]) / WIDE_MM, layers)
    for name, places, closed in lines:
        drawing.path(name, places, closed=closed, width=0.8 if closed else None)
    return drawing, frame
