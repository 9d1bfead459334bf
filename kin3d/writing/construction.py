"""The front-view construction: arms, instant centres, lines to the contact points, roll centre; drawn to scale.

Seen from behind the car, so that left is left on the sheet.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from kin3d.writing.files import check_place
from kin3d.writing.sheet_scale import (
    CENTRE,
    LINE,
    LOWER,
    MID,
    PALE,
    TIE,
    UPPER,
    Sheet,
    dimension,
    ground,
    inside,
    label,
    mass_centre,
    notes,
    sheet,
    toward,
)
from kin3d.writing.style import INK, figure_style, save_figure

if TYPE_CHECKING:
    from kin3d.studies.construction import Construction, Outline, Side

Array = NDArray[np.float64]
PICTURES = (".svg", ".pdf", ".png")
TYRE_SHARE = 0.72  # width of a drawn tyre over its radius; nothing is measured from it
ROOM_MM = 290.0  # for the words beside an instant centre
SEEN = np.array([-1.0, 1.0])  # from behind: the car's left on the left of the sheet


def draw_front(shown: Construction, path: Path) -> None:
    """Draw the front-view construction of one axle.

    Parameters
    ----------
    shown : Construction
    path : pathlib.Path
        ``.svg``, ``.pdf`` (text stays text) or ``.png``.

    Raises
    ------
    RequestError
        For another ending or a place that cannot be written to.
    """
    check_place(path, PICTURES, "--out")
    import matplotlib.pyplot as plt

    with plt.rc_context(figure_style()):
        made = sheet(_limits(shown), f"{shown.title}, {shown.axle} axle: roll-centre construction", _position(shown))
        ground(made)
        _body(made, shown)
        for side in shown.sides:
            _wheel(made, side, shown.radius_mm)
            _linkage(made, side)
        for side in shown.sides:
            _lines(made, side, shown)
        _roll_centre(made, shown)
        if shown.centre is not None:
            mass_centre(made, front(shown.centre), "mass centre of the body")
        notes(made, _figures(shown))
        save_figure(made.figure, path)


def front(p: Array) -> Array:
    """A point (…, 3) of the ground's frame on the sheet."""
    return np.asarray(p[..., 1:] * SEEN)


def _position(shown: Construction) -> str:
    parts = [f"roll {_signed(shown.roll_deg, 2)}°" if shown.roll_deg else "no roll"]
    parts += [f"heave {_signed(shown.heave_mm)} mm"] if shown.heave_mm else []
    parts += [f"rack {_signed(shown.rack_mm)} mm"] if shown.rack_mm else []
    return ", ".join(parts) + ".  Seen from behind; the ground is drawn level."


def _limits(shown: Construction) -> tuple[float, float, float, float]:
    """The wheels with some room, and the instant centres when they are not far out."""
    half = max(abs(float(s.contact[1])) for s in shown.sides) + 0.9 * shown.radius_mm
    reach = [abs(float(s.front_ic[1])) for s in shown.sides if abs(float(s.front_ic[1])) < 1.7 * half]
    # words stand beside the instant centres, or where the lines to those that are far out leave the sheet
    wide = max([half + ROOM_MM * (len(reach) < len(shown.sides)), *(r + ROOM_MM for r in reach)])
    heights = [float(s.front_ic[2]) for s in shown.sides if abs(float(s.front_ic[1])) < 1.7 * half]
    top = max(2.45 * shown.radius_mm, float(shown.chassis[:, 2].max()) + 0.35 * shown.radius_mm)
    top = min(max([top, *(h + 0.3 * shown.radius_mm for h in heights)]), 2.0 * top)
    low = min([-0.28 * shown.radius_mm, *(h - 0.3 * shown.radius_mm for h in heights)])
    return -wide, wide, max(low, -1.2 * shown.radius_mm), top


def _body(made: Sheet, shown: Construction) -> None:
    """The chassis as the hull of its joints, its own middle line and the roll angle."""
    from matplotlib.patches import Arc, Polygon
    from scipy.spatial import ConvexHull

    hull = front(shown.chassis)
    around = hull[ConvexHull(hull).vertices]
    made.axes.add_patch(Polygon(around, closed=True, fc=PALE, ec=MID, lw=0.8, zorder=1))
    up = shown.up[1:] * SEEN
    foot = hull.mean(axis=0)
    foot = foot - up * foot[1] / up[1]
    top = foot + up * (made.limits[3] - 3 * made.scale) / up[1]
    made.axes.plot(*np.stack([foot, top]).T, color=MID, lw=0.9, dashes=(10, 3, 2, 3), zorder=2)
    if abs(shown.roll_deg) > 1e-9:
        made.axes.plot([foot[0]] * 2, [0, top[1]], color=MID, lw=0.6, ls=":", zorder=2)
        size = 2 * 0.9 * top[1]
        turn = np.degrees(np.arctan2(up[1], up[0]))
        low, high = sorted((90.0, float(turn)))
        made.axes.add_patch(Arc(tuple(foot), size, size, theta1=low, theta2=high, color=INK, lw=1.0, zorder=3))
        text = f"roll {_signed(shown.roll_deg, 2)}°"
        right = up[0] > 0
        at = foot + up * 0.9 * top[1] / up[1]
        label(made, at, text, (2.0 if right else -2.0, 0.0), ha="left" if right else "right")


def _wheel(made: Sheet, side: Side, radius: float) -> None:
    """A tyre seen from behind, leaning as it does; its centre line."""
    from matplotlib.patches import FancyBboxPatch
    from matplotlib.transforms import Affine2D

    axis = side.spin[1:] * SEEN
    axis = axis / np.linalg.norm(axis) * np.sign(axis[0])
    turn = np.degrees(np.arctan2(axis[1], axis[0]))
    wide, centre = TYRE_SHARE * radius, front(side.centre)
    box = FancyBboxPatch(
        (-wide / 2, -radius), wide, 2 * radius, boxstyle=f"round,pad=0,rounding_size={0.16 * radius}",
        fc="#f7f8f9", ec=INK, lw=1.1, zorder=3,
    )  # fmt: skip
    box.set_transform(Affine2D().rotate_deg(turn).translate(*centre) + made.axes.transData)
    made.axes.add_patch(box)
    down = np.array([axis[1], -axis[0]])
    ends = np.stack([centre - 1.12 * radius * down, front(side.contact)])
    made.axes.plot(*ends.T, color=MID, lw=0.8, dashes=(10, 3, 2, 3), zorder=4)
    text = f"camber to the ground\n{_signed(side.camber_deg, 2)}°"
    label(made, ends[0], text, (0.0, 3.2), ha="center", va="bottom", fontsize=7.5)


def colours(bodies: tuple[Outline, ...]) -> dict[str, str]:
    """Colour of each body: the lower arm, the upper one, links, what belongs to the spring."""
    arms = sorted((b for b in bodies if b.role == "arm"), key=lambda b: float(b.points[:, 2].mean()))
    out = {b.name: (LOWER if b is arms[0] else UPPER) for b in arms}
    return {b.name: out.get(b.name, TIE if b.role == "link" and b.joint is not None else MID) for b in bodies}


def _linkage(made: Sheet, side: Side) -> None:
    from matplotlib.patches import Polygon

    named: list[Array] = []
    shade = colours(side.bodies)
    for body in side.bodies:
        p, colour = front(body.points), shade[body.name]
        holds = body.joint is not None
        if len(p) > 2:
            made.axes.add_patch(Polygon(p, closed=True, fc=colour, ec="none", alpha=0.16, zorder=8))
            p = np.concatenate([p, p[:1]])
        made.axes.plot(*p.T, color=colour, lw=2.0 if holds else 1.0, zorder=9 if holds else 7, solid_capstyle="round")
        size = 4.2 if holds else 2.8
        made.axes.plot(*front(body.points).T, "o", mfc="white", mec=colour, ms=size, zorder=10)
        if side.sign > 0 and (holds or body.role == "rod"):
            named.append(_name(made, body, colour, named))


def _name(made: Sheet, body: Outline, colour: str, others: list[Array]) -> Array:
    """The body's name along its line, on the left side alone, over the names that already stand there; its place."""
    p = front(body.points)
    inner, outer = p[:-1].mean(axis=0), p[-1]
    way = outer - inner
    turn = (np.degrees(np.arctan2(way[1], way[0])) + 90.0) % 180.0 - 90.0
    up = np.array([-np.sin(np.radians(turn)), np.cos(np.radians(turn))]) * 1.8
    style = {"rotation": turn, "rotation_mode": "anchor", "ha": "center", "va": "bottom", "fontsize": 7}
    at = inner + (0.24 if body.role == "rod" else 0.55) * way
    near = sum(float(np.hypot(*(at - o))) < 7.0 * made.scale for o in others)
    label(made, at, body.name, (float(up[0]), float(up[1]) - 0.6 + 3.1 * near), color=colour, **style)
    return np.asarray(at)


def _lines(made: Sheet, side: Side, shown: Construction) -> None:
    """Arms prolonged to the instant centre, and the line from it through the contact point."""
    centre, foot = front(side.front_ic), front(side.contact)
    shade = colours(side.bodies)
    for body in side.bodies:
        if body.role == "arm" and body.joint is not None:
            start = front(body.joint)
            end = toward(made, start, centre)
            made.axes.plot(*np.stack([start, end]).T, color=shade[body.name], lw=1.0, dashes=(6, 3), zorder=6)
    # the line stands square to the path of the contact point, whether the instant centre is near or far
    along = np.array([-side.drift[2], side.drift[1]]) * SEEN
    towards = along * np.sign((shown.roll_centre[0] * -1.0 - foot[0]) * along[0] or 1.0)
    target = centre if np.isfinite(centre).all() else foot + 1e6 * towards
    end = toward(made, foot, target)
    made.axes.plot(*np.stack([foot, end]).T, color=LINE, lw=1.5, zorder=11)
    made.axes.plot(*foot, marker="o", ms=5.5, mfc=LINE, mec="white", zorder=14)
    name = "left" if side.sign > 0 else "right"
    place = f"y {_signed(side.front_ic[1], 0)}, z {_signed(side.front_ic[2], 0)} mm"
    if inside(made, centre):
        made.axes.plot(*centre, marker="s", ms=6.5, mfc="white", mec=LINE, mew=1.6, zorder=15)
        outside = centre[0] > 0
        text = f"instant centre\nof the {name} wheel\n{place}"
        label(made, centre, text, (2.6 if outside else -2.6, 0.0), ha="left" if outside else "right", color=LINE)
    else:
        text = f"to the instant centre of the {name} wheel\n{place}"
        edge = "right" if end[0] > 0 else "left"
        label(made, end, text, (-1.5 if edge == "right" else 1.5, 3.0), ha=edge, va="bottom", color=LINE)


def _roll_centre(made: Sheet, shown: Construction) -> None:
    place = np.array([-shown.roll_centre[0], shown.roll_centre[1]])
    # prolong both lines to their crossing, where an instant centre lies on this side of it
    if inside(made, place) and not shown.parallel:
        for side in shown.sides:
            made.axes.plot(*np.stack([front(side.contact), place]).T, color=LINE, lw=1.5, zorder=11)
        made.axes.plot(*place, marker="o", ms=11, mfc="none", mec=CENTRE, mew=2.0, zorder=16)
        made.axes.plot(*place, marker="+", ms=15, color=CENTRE, mew=1.4, zorder=16)
        away = place[0] >= 0
        x = place[0] + (9 if away else -9) * made.scale
        made.axes.plot([place[0], x], [place[1]] * 2, color=CENTRE, lw=0.7, zorder=15)
        text = f"roll centre {_signed(shown.roll_centre[1])} mm over the ground"
        dimension(made, x, 0.0, float(place[1]), text, CENTRE)
        return
    edge = (made.limits[0] + 0.06 * (made.limits[1] - made.limits[0]), made.limits[3] * 0.93)
    why = "the lines are nearly parallel" if shown.parallel else "it lies off the sheet"
    y, z = (_signed(v, 0) for v in shown.roll_centre)
    text = f"roll centre at y {y}, z {z} mm: {why}\nheight from jacking forces {_signed(shown.force_height_mm)} mm"
    label(made, edge, text, (0, 0), color=CENTRE, fontweight="bold")


def _figures(shown: Construction) -> list[list[str]]:
    left, right = shown.sides
    lift = [s.sign * s.drift[1] / s.drift[2] for s in shown.sides]
    track = float(left.contact[1] - right.contact[1])
    first = [
        f"roll centre: height {_signed(shown.roll_centre[1])} mm, {_signed(shown.roll_centre[0])} mm to the left",
        f"height from jacking forces {_signed(shown.force_height_mm)} mm",
        f"track {track:.1f} mm",
    ]
    second = [
        f"jacking coefficient: left {_signed(lift[0], 3)}, right {_signed(lift[1], 3)}",
        "y to the left of mid-track, z over the ground",
        "violet: square to the paths of the contact points",
    ]
    return [first, second]


def _signed(v: float, places: int = 1) -> str:
    return f"{v:+.{places}f}".replace("-", "−")
