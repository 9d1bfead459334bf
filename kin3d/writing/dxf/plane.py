"""What both plane views have in common: their frame, the linkage seen in them, lines of the arms, words."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kin3d.linkage.layout import WHEEL_CENTRE
from kin3d.solve.model import AxleModel
from kin3d.studies.centre_lines import VIEWS, CentreLines
from kin3d.studies.poses import Pose
from kin3d.writing.dxf.canvas import Pen
from kin3d.writing.dxf.document import FAINT
from kin3d.writing.dxf.space import part_colours, segments, wheel_outline

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Frame:
    """The part of a view that is drawn: lower left and upper right corner in the view's coordinates, mm."""

    low: Array
    high: Array

    @property
    def size(self) -> Array:
        """Width and height."""
        return self.high - self.low

    def holds(self, place: Array) -> bool:
        """Whether a place is so near that it is drawn."""
        room = np.array([0.0, 0.5 * self.size[0]])
        inside = (place >= self.low - room) & (place <= self.high + room)
        return bool(np.isfinite(place).all() and inside.all())

    def cut(self, start: Array, along: Array, aim: Array) -> Array:
        """The aim, or where the line towards it leaves the frame."""
        if self.holds(aim):
            return aim
        room = np.array([0.0, 0.5 * self.size[0]])
        with np.errstate(divide="ignore", invalid="ignore"):
            ways = np.concatenate([(self.low - room - start) / along, (self.high + room - start) / along])
        end: Array = np.add(start, float(ways[ways > 1e-9].min()) * along)
        return end

    def below(self, pen: Pen, rows: float) -> Array:
        """A place under the view, so many text heights down."""
        place: Array = self.low - np.array([0.0, rows * pen.height_mm])
        return place


def bodies(pen: Pen, model: AxleModel, pose: Pose, sides: Sequence[int], view: str) -> None:
    """Draw bodies and wheels of the sides as seen in a view."""
    linkage, radius = model.linkage, model.axle.loaded_radius_mm
    flat = list(VIEWS[view])
    for side in sides:
        at = dict(zip(linkage.points, pose.places[side], strict=True))
        for body, colour in part_colours(linkage).items():
            for a, b in segments(linkage)[body]:
                pen.line("links", at[a][flat], at[b][flat], colour)
        if radius is not None:
            for half in wheel_outline(at[WHEEL_CENTRE], pose.spin[side], radius):
                pen.path("links", half[:, flat], FAINT)


def arm_lines(pen: Pen, lines: CentreLines, frame: Frame) -> None:
    """Extend the lines of the arms to where they cross, or to the end of the frame."""
    for arm in lines.arms:
        crossing = lines.crossing if np.isfinite(lines.crossing).all() else np.full(2, np.inf)
        near = frame.holds(crossing)
        along = arm.direction if not near else _unit(crossing - arm.start)
        pen.line("arms", arm.start, frame.cut(arm.start, along, crossing))


def _unit(v: Array) -> Array:
    out: Array = v / np.linalg.norm(v)
    return out


def figure(value: float) -> str:
    """A length with two decimals; no negative zero."""
    text = f"{value:.2f}"
    return text.removeprefix("-") if not text.strip("-0.") else text


def place_words(axes: str, place: Array) -> str:
    """A place in words: ``y -1097.82, z 59.98 mm``."""
    if not np.isfinite(place).all():
        return "at infinity"
    return ", ".join(f"{axis} {figure(float(c))}" for axis, c in zip(axes, place, strict=True)) + " mm"
