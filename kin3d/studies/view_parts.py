"""What the front and the side view of a construction have in common: planes, layers, linkage, ground, mass centre.

A view is drawn once for all: pictures, DXF files and whoever else shows it. A drawing for a CAD program (`detailed`)
has the constructions in full and dimensions; a picture leaves out what would crowd it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kin3d.spatial.hull import outline
from kin3d.studies.construction import AxleConstruction
from kin3d.studies.wheel_construction import MANY, Centre, DrawnBody, DrawnWheel
from kin3d.writing.drawing import Drawing, Frame, Layer, Plane
from kin3d.writing.numbers import fixed
from kin3d.writing.placing import Placer

Array = NDArray[np.float64]
LAYERS = {
    "base": Layer("mid", "chain", 0.8),
    "links": Layer("ink", "solid", 1.0),
    "arms": Layer("construction", "dashed", 1.0),
    "lines": Layer("construction", "solid", 1.5),
    "dims": Layer("soft", "solid", 0.8),
    "text": Layer("ink"),
}
STEP_MM = 7.5  # between dimension lines on paper
SMALL = 0.875  # smaller type, over the usual


@dataclass(frozen=True, slots=True)
class AxleOnPlane:
    """One axle on one plane."""

    axle: AxleConstruction
    plane: Plane

    @property
    def ground_mm(self) -> float:
        """Height of the ground on the plane under the middle of the axle."""
        return 0.0 if self.axle.ground is None else float(self.plane.flat(self.axle.ground.middle)[1])


def ground_plane(axle: AxleConstruction, view: str) -> Plane:
    """A plane over the ground: the axle seen from ahead, or the car from its left, with the ground level."""
    if axle.ground is None:
        return car_plane(view)
    axes = axle.ground.axes
    if view == "front":
        return Plane(axle.ground.middle, axes, 1)
    # the ground's point under the origin of the car: x counts from there for both axles
    ahead = float(axle.ground.middle @ axes[0]) + axle.shift_mm * float(axes[0, 0])
    return Plane(axle.ground.middle - ahead * axes[0], axes, 0, -1.0)


def car_plane(view: str) -> Plane:
    """A plane of the vehicle frame as every picture shows it: seen from ahead, or with the nose to the left."""
    return Plane(np.zeros(3), np.eye(3), 1) if view == "front" else Plane(np.zeros(3), np.eye(3), 0, -1.0)


def signed(value: float, places: int = 1) -> str:
    """A figure with its sign, and a true minus."""
    text = fixed(value, places)
    return f"+{text}" if not text.startswith("−") and any(c in "123456789" for c in text) else text


def words(drawing: Drawing, at: Array, text: str, offset: tuple[float, float] = (0.0, 0.0), **look: object) -> None:
    """Words beside a place, at its height."""
    drawing.words("text", at, text, offset, **({"level": "middle"} | look))


# --- what both views have -------------------------------------------------------------------------------------------


def body_colours(bodies: Sequence[DrawnBody]) -> dict[str, str]:
    """Name of the colour of each body: that of the part which it is."""
    return {b.name: b.part for b in bodies}


def draw_linkage(drawing: Drawing, plane: Plane, wheel: DrawnWheel, all_bodies: bool = True) -> None:
    """Bodies as areas, lines and joints: all of them, or those alone that hold the upright."""
    shade = body_colours(wheel.bodies)
    shown = sorted((b for b in wheel.bodies if all_bodies or b.joint is not None), key=lambda b: b.joint is not None)
    for body in shown:
        colour, corners, width = shade[body.name], plane.flat(body.places), 1.0 if body.joint is None else 2.0
        if body.role == "upright":
            width = 0.7
        elif 2 < len(corners) < MANY:
            drawing.path("links", corners, closed=True, width=0.0, fill=colour, tint=0.16)
        for line in body.lines:
            # an arm also carries the rod: what leads there is drawn thin
            thin = body.joint is not None and not (_is_in(line[0], body.places) and _is_in(line[1], body.places))
            drawing.path("links", plane.flat(line), colour=colour, width=1.0 if thin else width)
    for body in (b for b in shown if b.role != "upright"):
        for corner in plane.flat(body.places):
            drawing.mark("links", corner, "joint", 0.24 if body.joint is None else 0.36, colour=shade[body.name])


def _is_in(place: Array, places: Array) -> bool:
    return bool((places == place).all(axis=1).any())


def draw_chassis(drawing: Drawing, seen: AxleOnPlane) -> None:
    """The chassis as the outline of its joints, or the line in which they stand."""
    joints = seen.plane.flat(seen.axle.chassis)
    around = joints[outline(joints)]
    if len(around) > 2:
        drawing.path("base", around, closed=True, fill="pale", dash="solid")
    elif len(around) == 2:
        drawing.line("base", *around, dash="solid")


def draw_ground(drawing: Drawing, frame: Frame, level: float) -> None:
    """The ground line with hatching under it."""
    low, high, step = float(frame.low[0]), float(frame.high[0]), 4.5 * drawing.scale
    drawing.line("base", (low, level), (high, level), colour="ink", width=1.4, dash="solid")
    stroke = 2.2 * drawing.scale
    for x in np.arange(low + step, high, step):
        drawing.line("base", (x, level), (x - stroke, level - stroke), width=0.6, dash="solid")


def draw_mass_centre(drawing: Drawing, frame: Frame, at: Array, level: float, text: str) -> None:
    """The quartered circle of a mass centre, with its height where there is room; drawn after all else."""
    placer, reach = Placer(drawing, frame), 1.4 * drawing.height
    placer.learn()
    placer.keep(at - reach, at + reach)
    drawing.mark("base", at, "quartered", 1.0, colour="ink")
    placer.words("text", at, f"{text}\n{at[1] - level:.0f} mm over the ground", size=SMALL, aim=60.0)


def place_words(axes: str, place: Array, places: int = 0) -> str:
    """A place in words: ``y −1098, z +60 mm``."""
    if not np.isfinite(place).all():
        return "at infinity"
    return ", ".join(f"{a} {signed(float(c), places)}" for a, c in zip(axes, place, strict=True)) + " mm"


def arm_lines(drawing: Drawing, plane: Plane, frame: Frame, centre: Centre, shade: dict[str, str]) -> None:
    """The lines of the arms to where they cross, or to the end of the frame."""
    for arm in centre.arms:
        start = plane.flat(arm.start)
        near = centre.crossing is not None and frame.holds(plane.flat(centre.crossing))
        aim = centre.crossing if near and centre.crossing is not None else arm.start + 1e6 * arm.direction
        drawing.line("arms", start, frame.cut(start, plane.flat(aim)), colour=shade[arm.body])
