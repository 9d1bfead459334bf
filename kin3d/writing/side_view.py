"""The side view: support lines of braking and drive, mass centre, the part of the load transfer that the links carry.

Seen from the left, the front to the left of the sheet. The line from a contact point to the side-view instant centre
reaches the vertical that stands at the axle's share of the braking force at a height; that height over the mass
centre's is the anti value, for braking and for drive alike.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from kin3d.writing.construction import PICTURES, colours
from kin3d.writing.files import check_place
from kin3d.writing.sheet_scale import (
    CENTRE,
    LINE,
    LOWER,
    MID,
    PALE,
    TIE,
    Sheet,
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
    from kin3d.linkage.keys import CarData
    from kin3d.studies.construction import Construction, Side

Array = NDArray[np.float64]
SEEN = np.array([-1.0, 1.0])  # from the left: the front on the left of the sheet
BRAKE, DRIVE = LINE, TIE


def draw_side(axles: tuple[Construction, ...], data: CarData, pitch_deg: float, path: Path) -> None:
    """Draw the side view of one axle or of the car.

    Parameters
    ----------
    axles : tuple of Construction
        One axle, or front and rear of a car (`kin3d.studies.construction.construct_car`).
    data : CarData
        Wheelbase, height of the mass centre, shares; a line that needs a missing one is not drawn, a note says so.
    pitch_deg : float
        For the title.
    path : pathlib.Path
        ``.svg``, ``.pdf`` or ``.png``.
    """
    check_place(path, PICTURES, "--out")
    import matplotlib.pyplot as plt

    with plt.rc_context(figure_style()):
        which = "side view" if len(axles) > 1 else f"{axles[0].axle} axle, side view"
        made = sheet(_limits(axles, data), f"{axles[0].title}: {which}, support lines", _position(axles[0], pitch_deg))
        ground(made)
        _chassis(made, axles)
        for axle in axles:
            _wheel(made, axle)
            _linkage(made, axle)
        said = [line for axle in axles for line in _support(made, axle, axles, data)]
        _centre(made, axles, data)
        half = -(-len(said) // 2)
        notes(made, (said[:half], [*said[half:], "seen from the left; lines and percentages of the left wheels"]))
        save_figure(made.figure, path)


def _position(axle: Construction, pitch: float) -> str:
    parts = [
        f"{name} {_signed(v, 2)}{unit}"
        for name, v, unit in (("heave", axle.heave_mm, " mm"), ("pitch", pitch, "°"), ("roll", axle.roll_deg, "°"))
        if v
    ]
    return (", ".join(parts) or "design position") + ".  Seen from the left; the ground is drawn level."


def _at(axle: Construction, p: Array) -> Array:
    """A point (…, 3) of an axle's ground frame on the sheet."""
    return np.asarray((p[..., (0, 2)] + np.array([axle.x_mm, 0.0])) * SEEN)


def _limits(axles: tuple[Construction, ...], data: CarData) -> tuple[float, float, float, float]:
    radius = max(a.radius_mm for a in axles)
    xs = [-a.x_mm for a in axles]
    if len(axles) == 1:
        base = data.wheelbase_mm or 8 * radius
        xs.append(xs[0] + (base if axles[0].axle == "front" else -base))
    room = 1.9 * radius
    top = max([2.45 * radius, 1.35 * (data.cg_height_mm or 0.0)])
    return min(xs) - room, max(xs) + room, -0.24 * radius, top


def _chassis(made: Sheet, axles: tuple[Construction, ...]) -> None:
    from matplotlib.patches import Polygon
    from scipy.spatial import ConvexHull

    for axle in axles:
        hull = _at(axle, axle.chassis)
        around = hull[ConvexHull(hull).vertices]
        made.axes.add_patch(Polygon(around, closed=True, fc=PALE, ec=MID, lw=0.7, zorder=1))


def _wheel(made: Sheet, axle: Construction) -> None:
    from matplotlib.patches import Circle

    centre = _at(axle, axle.sides[0].centre)
    made.axes.add_patch(Circle(tuple(centre), axle.radius_mm, fc="#f7f8f9", ec=INK, lw=1.1, zorder=2, alpha=0.8))
    made.axes.add_patch(Circle(tuple(centre), 0.62 * axle.radius_mm, fc="none", ec=MID, lw=0.7, zorder=2))
    made.axes.plot(*centre, marker="+", color=INK, ms=9, zorder=12)


def _linkage(made: Sheet, axle: Construction) -> None:
    from matplotlib.patches import Polygon

    side = axle.sides[0]
    shade = colours(side.bodies)
    for body in side.bodies:
        if body.joint is None:
            continue
        p, colour = _at(axle, body.points), shade[body.name]
        if len(p) > 2:
            made.axes.add_patch(Polygon(p, closed=True, fc=colour, ec="none", alpha=0.16, zorder=6))
            p = np.concatenate([p, p[:1]])
        made.axes.plot(*p.T, color=colour, lw=1.7, zorder=7, solid_capstyle="round")
        made.axes.plot(*_at(axle, body.points).T, "o", mfc="white", mec=colour, ms=3.6, zorder=8)


def _support(made: Sheet, axle: Construction, axles: tuple[Construction, ...], data: CarData) -> list[str]:
    """Support lines of one axle; returns what the foot of the sheet says of them."""
    front = axle.axle == "front"
    side = axle.sides[0]
    base, height = _base(axles, data), data.cg_height_mm
    if base is None or height is None:
        lacking = "wheelbase_mm" if base is None else "cg_height_mm"
        return [f"{axle.axle}: no percentages, [car] {lacking} is not given"]
    said = []
    level = _height(axles, height)
    foot = _at(axle, side.contact)
    towards = 1.0 if front else -1.0  # to the other axle on the sheet
    share = data.front_brake_share
    if share is not None:
        own = share if front else 1.0 - share
        drift = side.drift if data.brakes == "outboard" else side.hub_drift
        rise = (1.0 if front else -1.0) * drift[0] / drift[2]
        name = "anti-dive" if front else "anti-lift, braking"
        said.append(_line(made, axle, foot, towards, rise, own * base, level, base, name, BRAKE))
    else:
        said.append(f"{axle.axle}: no braking line, [car] front_brake_share is not given")
    driven = _drive_share(axle.axle, data)
    if driven:
        rise = (1.0 if front else -1.0) * side.hub_drift[0] / side.hub_drift[2]
        name = "anti-lift, driving" if front else "anti-squat"
        said.append(_line(made, axle, foot, towards, rise, driven * base, level, base, name, DRIVE))
    _instant_centre(made, axle, side)
    return said


def _line(
    made: Sheet,
    axle: Construction,
    foot: Array,
    towards: float,
    rise: float,
    reach: float,
    level: float,
    base: float,
    name: str,
    colour: str,
) -> str:
    """One support line from the ground up, the line of 100 % beside it, and the height that it reaches."""
    percent = 100.0 * rise * reach / level
    end = foot + np.array([towards * reach, rise * reach])
    full = foot + np.array([towards * reach, level])
    made.axes.plot(*np.stack([foot, full]).T, color=colour, lw=0.7, ls=(0, (1, 2.2)), zorder=9)
    made.axes.plot(*np.stack([foot, end]).T, color=colour, lw=1.7, zorder=11)
    made.axes.plot([full[0]] * 2, [0.0, level], color=MID, lw=0.7, zorder=3)
    for z in (end[1], level):
        tick = 1.6 * made.scale
        made.axes.plot([full[0] - tick, full[0] + tick], [z, z], color=colour, lw=1.2, zorder=12)
    made.axes.plot(*end, "o", mfc=colour, mec="white", ms=5.5, zorder=14)
    label(made, full, "100 %", (0.0, 2.2), ha="center", color="#46535c", fontsize=7)
    # where the line ends at the other axle its words stand outside that wheel
    far = 1.1 * axle.radius_mm / made.scale if reach > 0.95 * base else 2.6
    away = (far if towards > 0 else -far) if far > 2.6 else (-far if towards > 0 else far)
    text = f"{name}\n{_signed(percent)} %"
    lift = 2.4 if colour == BRAKE else 5.6
    edge = "right" if away < 0 else "left"
    label(made, end, text, (away, lift), ha=edge, va="bottom", color=colour, fontweight="bold")
    angle = np.degrees(np.arctan(rise))
    return f"{axle.axle}: {name} {_signed(percent)} %, support angle {_signed(float(angle), 2)}°"


def _instant_centre(made: Sheet, axle: Construction, side: Side) -> None:
    """The side-view instant centre, or a pointer to it."""
    centre = _at(axle, side.side_ic)
    start = _at(axle, side.centre)
    x, z = (f"{_signed(float(v), 0)}" for v in side.side_ic[[0, 2]])
    if inside(made, centre):
        made.axes.plot(*centre, "s", ms=6.5, mfc="white", mec=LOWER, mew=1.5, zorder=15)
        label(made, centre, f"instant centre, {axle.axle}\nx {x}, z {z} mm", (2.6, 0.0), color=LOWER)
        made.axes.plot(*np.stack([start, centre]).T, color=LOWER, lw=0.8, dashes=(6, 3), zorder=10)
        return
    end = toward(made, start, centre)
    end = start + (end - start) * min(1.0, 1.75 * axle.radius_mm / max(1e-9, float(np.hypot(*(end - start)))))
    style = {"arrowstyle": "-|>", "color": LOWER, "lw": 0.9, "ls": (0, (6, 3)), "shrinkA": 0, "shrinkB": 0}
    made.axes.annotate("", (end[0], end[1]), (start[0], start[1]), arrowprops=style, zorder=10)
    text = f"to the instant centre\nx {x}, z {z} mm"
    to_right = end[0] > start[0]
    label(made, end, text, (0.0, -4.6), ha="right" if to_right else "left", color=LOWER, fontsize=7)


def _centre(made: Sheet, axles: tuple[Construction, ...], data: CarData) -> None:
    base, height = _base(axles, data), data.cg_height_mm
    if base is None or height is None:
        return
    level = _height(axles, height)
    x = None
    if data.front_mass_share is not None:
        first = axles[0]
        ahead = first.x_mm if first.axle == "front" else first.x_mm + base
        x = -(ahead - (1.0 - data.front_mass_share) * base)
        mass_centre(made, np.array([x, level]), "mass centre", -1)
    made.axes.plot(made.limits[:2], [level] * 2, color=CENTRE, lw=0.7, dashes=(10, 3, 2, 3), zorder=3)
    if x is None:
        at = (made.limits[0], level)
        label(made, at, f"height of the mass centre {level:.0f} mm", (1.0, 2.5), color=CENTRE, fontsize=7)


def _height(axles: tuple[Construction, ...], given: float) -> float:
    """Height of the mass centre over the ground in this position, from the axles' bodies."""
    found = [float(a.centre[2]) for a in axles if a.centre is not None]
    return float(np.mean(found)) if found else given


def _base(axles: tuple[Construction, ...], data: CarData) -> float | None:
    return axles[0].x_mm - axles[1].x_mm if len(axles) > 1 else data.wheelbase_mm


def _drive_share(axle: str, data: CarData) -> float | None:
    if data.drive == "all":
        share = data.front_drive_share
        return None if share is None else (share if axle == "front" else 1.0 - share)
    return 1.0 if data.drive == axle else None


def _signed(v: float, places: int = 1) -> str:
    return f"{v:+.{places}f}".replace("-", "−")
