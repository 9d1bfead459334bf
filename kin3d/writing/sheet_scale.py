"""A drawing sheet to scale: millimetres of the car on millimetres of paper, with title, scale bar and notes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from kin3d.writing.style import INK, LINES

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

Array = NDArray[np.float64]
PAPER_MM = 380.0  # width of the drawing on paper, at most
SCALES = (1, 2, 2.5, 4, 5, 8, 10, 12.5, 15, 20, 25, 40, 50, 100)
MARGIN_MM = 12.0
HEAD_MM, FOOT_MM = 20.0, 30.0
PALE, MID = "#eceff1", "#8b969e"
LOWER, UPPER, TIE, LINE, CENTRE = LINES[0], LINES[1], LINES[2], LINES[4], LINES[3]


@dataclass(frozen=True, slots=True)
class Sheet:
    """A figure with one axes in which a millimetre of the car has a fixed length on paper."""

    figure: Figure
    axes: Axes
    scale: float
    limits: tuple[float, float, float, float]


def sheet(limits: tuple[float, float, float, float], title: str, subtitle: str) -> Sheet:
    """A sheet for the area (x low, x high, z low, z high) in mm; call inside a style context."""
    import matplotlib.pyplot as plt

    width, height = limits[1] - limits[0], limits[3] - limits[2]
    scale = next((s for s in SCALES if width / s <= PAPER_MM), SCALES[-1])
    paper = (width / scale + 2 * MARGIN_MM, height / scale + HEAD_MM + FOOT_MM)
    figure = plt.figure(figsize=(paper[0] / 25.4, paper[1] / 25.4))
    box = (MARGIN_MM / paper[0], FOOT_MM / paper[1], width / scale / paper[0], height / scale / paper[1])
    axes = figure.add_axes(box)
    axes.set(xlim=limits[:2], ylim=limits[2:], xticks=[], yticks=[])
    axes.grid(False)
    for spine in axes.spines.values():
        spine.set_visible(False)
    figure.text(MARGIN_MM / paper[0], 1 - 8 / paper[1], title, fontsize=13, fontweight="bold", va="center")
    figure.text(MARGIN_MM / paper[0], 1 - 14.5 / paper[1], subtitle, fontsize=9, color="#46535c", va="center")
    made = Sheet(figure, axes, scale, limits)
    _bar(made, paper)
    return made


def _bar(made: Sheet, paper: tuple[float, float]) -> None:
    """Scale in words and as a bar, at the right of the foot."""
    long = next(v for v in (50, 100, 200, 250, 500, 1000, 2000) if v / made.scale >= 25)
    wide = long / made.scale / paper[0]
    x1, y = 1 - MARGIN_MM / paper[0], (FOOT_MM - 8) / paper[1]
    from matplotlib.lines import Line2D

    made.figure.add_artist(Line2D([x1 - wide, x1], [y, y], color=INK, lw=2.2, solid_capstyle="butt"))
    for x in (x1 - wide, x1):
        made.figure.add_artist(Line2D([x, x], [y - 1.2 / paper[1], y + 1.2 / paper[1]], color=INK, lw=0.9))
    made.figure.text(x1 - wide / 2, y + 2.4 / paper[1], f"{long} mm", ha="center", fontsize=8)
    text = f"scale 1:{made.scale:g} on a sheet {paper[0]:.0f} × {paper[1]:.0f} mm"
    made.figure.text(x1, y - 5.5 / paper[1], text, ha="right", fontsize=7.5, color="#46535c")


def notes(made: Sheet, columns: Sequence[Sequence[str]]) -> None:
    """Lines of text in columns at the foot of the sheet."""
    size = made.figure.get_size_inches() * 25.4
    step = (size[0] - 2 * MARGIN_MM - 75.0) / max(1, len(columns))
    for k, lines in enumerate(columns):
        x = (MARGIN_MM + k * step) / size[0]
        made.figure.text(x, (FOOT_MM - 4) / size[1], "\n".join(lines), va="top", fontsize=8, linespacing=1.45)


def ground_of_text() -> dict[str, Any]:
    """A pale ground behind words over lines; a drawn edge about the letters would turn them into outlines."""
    return {"boxstyle": "round,pad=0.05,rounding_size=0.1", "fc": "white", "ec": "none", "alpha": 0.55}


def label(made: Sheet, at: Sequence[float] | Array, text: str, offset: tuple[float, float], **style: Any) -> None:
    """Text beside a point, offset in mm of paper."""
    points = (72.0 / 25.4 * offset[0], 72.0 / 25.4 * offset[1])
    usual: dict[str, Any] = {"fontsize": 8, "ha": "left", "va": "center", "zorder": 30}
    usual["bbox"] = ground_of_text()
    made.axes.annotate(text, (at[0], at[1]), points, textcoords="offset points", **(usual | style))


def dimension(made: Sheet, x: float, low: float, high: float, text: str, colour: str) -> None:
    """A vertical dimension with arrows; its text stands under the ground."""
    if abs(high - low) / made.scale > 4.0:
        style = {"arrowstyle": "<|-|>", "color": colour, "lw": 0.9, "shrinkA": 0, "shrinkB": 0, "mutation_scale": 8}
        made.axes.annotate("", (x, low), (x, high), arrowprops=style, zorder=20)
    else:  # too small for arrows inside: they stand outside
        for tip, tail in ((high, high + 7 * made.scale), (low, low - 3.2 * made.scale)):
            style = {"arrowstyle": "-|>", "color": colour, "lw": 0.9, "shrinkA": 0, "shrinkB": 0, "mutation_scale": 8}
            made.axes.annotate("", (x, tip), (x, tail), arrowprops=style, zorder=20)
    # the text stands under the ground, where nothing else is
    label(made, (x, 0.0), text, (0.0, -5.2), color=colour, ha="center", fontweight="bold")


def ground(made: Sheet) -> None:
    """The ground line with hatching under it."""
    low, high = made.limits[:2]
    made.axes.plot([low, high], [0, 0], color=INK, lw=1.4, zorder=5)
    step = 4.5 * made.scale
    for x in np.arange(low + step, high, step):
        made.axes.plot([x, x - 2.2 * made.scale], [0, -2.2 * made.scale], color=MID, lw=0.6, zorder=4)


def mass_centre(made: Sheet, at: Array, text: str, side: int = 1) -> None:
    """The quartered circle of a mass centre, with its height on one side (1: right, −1: left)."""
    from matplotlib.patches import Circle, Wedge

    size = 2.1 * made.scale
    made.axes.add_patch(Circle((at[0], at[1]), size, fc="white", ec=INK, lw=0.9, zorder=17))
    for start in (0, 180):
        made.axes.add_patch(Wedge((at[0], at[1]), size, start, start + 90, fc=INK, ec=INK, lw=0.4, zorder=18))
    words = f"{text}\n{at[1]:.0f} mm over the ground"
    label(made, at, words, (3.2 * side, 3.6), ha="left" if side > 0 else "right", fontsize=7)


def inside(made: Sheet, p: Array) -> bool:
    """Whether a point is on the sheet."""
    x0, x1, z0, z1 = made.limits
    return bool(np.isfinite(p).all() and x0 <= p[0] <= x1 and z0 <= p[1] <= z1)


def toward(made: Sheet, start: Array, end: Array) -> Array:
    """Where a line from `start` towards `end` ends: there, or at the edge of the sheet."""
    if inside(made, end):
        return end
    way = end - start
    if not np.isfinite(way).all():
        way = np.array([1e9 * np.sign(way[0] if np.isfinite(way[0]) or np.isinf(way[0]) else 1.0), 0.0])
    x0, x1, z0, z1 = made.limits
    shares = [1.0]
    for k, (low, high) in enumerate(((x0, x1), (z0, z1))):
        if way[k]:
            shares += [s for s in ((low - start[k]) / way[k], (high - start[k]) / way[k]) if s > 0.0]
    return np.asarray(start + min(shares) * way)
