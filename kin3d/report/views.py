"""Front- and side-view constructions of a report, cars over each other: links, lines to the instant centres."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from kin3d.linkage.layout import WHEEL_CENTRE
from kin3d.report.figures import drawn
from kin3d.report.markup import mark
from kin3d.studies.outline import Outline
from kin3d.studies.report_data import AxlePart
from kin3d.writing.html import tag, text
from kin3d.writing.numbers import fixed
from kin3d.writing.panels import DASHES, FAINT
from kin3d.writing.style import INK, LINES

if TYPE_CHECKING:
    from matplotlib.axes import Axes

Array = NDArray[np.float64]
VIEWS = {"front": (1, 2), "side": (0, 2)}
WIDTH = 6.4  # inches
BEYOND = 0.3  # part of the half track that the front view shows beyond the centre line
ROOM_MM = 70.0
_MARKERS = ("o", "s", "^", "D")


def front_view(part: AxlePart) -> str:
    """The corner looking forward, from the wheel to beyond the centre line."""
    return _picture(part, "front", "Front view, looking forward")


def side_view(part: AxlePart) -> str:
    """The corner seen from its outer side."""
    front = "left" if part.cars[0].outline.sign > 0.0 else "right"
    return _picture(part, "side", f"Side view from outside, the car's front to the {front}")


def _picture(part: AxlePart, view: str, title: str) -> str:
    outlines = [c.outline for c in part.cars]
    x, z = _limits(outlines, view)
    size = (WIDTH, WIDTH * (z[1] - z[0]) / (x[1] - x[0]) * 0.9 + 0.85)
    names = " and ".join(o.title for o in outlines)
    described = f"{title}: links, instant centres and lines of {names}"
    draw = partial(_draw, outlines=outlines, view=view, title=title, x=x, z=z)
    return drawn(f"{part.axle}-{view}", described, draw, size)


def _limits(outlines: Sequence[Outline], view: str) -> tuple[tuple[float, float], tuple[float, float]]:
    """What the picture shows: all links and the wheel; in the front view the centre line and a little beyond."""
    places = np.array([p for o in outlines for p in o.at.values()])
    wheels = np.array([o.at[WHEEL_CENTRE] for o in outlines])
    radius = max(o.radius_mm or 0.0 for o in outlines)
    low, high = (places[:, 2].min(), wheels[:, 2].min() - radius), (places[:, 2].max(), wheels[:, 2].max() + radius)
    z = (float(min(low)) - ROOM_MM, float(max(high)) + ROOM_MM)
    if view == "side":
        ends = [*places[:, 0], *(wheels[:, 0] - radius), *(wheels[:, 0] + radius)]
        return (min(ends) - ROOM_MM, max(ends) + ROOM_MM), z
    half, sign = float(np.abs(places[:, 1]).max()), outlines[0].sign
    ends = sorted((sign * (half + ROOM_MM), -sign * BEYOND * half))
    return (ends[0], ends[1]), z


def _draw(
    ax: Axes, outlines: Sequence[Outline], view: str, title: str, x: tuple[float, float], z: tuple[float, float]
) -> None:
    flat = list(VIEWS[view])
    for k, one in enumerate(outlines):
        for member in one.members:
            _member(ax, np.array([one.at[p][flat] for p in member]), LINES[k % len(LINES)])
        _wheel(ax, one, flat, k)
        _line(ax, one, view, k, x)
    grounds = [o.contact[2] for o in outlines if o.contact is not None]
    if grounds:
        ax.axhline(float(np.mean(grounds)), color=INK, lw=1.0, zorder=0)
    if view == "front":
        ax.axvline(0.0, color=FAINT, lw=0.8, ls=(0, (8, 3, 1, 3)), zorder=0)
    ax.set(xlim=x, ylim=z, aspect="equal")
    ax.grid(False)
    ax.set_title(title, loc="left")
    ax.set_xlabel(f"{'y, to the left' if view == 'front' else 'x, forward'} (mm)")
    ax.set_ylabel("z, up (mm)")
    if view == "front" or outlines[0].sign > 0.0:
        ax.invert_xaxis()


def _member(ax: Axes, points: Array, colour: str) -> None:
    """A body as the outline around its points."""
    away = points - points.mean(axis=0)
    order = np.argsort(np.arctan2(away[:, 1], away[:, 0]))
    closed = points[[*order, order[0]]] if len(points) > 2 else points
    ax.plot(*closed.T, color=colour, lw=1.3, solid_joinstyle="round")
    if len(points) > 2:
        ax.fill(*closed.T, color=colour, alpha=0.07, lw=0)
    ax.plot(*points.T, "o", ms=3, color=colour)


def _wheel(ax: Axes, one: Outline, flat: list[int], k: int) -> None:
    """The circle of the loaded radius in this view, and the wheel centre."""
    centre, colour = one.at[WHEEL_CENTRE], LINES[k % len(LINES)]
    ax.plot(*centre[flat], "+", ms=9, mew=1.4, color=colour)
    if one.radius_mm is None:
        return
    up = np.array([0.0, 0.0, 1.0]) - one.spin[2] * one.spin
    up /= np.linalg.norm(up)
    along = np.cross(one.spin, up)
    turn = np.linspace(0.0, 2.0 * np.pi, 121)[:, None]
    rim = centre + one.radius_mm * (np.cos(turn) * up + np.sin(turn) * along)
    ax.plot(rim[:, flat[0]], rim[:, flat[1]], color=colour, lw=1.6, ls=DASHES[k % len(DASHES)])


def _line(ax: Axes, one: Outline, view: str, k: int, x: tuple[float, float]) -> None:
    """From the contact point towards the instant centre; its mark where it lies within the picture; the roll centre."""
    centre = one.front_centre if view == "front" else one.side_centre
    if one.contact is None or centre is None or not np.isfinite(centre).all():
        return
    colour, start = LINES[k % len(LINES)], one.contact[list(VIEWS[view])]
    ax.plot(*np.array([start, centre]).T, color=colour, lw=1.1, ls=DASHES[k % len(DASHES)], clip_on=True)
    if x[0] < centre[0] < x[1]:
        ax.plot(*centre, marker=_MARKERS[k % 4], ms=7, mfc="white", mec=colour, mew=1.6)
    if view == "front" and one.roll_centre_mm is not None:
        ax.plot(0.0, one.roll_centre_mm + one.contact[2], marker=_MARKERS[k % 4], ms=7, color=colour)


def caption(part: AxlePart, view: str) -> str:
    """The figures of the construction, car by car, as markup."""
    said = []
    for k, car in enumerate(part.cars):
        one = car.outline
        centre = one.front_centre if view == "front" else one.side_centre
        if centre is None or one.contact is None:
            said.append(f"{mark(k)} no loaded radius, so no construction")
            continue
        words = f"instant centre {'y' if view == 'front' else 'x'} {fixed(centre[0], 0)}, z {fixed(centre[1], 0)} mm"
        if view == "front" and one.roll_centre_mm is not None:
            words += f"; roll centre (filled mark) {fixed(one.roll_centre_mm, 1)} mm over the ground"
        if view == "side":
            rise = centre[1] - one.contact[2]
            slope = float(np.degrees(np.arctan2(rise, abs(centre[0] - one.contact[0]))))
            words += f"; line rises {fixed(slope, 2)}° from the contact point"
        said.append(f"{mark(k)} {text(words)}")
    return tag("span", "<br>".join(said))
