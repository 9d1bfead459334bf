"""The front view: linkage and wheels from the front, lines to the instant centre, roll centre, dimensions.

Right on the sheet is the car's left (+y), up is up: what one sees standing ahead of the car.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from kin3d.studies.centre_lines import VIEWS, CentreLines
from kin3d.studies.poses import AxlePoses, Pose
from kin3d.writing.dxf.canvas import Pen
from kin3d.writing.dxf.plane import Frame, arm_lines, bodies, figure, place_words

Array = NDArray[np.float64]
REACH = 2.3  # half tracks from the middle beyond which lines are cut off


def front_frame(axle: AxlePoses) -> Frame:
    """The part of the view that is drawn, the same for all poses."""
    outer = [abs(w.front.contact[0]) for p in axle.poses for w in p.wheels or ()]
    places = np.concatenate([p.places.reshape(-1, 3) for p in axle.poses])[:, list(VIEWS["front"])]
    if not outer:
        return Frame(places.min(axis=0) - 100.0, places.max(axis=0) + 100.0)
    half = float(max(outer))
    radius = axle.model.axle.loaded_radius_mm or 0.0
    low = min(float(p.ground_mm) for p in axle.poses if p.ground_mm is not None)
    return Frame(np.array([-REACH * half, low]), np.array([1.25 * half, max(places[:, 1].max(), low + 2.2 * radius)]))


def draw_front(pen: Pen, axle: AxlePoses, pose: Pose, frame: Frame) -> None:
    """Draw the construction of one pose."""
    bodies(pen, axle.model, pose, (0, 1), "front")
    if pose.wheels is None or pose.ground_mm is None:
        pen.note(["no construction: loaded_radius_mm is not given"], frame.below(pen, 1))
        return
    left, right = (w.front for w in pose.wheels)
    ground = pose.ground_mm
    pen.line("base", (frame.low[0], left.contact[1]), (frame.high[0], left.contact[1]))
    pen.line("base", (0.0, ground - 2.0 * pen.height_mm), (0.0, frame.high[1]))
    arm_lines(pen, left, frame)
    _instant_centre(pen, left, ground, frame)
    _roll_centre(pen, pose, right, frame)
    pen.measure(right.contact, left.contact, (0.0, ground - 7.0 * pen.height_mm), says="track <>")
    pen.note(_words(pose, left), frame.below(pen, 10))


def _instant_centre(pen: Pen, left: CentreLines, ground: float, frame: Frame) -> None:
    end = frame.cut(left.contact, left.direction, left.centre)
    pen.line("lines", left.contact, end)
    if not frame.holds(left.centre):
        pen.arrow("lines", end, left.direction)
        pen.text("to the instant centre", end + np.array([1.0, 0.8]) * pen.height_mm)
        return
    pen.cross("lines", left.centre)
    pen.text("instant centre, left wheel", left.centre + np.array([-6.5, 0.8]) * pen.height_mm, "RIGHT")
    pen.measure(left.contact, left.centre, (left.centre[0], ground - 3.0 * pen.height_mm))
    foot = np.array([left.centre[0], ground])
    pen.measure(foot, left.centre, left.centre - np.array([4.0 * pen.height_mm, 0.0]), upright=True)


def _roll_centre(pen: Pen, pose: Pose, right: CentreLines, frame: Frame) -> None:
    """The other wheel's line up to the roll centre, the mark and its height."""
    if pose.roll_centre is None or pose.ground_mm is None or not frame.holds(pose.roll_centre):
        pen.line("lines", right.contact, right.contact + 0.5 * (frame.high[0] - frame.low[0]) * right.direction)
        return
    pen.line("lines", right.contact, pose.roll_centre)
    pen.cross("lines", pose.roll_centre, 0.9)
    beside = pose.roll_centre + np.array([6.5, 4.0]) * pen.height_mm
    pen.text("roll centre", beside)
    pen.line("text", beside - np.array([0.3, 0.0]) * pen.height_mm, pose.roll_centre + 0.5 * pen.height_mm)
    foot = np.array([pose.roll_centre[0], pose.ground_mm])
    pen.measure(foot, pose.roll_centre, foot + np.array([4.0 * pen.height_mm, 0.0]), upright=True)


def _words(pose: Pose, left: CentreLines) -> list[str]:
    """The figures of the construction, also of what is too far away to be drawn."""
    words = [f"instant centre of the left wheel: {place_words('yz', left.centre)}"]
    if pose.roll_centre is None or pose.ground_mm is None:
        words.append("roll centre: none, both lines are parallel")
    else:
        y, z = pose.roll_centre
        words.append(f"roll centre: {figure(z - pose.ground_mm)} mm over the ground, y {figure(y)} mm")
    apart = float(np.linalg.norm(left.crossing - left.centre))
    if np.isfinite(apart):
        words.append(
            f"lines of the arms cross {figure(apart)} mm from the instant centre (the upright steers with travel)"
        )
    elif not left.arms:
        words.append("no arms in this layout: the instant centre follows from the motion alone")
    return words
