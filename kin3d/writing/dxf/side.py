"""The side view of the left wheel, nose to the right: instant centre, support lines and the anti values they read.

At the height of the mass centre, share times wheelbase from the contact point, a support line reads 100 %.
"""

from __future__ import annotations

import numpy as np

from kin3d.studies.centre_lines import VIEWS, Support, WheelLines
from kin3d.studies.poses import AxlePoses, Pose
from kin3d.writing.dxf.canvas import Pen
from kin3d.writing.dxf.plane import Frame, arm_lines, bodies, figure, place_words

BEYOND_MM = 850.0  # how far the line to the instant centre may go on beyond the readings
STEP = 3.5  # text heights between dimension lines


def side_frame(axle: AxlePoses) -> Frame:
    """The part of the view that is drawn, the same for all poses."""
    places = [p.places[0][:, list(VIEWS["side"])] for p in axle.poses]
    reach = axle.model.axle.loaded_radius_mm or 0.0
    wheels = [p.wheels[0] for p in axle.poses if p.wheels is not None]
    places += [w.side.contact + np.array([[-reach, 0.0], [reach, 2.1 * reach]]) for w in wheels]
    places += [np.array([(s.x_mm, s.start[1] + max(s.full_mm, s.height_mm))]) for w in wheels for s in w.supports]
    every, room = np.concatenate(places), np.array([80.0, 60.0])
    low, high = every.min(axis=0) - (1.0, 0.0) * room, every.max(axis=0) + room
    ahead = bool(wheels) and all(w.side.direction[0] > 0.0 for w in wheels)
    low[0] -= 0.0 if ahead else BEYOND_MM
    high[0] += BEYOND_MM if ahead else 0.0
    return Frame(low, high)


def draw_side(pen: Pen, axle: AxlePoses, pose: Pose, frame: Frame) -> None:
    """Draw the construction of one pose."""
    bodies(pen, axle.model, pose, (0,), "side")
    if pose.wheels is None:
        pen.note(["no construction: loaded_radius_mm is not given"], frame.below(pen, 1))
        return
    wheel = pose.wheels[0]
    contact = wheel.side.contact
    pen.line("base", (frame.low[0], contact[1]), (frame.high[0], contact[1]))
    arm_lines(pen, wheel.side, frame)
    _instant_centre(pen, wheel, frame)
    for k, support in enumerate(sorted(wheel.supports, key=lambda s: abs(s.x_mm - contact[0]))):
        _support(pen, support, k)
    pen.note(_words(wheel), frame.below(pen, 2 + STEP * len(wheel.supports)))


def _instant_centre(pen: Pen, wheel: WheelLines, frame: Frame) -> None:
    line = wheel.side
    end = frame.cut(line.contact, line.direction, line.centre)
    pen.line("lines", line.contact, end)
    if frame.holds(line.centre):
        pen.cross("lines", line.centre)
        pen.text("instant centre", line.centre + np.array([0.0, 1.5]) * pen.height_mm, "CENTER")
    else:
        pen.arrow("lines", end, line.direction)
        away = "LEFT" if line.direction[0] < 0.0 else "RIGHT"
        # under the line where there is room over the ground, away from the lines of the arms
        fall = 1.8 + 13.0 * max(0.0, float(line.direction[1] / abs(line.direction[0])))
        room = bool(end[1] - line.contact[1] > (fall + 3.0) * pen.height_mm)
        pen.text("to the instant centre", end + np.array([0.0, -fall if room else 1.0]) * pen.height_mm, away)


def _support(pen: Pen, support: Support, row: int) -> None:
    """The line to its reading, the scale upright on which it is read, and dimensions."""
    h, ground = pen.height_mm, float(support.start[1])
    reading = np.array([support.x_mm, ground + support.height_mm])
    foot, top = np.array([support.x_mm, ground]), np.array([support.x_mm, ground + support.full_mm])
    out = -1.0 if support.x_mm < support.start[0] else 1.0
    highest = max(support.full_mm, support.height_mm, 0.0)
    pen.line("base", foot - np.array([0.0, 2.0 * h]), foot + np.array([0.0, highest + 2.0 * h]))
    pen.line("lines", support.start, reading, 6 if support.from_centre else None)
    pen.cross("lines", reading)
    pen.line("dims", top - np.array([h, 0.0]), top + np.array([h, 0.0]))
    pen.text("100 %", top + np.array([-0.4 * out * h, 0.5 * h]), "LEFT" if out < 0 else "RIGHT")
    words = f"{support.label.lower()} {support.percent:.1f} %"
    pen.text(words, reading + np.array([-1.0 * out, 1.0]) * h, "LEFT" if out < 0 else "RIGHT")
    pen.measure(foot, reading, foot + np.array([2.5 * out * h, 0.0]), upright=True)
    pen.measure(foot, top, foot + np.array([5.5 * out * h, 0.0]), upright=True)
    base = foot - np.array([0.0, STEP * (row + 1.0) * h])
    pen.measure(support.start, foot, base)


def _words(wheel: WheelLines) -> list[str]:
    words = [f"instant centre: {place_words('xz', wheel.side.centre)}"]
    for s in wheel.supports:
        square = (
            "path of the wheel centre, moved to the contact point" if s.from_centre else "path of the contact point"
        )
        words.append(
            f"{s.label.lower()} {s.percent:.2f} % = {figure(s.height_mm)} of {figure(s.full_mm)} mm; "
            f"line square to the {square}"
        )
    return words + [f"{name} is left out: {why}" for name, why in wheel.left_out.items()]
