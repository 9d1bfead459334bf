"""Draws a drawing as it was understood: marks, labels, view frames, residuals, what was refused. By matplotlib.

A person who looks at it should see a wrong reading at a glance: every point carries its name where it was found,
every view its axes and datum, and residual arrows are magnified until the longest can be seen.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from kin3d.reading.dxf import DrawingReading, DrawnPoint
from kin3d.reading.dxf.content import Content
from kin3d.reading.dxf.fusion import SheetView
from kin3d.writing.style import LOWERS, RAISES, SOFT, figure_style, lay_out, save_figure

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

GOOD, BAD, FAINT, FRAME = LOWERS, RAISES, "#b4bcc2", SOFT
ARROW_SHARE = 0.04  # length of the longest residual arrow, as a share of the picture's width
LEAST_RESIDUAL_MM = 1e-3  # smaller residuals are not drawn
FONT = 7.0
STEPS = (5.0, 14.0, 26.0, 40.0)  # distances at which a name may stand from its point, pt
TURNS = tuple(np.radians((35, 145, -35, -145, 0, 180, 90, -90)))
MOST_FAINT = 20_000  # strokes of the drawing's own that are drawn in the background


def draw_reading(reading: DrawingReading, path: Path) -> None:
    """Write a picture (PNG, SVG or PDF by the ending) of a drawing as it was understood.

    A sheet is drawn as it is, in drawing units; a drawing in space as seen from the front, the side and above,
    in mm of the car.

    Raises
    ------
    RequestError
        The file cannot be written.
    """
    import matplotlib as mpl

    with mpl.rc_context(figure_style()):
        figure = _sheet(reading) if reading.form == "sheet" else _space(reading)
        save_figure(figure, path)


def _figure(width: float, height: float) -> Figure:
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure as Plain

    figure = Plain(figsize=(width, height), layout="constrained")
    FigureCanvasAgg(figure)
    return figure


# --- sheets -------------------------------------------------------------------------------------------------------


def _sheet(reading: DrawingReading) -> Figure:
    places = [s.place for p in _all(reading) for s in p.sources]
    low, high = np.min(places, axis=0)[:2], np.max(places, axis=0)[:2]
    wide, tall = np.maximum(high - low, 1e-9) * 1.3
    figure = _figure(13.0, float(np.clip(13.0 * tall / wide, 5.0, 13.0)) + 0.8)
    axes = figure.add_subplot()
    _background(axes, reading.content)
    for view in reading.views:
        _frame(axes, reading, view)
    _points_on_sheet(axes, reading)
    note = _arrows(axes, reading, float(wide))
    margin = np.maximum(0.15 * (high - low), 0.06 * float(np.max(high - low)))
    axes.set(xlim=(low[0] - margin[0], high[0] + margin[0]), ylim=(low[1] - margin[1], high[1] + margin[1]))
    axes.set_aspect("equal")
    axes.grid(visible=False)
    lay_out(figure)
    _place_names(axes)
    axes.set(xlabel="sheet, right (drawing units)", ylabel="sheet, up (drawing units)")
    _heading(axes, reading, note)
    return figure


def _all(reading: DrawingReading) -> list[DrawnPoint]:
    return [p for p in (*reading.points.values(), *reading.partial.values()) if p.sources]


def _background(axes: Axes, content: Content) -> None:
    from matplotlib.collections import LineCollection

    lines = [(s.start[:2], s.end[:2]) for s in content.strokes[:MOST_FAINT]]
    axes.add_collection(LineCollection(lines, colors=FAINT, linewidths=0.5, zorder=1))
    marks = np.array([m.xyz[:2] for m in content.marks if m.kind != "end"]).reshape(-1, 2)
    axes.scatter(marks[:, 0], marks[:, 1], s=14, facecolors="none", edgecolors=FAINT, linewidths=0.7, zorder=1)


def _frame(axes: Axes, reading: DrawingReading, view: SheetView) -> None:
    """The box around a view's points, its name, its axes and its datum."""
    from matplotlib.patches import FancyBboxPatch

    places = np.array([s.place for p in _all(reading) for s in p.sources if s.view == view.name])
    low, high = places.min(axis=0), places.max(axis=0)
    pad = 0.08 * float(np.max(high - low))
    width, height = (float(c) for c in high - low + 2 * pad)
    box = FancyBboxPatch(
        low - pad, width, height, boxstyle="round,pad=0", fill=False, edgecolor=FRAME, linewidth=1.2, zorder=2
    )  # fmt: skip
    axes.add_patch(box)
    ways = ", ".join(
        f"{'−' if s < 0 else '+'}{'xyz'[k]} {w}" for (k, s), w in zip(view.axes, ("right", "up"), strict=True)
    )
    title = f"{view.name}: {ways}; {view.mm_per_unit:g} mm per unit"
    axes.annotate(title, (low[0] - pad, high[1] + pad), (0, 4), textcoords="offset points", color=FRAME, weight="bold")
    if view.origin is not None:
        axes.plot(*view.origin, marker="+", markersize=14, markeredgewidth=1.6, color=FRAME, zorder=3)
        axes.annotate("0", view.origin, (-10, -12), textcoords="offset points", color=FRAME)


def _points_on_sheet(axes: Axes, reading: DrawingReading) -> None:
    for points, colour, marker in ((reading.points, GOOD, "o"), (reading.partial, BAD, "X")):
        found: dict[tuple[float, float], list[str]] = {}
        for point in points.values():
            for source in point.sources:
                found.setdefault((round(source.place[0], 6), round(source.place[1], 6)), []).append(point.name)
        if found:
            x, y = np.array(list(found)).T
            axes.scatter(x, y, s=26, color=colour, marker=marker, zorder=4, linewidths=0)
        _write_names(axes, {place: " = ".join(sorted(set(names))) for place, names in found.items()}, colour)


def _write_names(axes: Axes, names: dict[tuple[float, float], str], colour: str) -> None:
    """Keep what is to be written; `_place_names` writes it once the picture's limits are known."""
    kept: list[tuple[tuple[float, float], str, str]] = getattr(axes, "_kin3d_names", [])
    kept += [(place, name, colour) for place, name in names.items()]
    axes._kin3d_names = kept  # type: ignore[attr-defined]


def _place_names(axes: Axes) -> None:
    """Write each name where it covers the fewest points and other names; a thin line leads back if it is far."""
    kept: list[tuple[tuple[float, float], str, str]] = getattr(axes, "_kin3d_names", [])
    if not kept:
        return
    dots = axes.transData.transform(np.array([place for place, _, _ in kept]))
    per_point = axes.figure.dpi / 72.0
    taken: list[tuple[float, float, float, float]] = [(x - 5, y - 5, x + 5, y + 5) for x, y in dots]
    for (place, name, colour), dot in zip(kept, dots, strict=True):
        width, height = 0.62 * FONT * per_point * len(name), 1.25 * FONT * per_point
        ways = [_spot(dot, step * per_point, turn, width, height) for step in STEPS for turn in TURNS]
        cost = [sum(_overlap(box, other) for other in taken) + 0.5 * k for k, (box, _) in enumerate(ways)]
        box, far = ways[int(np.argmin(cost))]
        taken.append(box)
        middle = (np.array(box[:2]) + box[2:]) / 2.0
        axes.annotate(
            name, place, tuple((middle - dot) / per_point), textcoords="offset points", fontsize=FONT, color=colour,
            ha="center", va="center", zorder=5,
            bbox={"facecolor": "white", "edgecolor": "none", "alpha": 0.7, "pad": 0.2},
            arrowprops={"arrowstyle": "-", "color": colour, "linewidth": 0.4} if far else None,
        )  # fmt: skip


def _spot(
    dot: NDArray[np.float64], step: float, turn: float, width: float, height: float
) -> tuple[tuple[float, float, float, float], bool]:
    """Return the box of a text that touches a circle of radius `step` about a dot, and whether that is far."""
    across, up = np.cos(turn), np.sin(turn)
    x = float(dot[0] + step * across + np.sign(round(across, 6)) * width / 2.0)
    y = float(dot[1] + step * up + up * height / 2.0)
    return (x - width / 2.0, y - height / 2.0, x + width / 2.0, y + height / 2.0), step > 3.0 * FONT


def _overlap(a: tuple[float, float, float, float], b: tuple[float, float, float, float]) -> float:
    wide, tall = min(a[2], b[2]) - max(a[0], b[0]), min(a[3], b[3]) - max(a[1], b[1])
    return wide * tall if wide > 0.0 and tall > 0.0 else 0.0


def _arrows(axes: Axes, reading: DrawingReading, width: float) -> str:
    """Draw the residuals from each place to where the fitted point would stand; return what the caption says."""
    scale = {v.name: v.mm_per_unit for v in reading.views}
    tails, steps = [], []
    for point in _all(reading):
        for source in point.sources:
            residual = np.nan_to_num(np.array(source.residual_mm))
            if source.view in scale and len(residual) == 2 and np.abs(residual).max() > LEAST_RESIDUAL_MM:
                tails.append(source.place[:2])
                steps.append(-residual / scale[source.view])
    if not steps:
        return "no residual above 0.001 mm"
    vectors = np.array(steps)
    largest = float(np.linalg.norm(vectors, axis=1).max())
    magnified = _round_down(max(ARROW_SHARE * width / largest, 1.0))
    axes.quiver(
        *np.array(tails).T, *(magnified * vectors).T, angles="xy", scale_units="xy", scale=1.0,
        color=BAD, width=0.0022, zorder=6,
    )  # fmt: skip
    return f"residuals (arrows) magnified {magnified:g} times"


def _round_down(value: float) -> float:
    decade = 10.0 ** np.floor(np.log10(value))
    return float(decade * max(s for s in (1.0, 2.0, 5.0) if s * decade <= value * (1.0 + 1e-12)))


def _heading(axes: Axes, reading: DrawingReading, note: str) -> None:
    refused = f", {len(reading.partial)} refused" if reading.partial else ""
    axes.set_title(f"{reading.source.name}: {len(reading.points)} points read{refused}; {note}", loc="left")


# --- drawings in space --------------------------------------------------------------------------------------------

_SEEN = (
    ("seen from the front", 1, 2, 1.0),
    ("seen from the left", 0, 2, -1.0),
    ("seen from above, nose left", 0, 1, -1.0),
)


def _space(reading: DrawingReading) -> Figure:
    figure = _figure(13.0, 9.5)
    grid = figure.add_gridspec(2, 2)
    cells = (grid[0, 0], grid[0, 1], grid[1, 1])
    for cell, (title, across, up, sign) in zip(cells, _SEEN, strict=True):
        axes = figure.add_subplot(cell)
        _projection(axes, reading, across, up, sign)
        axes.set_title(title, loc="left")
    _legend(figure.add_subplot(grid[1, 0]), reading)
    lay_out(figure)
    for axes in figure.axes:
        _place_names(axes)
    return figure


def _projection(axes: Axes, reading: DrawingReading, across: int, up: int, sign: float) -> None:
    upward = -1.0 if (across, up) == (0, 1) else 1.0
    for points, colour in ((reading.points, GOOD), (reading.partial, BAD)):
        found: dict[tuple[float, float], list[str]] = {}
        for point in points.values():
            xyz: NDArray[np.float64] = point.xyz_mm
            if np.isfinite(xyz[[across, up]]).all():
                found.setdefault((round(float(xyz[across]), 6), round(float(xyz[up]), 6)), []).append(point.name)
        if found:
            x, y = np.array(list(found)).T
            axes.scatter(x, y, s=26, color=colour, zorder=4, linewidths=0)
        _write_names(axes, {k: " = ".join(v) for k, v in found.items()}, colour)
    axes.set_aspect("equal", adjustable="datalim")
    axes.margins(0.16)
    axes.set(xlabel=f"{'xyz'[across]} (mm)", ylabel=f"{'xyz'[up]} (mm)")
    if sign < 0:
        axes.invert_xaxis()
    if upward < 0:
        axes.invert_yaxis()


def _legend(axes: Axes, reading: DrawingReading) -> None:
    axes.set_axis_off()
    rows = _rows([*reading.points.values(), *reading.partial.values()])
    refused = f", {len(reading.partial)} refused" if reading.partial else ""
    axes.set_title(f"{reading.source.name}: {len(reading.points)} points read{refused}", loc="left")
    axes.text(0.0, 0.98, rows, va="top", family="DejaVu Sans Mono", fontsize=7.5, transform=axes.transAxes)


def _rows(points: Sequence[DrawnPoint]) -> str:
    lines = [f"{'point':<18}{'x':>10}{'y':>10}{'z':>10}  mm"]
    for point in points[:40]:
        cells = "".join(f"{c:>10.3f}" if np.isfinite(c) else f"{'–':>10}" for c in point.xyz_mm)
        lines.append(f"{point.name:<18}{cells}")
    return "\n".join(lines)
