"""Pictures of the inboard side: ratio, rate and rod force over travel, and the rocker seen along its pivot line.

One car, or the original and the swapped one side by side in the same panels.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from kin3d.studies.inboard import InboardCurves
from kin3d.writing.files import PICTURES, check_place
from kin3d.writing.numbers import with_sign
from kin3d.writing.panels import set_title
from kin3d.writing.style import CARS, INK, MID, SOFT, figure_style, save_figure

if TYPE_CHECKING:
    from matplotlib.axes import Axes

Array = NDArray[np.float64]
DASHES = ("-", "--")
WIDE, TALL = 1.0, 1.7  # least width over height of a rocker view, and largest
SHOWN_MM = 130.0  # how much of rod and spring is drawn beyond the rocker
# droop, design, bump: design in ink and full, the ends in two greys and thin
STATES = (("droop", MID, 1.3), ("design", INK, 2.2), ("bump", SOFT, 1.3))


def draw_inboard(curves: Sequence[InboardCurves], path: Path, labels: Sequence[str] | None = None) -> None:
    """Draw one or two cars' inboard side.

    Parameters
    ----------
    curves : sequence of InboardCurves
        One, or the original and the swapped one.
    path : pathlib.Path
        ``.png``, ``.svg`` or ``.pdf``.
    labels : sequence of str, optional
        A word for each; the kind of rod and what carries it are added.
    """
    check_place(path, PICTURES, "plot")
    import matplotlib.pyplot as plt

    names = [_name(c, labels[k] if labels else "") for k, c in enumerate(curves)]
    with plt.rc_context(figure_style()):
        figure = plt.figure(figsize=(11.0, 7.6), layout="constrained")
        parts: Any = figure.subfigures(2, 1, height_ratios=(1.0, 1.3))
        upper, lower = parts
        _curves([upper.add_subplot(1, 3, k) for k in (1, 2, 3)], curves, names)
        views = [lower.add_subplot(1, len(curves), k + 1) for k in range(len(curves))]
        for ax, one, name in zip(views, curves, names, strict=True):
            _rocker(ax, one, name)
        _same_scale(views)
        title = f"{curves[0].title}, {curves[0].axle} axle, left corner"
        set_title(figure, title)
        save_figure(figure, path)


def _name(c: InboardCurves, word: str) -> str:
    return f"{word}: {c.kind}-rod on the {c.rod_on}" if word else f"{c.kind}-rod on the {c.rod_on}"


def _curves(axes: Any, curves: Sequence[InboardCurves], names: Sequence[str]) -> None:
    panels: tuple[tuple[str, str, list[Array | None]], ...] = (
        ("Motion ratio", "spring mm per mm of wheel travel", [*(c.motion_ratio for c in curves)]),
        ("Wheel rate (N/mm)", "spring and torsion spring, with F·dMR/dz", [c.wheel_rate_n_per_mm for c in curves]),
        ("Rod force per N of wheel load", "tension positive", [*(c.rod_force_per_load for c in curves)]),
    )
    for ax, (title, note, values) in zip(axes, panels, strict=True):
        for k, (one, y) in enumerate(zip(curves, values, strict=True)):
            if y is not None:
                style: dict[str, Any] = {"color": CARS[k % len(CARS)], "ls": DASHES[k], "lw": 2.4 - 0.6 * k}
                ax.plot(one.travel_mm, y, label=names[k], **style)
        ax.axvline(0.0, color=INK, lw=0.6, alpha=0.35, zorder=0)
        ax.set_title(title, loc="left", y=1.09)
        ax.annotate(note, (0.0, 1.03), xycoords="axes fraction", fontsize=7, color=SOFT)
        ax.set_xlabel("travel (mm), bump positive")
        if not ax.lines[:-1]:
            ax.annotate("no rate or force in the car file", (0.5, 0.5), xycoords="axes fraction", ha="center")
    axes[2].axhline(0.0, color=INK, lw=0.6, alpha=0.35, zorder=0)
    if len(curves) > 1:
        axes[0].legend(fontsize=7.5, frameon=False, loc="best", handlelength=3.2)


def _rocker(ax: Axes, c: InboardCurves, name: str) -> None:
    """The rocker at droop, design and bump on a plane square to its pivot line."""
    rocker, spring = c.linkage.rocker, c.linkage.spring
    if rocker is None or spring is None:
        return
    flat = _projection(c)
    reached = np.flatnonzero(np.isfinite(c.motion_ratio))
    rows = (int(reached[0]), int(np.argmin(np.abs(c.travel_mm))), int(reached[-1]))
    arms = [p for p in c.linkage.bodies[rocker.body] if p not in rocker.axis]
    for (state, colour, width), row in zip(STATES, rows, strict=True):
        order = 4 if state == "design" else 2
        at = {p: flat(p, row) for p in c.places}
        hub = at[rocker.axis[0]]
        corners = _ring([at[p] for p in arms], hub)
        ax.fill(*np.array(corners).T, color=colour, alpha=0.10 if state == "design" else 0.05, lw=0, zorder=order)
        ax.plot(*np.array([*corners, corners[0]]).T, color=colour, lw=width, zorder=order,
                label=f"{state}, {with_sign(c.travel_mm[row])} mm")  # fmt: skip
        for start, end, dash in ((rocker.rod[1], rocker.rod[0], "-"), (spring[0], spring[1], (0, (2.2, 1.2)))):
            ax.plot(*np.array([at[start], _cut(at[start], at[end])]).T, color=colour, lw=width, ls=dash, zorder=order)
        ax.plot(*np.array([at[p] for p in arms]).T, "o", ms=3.5, color=colour, zorder=order + 1)
    _words(ax, c, flat, rows[1])
    ax.set_title(name, loc="left", y=1.06)
    ax.annotate("seen along the pivot line; mm", (0.0, 1.015), xycoords="axes fraction", fontsize=7, color=SOFT)
    ax.legend(fontsize=7.5, frameon=False, loc="best")


def _words(ax: Axes, c: InboardCurves, flat: Any, row: int) -> None:
    """Names beside the pivot, the rod, the spring and the other points of the rocker."""
    from matplotlib.patheffects import withStroke

    rocker, spring = c.linkage.rocker, c.linkage.spring
    if rocker is None or spring is None:
        return
    hub = flat(rocker.axis[0], row)
    halo = [withStroke(linewidth=3.0, foreground="white")]
    style: dict[str, Any] = {"textcoords": "offset points", "fontsize": 8, "color": INK, "zorder": 9}
    style["path_effects"] = halo
    ax.plot(*hub, "o", ms=9, mfc="white", mec=INK, mew=1.8, zorder=7)
    ax.plot(*hub, "o", ms=2.5, color=INK, zorder=8)
    for start, end, word in ((rocker.rod[1], rocker.rod[0], "rod"), (spring[0], spring[1], "spring")):
        tip = _cut(flat(start, row), flat(end, row))
        ax.annotate(word, (tip[0], tip[1]), xytext=(5, 4), **style)
    ax.annotate("pivot", (hub[0], hub[1]), xytext=(7, -13), **style)


def _projection(c: InboardCurves) -> Any:
    """Points on the plane square to the pivot line, origin at the pivot; up is as near to the car's up as can be."""
    rocker = c.linkage.rocker
    if rocker is None:
        raise ValueError("the linkage has no rocker")
    first, second = (c.places[p][int(np.argmin(np.abs(c.travel_mm)))] for p in rocker.axis)
    axis = (second - first) / np.linalg.norm(second - first)
    guide = np.array([0.0, 0.0, 1.0]) if abs(axis[2]) < 0.9 else np.array([1.0, 0.0, 0.0])
    up = guide - axis * (guide @ axis)
    up /= np.linalg.norm(up)
    across = np.cross(up, axis)

    def flat(point: str, row: int) -> Array:
        d = c.places[point][row] - first
        return np.array([d @ across, d @ up])

    return flat


def _ring(points: Sequence[Array], hub: Array) -> list[Array]:
    """Corners of the rocker's outline: its points and the pivot, in order around their middle."""
    corners = [*points, hub]
    middle = np.mean(corners, axis=0)
    return sorted(corners, key=lambda p: float(np.arctan2(*(p - middle)[::-1])))


def _cut(start: Array, end: Array) -> Array:
    """The end, or a point on the way to it when it is far."""
    length = float(np.linalg.norm(end - start))
    return end if length <= SHOWN_MM else start + (end - start) * (SHOWN_MM / length)


def _same_scale(views: Sequence[Axes]) -> None:
    """Give all views the same width and height in mm, so that sizes can be compared."""
    limits = [np.array([ax.get_xlim(), ax.get_ylim()]) for ax in views]
    half = 0.5 * np.max([np.ptp(limit, axis=1) for limit in limits], axis=0)
    half = np.maximum(half, [half[1] * WIDE, half[0] / TALL])
    for ax, limit in zip(views, limits, strict=True):
        middle = limit.mean(axis=1)
        ax.set_xlim(middle[0] - half[0], middle[0] + half[0])
        ax.set_ylim(middle[1] - half[1], middle[1] + half[1])
        ax.set_aspect("equal", adjustable="box")
