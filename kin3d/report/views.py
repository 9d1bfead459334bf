"""Front- and side-view constructions of a report, cars over each other: links, lines to the instant centres."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from kin3d.linkage.names import Side
from kin3d.report.figures import drawn
from kin3d.report.markup import mark
from kin3d.studies.construction import AxleConstruction
from kin3d.studies.report_data import AxlePart
from kin3d.studies.view_parts import car_plane
from kin3d.studies.wheel_construction import ViewName, WheelLines
from kin3d.writing.drawing import Dash, Drawing, Frame, Layer, Plane, Shape
from kin3d.writing.drawing_picture import render
from kin3d.writing.html import tag, text
from kin3d.writing.numbers import fixed
from kin3d.writing.style import CAR_NAMES

if TYPE_CHECKING:
    from matplotlib.axes import Axes

Array = NDArray[np.float64]
WIDTH = 6.4  # inches
BEYOND = 0.3  # part of the half track that the front view shows beyond the centre line
ROOM_MM = 70.0
_DASHES: tuple[Dash, ...] = ("solid", "dashed", "dotted", "chain")
_SHAPES: tuple[Shape, ...] = ("joint", "square", "diamond", "target")


def front_view(part: AxlePart) -> str:
    """The corner seen from ahead, from the wheel to beyond the centre line."""
    return _picture(part, "front", "Front view, from ahead")


def side_view(part: AxlePart) -> str:
    """The corner seen from its outer side."""
    front = "left" if part.comparison.side == "left" else "right"
    return _picture(part, "side", f"Side view from outside, the car's front to the {front}")


def _picture(part: AxlePart, view: ViewName, title: str) -> str:
    shown = [c.construction for c in part.cars]
    plane, side = car_plane(view), part.comparison.side
    frame = _frame(shown, view, side)
    size = (WIDTH, WIDTH * float(frame.size[1] / frame.size[0]) * 0.9 + 0.85)
    drawing = Drawing(float(frame.size[0]) / (25.4 * 0.88 * WIDTH), _layers(len(shown)))
    grounds = [float(c.ground.middle[2]) for c in shown if c.ground is not None]
    if grounds:
        level = float(np.mean(grounds))
        drawing.line("base", (frame.low[0], level), (frame.high[0], level))
    if view == "front":
        drawing.line("middle", (0.0, frame.low[1]), (0.0, frame.high[1]))
    for k, one in enumerate(shown):
        _corner(drawing, one, plane, view, side, k)
    names = " and ".join(c.title for c in shown)
    described = f"{title}: links, instant centres and lines of {names}"
    left_is_right = view == "front" or side == "left"
    draw = partial(_draw, drawing=drawing, frame=frame, view=view, title=title, turned=left_is_right)
    return drawn(f"{part.axle}-{view}", described, draw, size)


def _layers(cars: int) -> dict[str, Layer]:
    """What is drawn of each car on a layer of its own: links, wheel, line to the instant centre."""
    out = {"base": Layer("ink", "solid", 1.0), "middle": Layer("mid", "chain", 0.8)}
    for k in range(cars):
        colour, dash = CAR_NAMES[k % len(CAR_NAMES)], _DASHES[k % len(_DASHES)]
        out[f"links {k}"], out[f"wheel {k}"] = Layer(colour, "solid", 1.3), Layer(colour, dash, 1.6)
        out[f"lines {k}"] = Layer(colour, dash, 1.1)
    return out


def _frame(shown: Sequence[AxleConstruction], view: ViewName, side: Side) -> Frame:
    """What the picture shows: all links and the wheel; in the front view the centre line and a little beyond."""
    wheels = [c.wheel(side) for c in shown]
    places = np.array([p for w in wheels for p in w.points.values()])
    centres, radius = np.array([w.centre for w in wheels]), max(c.radius_mm or 0.0 for c in shown)
    ends = np.concatenate([places, centres - radius, centres + radius])
    low, high = ends.min(axis=0) - ROOM_MM, ends.max(axis=0) + ROOM_MM
    if view == "side":
        return Frame(low[[0, 2]], high[[0, 2]])
    half, sign = float(np.abs(places[:, 1]).max()), wheels[0].sign
    across = sorted((sign * (half + ROOM_MM), -sign * BEYOND * half))
    return Frame(np.array([across[0], low[2]]), np.array([across[1], high[2]]))


def _corner(drawing: Drawing, one: AxleConstruction, plane: Plane, view: ViewName, side: Side, k: int) -> None:
    """Bodies as the outlines around their points, the wheel as the circle of its radius, the constructions."""
    wheel, colour = one.wheel(side), CAR_NAMES[k % len(CAR_NAMES)]
    for body in (b for b in wheel.bodies if b.role != "spring"):
        flat = plane.flat(np.unique(body.lines.reshape(-1, 3), axis=0))
        away = flat - flat.mean(axis=0)
        ring = flat[np.argsort(np.arctan2(away[:, 1], away[:, 0]))]
        drawing.path(f"links {k}", ring, closed=len(ring) > 2, fill=colour if len(ring) > 2 else None, tint=0.07)
        for corner in flat:
            drawing.mark(f"links {k}", corner, "dot", 0.28, colour=colour)
    centre = plane.flat(wheel.centre)
    for way in np.eye(2):
        drawing.line(f"links {k}", centre - 0.75 * drawing.height * way, centre + 0.75 * drawing.height * way)
    if one.radius_mm is not None:
        drawing.path(f"wheel {k}", plane.flat(wheel.rim(one.radius_mm)), closed=True)
    if wheel.lines is not None:
        _line(drawing, one, wheel.lines, plane, view, k)


def _line(drawing: Drawing, one: AxleConstruction, lines: WheelLines, plane: Plane, view: ViewName, k: int) -> None:
    """From the contact point towards the instant centre with its mark; the roll centre."""
    layer, colour, shape = f"lines {k}", CAR_NAMES[k % len(CAR_NAMES)], _SHAPES[k % len(_SHAPES)]
    centre = plane.flat((lines.front if view == "front" else lines.side).place)
    if not np.isfinite(centre).all():
        return
    drawing.line(layer, plane.flat(lines.contact), centre)
    drawing.mark(layer, centre, shape, 0.6, colour=colour)
    place = None if one.ground is None or view == "side" else one.ground.roll_centre_place
    if place is not None:
        drawing.mark(layer, plane.flat(place), shape, 0.6, colour=colour, filled=True)


def _draw(ax: Axes, drawing: Drawing, frame: Frame, view: ViewName, title: str, turned: bool) -> None:
    ax.set(xlim=(frame.low[0], frame.high[0]), ylim=(frame.low[1], frame.high[1]), aspect="equal")
    render(ax, drawing)
    ax.grid(False)
    ax.set_title(title, loc="left")
    ax.set_xlabel(f"{'y, to the left' if view == 'front' else 'x, forward'} (mm)")
    ax.set_ylabel("z, up (mm)")
    if turned:
        ax.invert_xaxis()


def caption(part: AxlePart, view: ViewName) -> str:
    """The figures of the construction, car by car, as markup."""
    said = []
    for k, car in enumerate(part.cars):
        one = car.construction
        lines = one.wheel(part.comparison.side).lines
        if lines is None or one.ground is None:
            said.append(f"{mark(k)} no loaded radius, so no construction")
            continue
        across, centre = ("y", lines.front) if view == "front" else ("x", lines.side)
        x, _, z = centre.place if view == "side" else centre.place[[1, 0, 2]]
        words = f"instant centre {across} {fixed(x, 0)}, z {fixed(z, 0)} mm"
        if view == "front":
            words += f"; roll centre (filled mark) {fixed(float(one.ground.roll_centre[1]), 1)} mm over the ground"
        else:
            rise, away = z - lines.contact[2], abs(x - lines.contact[0])
            words += f"; line rises {fixed(float(np.degrees(np.arctan2(rise, away))), 2)}° from the contact point"
        said.append(f"{mark(k)} {text(words)}")
    return tag("span", "<br>".join(said))
