"""Renders a drawing as a picture: to scale on a sheet of paper with title, scale bar and notes; SVG, PDF or PNG."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from kin3d.writing.drawing import DASH_LENGTHS, Dash, Drawing, Frame, Polyline, Words
from kin3d.writing.drawing_parts import parts
from kin3d.writing.files import PICTURES, check_place
from kin3d.writing.lettering import LINE_STEP, type_size, wrapped
from kin3d.writing.style import COLOURS, INK, PAPER, SOFT, figure_style, save_figure

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

Array = NDArray[np.float64]
PAPER_MM = 380.0  # width of the drawing on paper, at most
SCALES = (1, 2, 2.5, 4, 5, 8, 10, 12.5, 15, 20, 25, 40, 50, 100)
MARGIN_MM, HEAD_MM, FOOT_MM = 12.0, 20.0, 30.0
TITLE, SUBTITLE, NOTE = 13.0, 9.0, 8.0  # sizes of the head and of the notes at the foot, points
TITLE_STEP, SUBTITLE_STEP = 6.5, 4.6  # from one line of them to the next, mm
_ABOVE = 30.0  # words stand over lines
_LEVELS = {"bottom": "bottom", "middle": "center", "top": "top"}


def paper_scale(frame: Frame) -> float:
    """The scale, of the usual ones, at which a frame goes on the sheet."""
    width = float(frame.high[0] - frame.low[0])
    return next((s for s in SCALES if width / s <= PAPER_MM), SCALES[-1])


def write_picture(
    drawing: Drawing,
    frame: Frame,
    path: Path,
    title: str,
    subtitle: str = "",
    notes: Sequence[Sequence[str]] = (),
    option: str = "plot",
) -> None:
    """Draw on a sheet to the drawing's scale.

    Parameters
    ----------
    frame : Frame
        What is shown, in the drawing's coordinates; the drawing is in a plane.
    path : pathlib.Path
        ``.svg``, ``.pdf`` (text stays text) or ``.png``.
    notes : sequence of sequence of str
        Columns of lines at the foot of the sheet.

    Raises
    ------
    RequestError
        For another ending or a place that cannot be written to.
    """
    check_place(path, PICTURES, option)
    import matplotlib.pyplot as plt

    with plt.rc_context(figure_style()):
        figure, axes = sheet(frame, drawing.scale, title, subtitle)
        render(axes, drawing)
        _notes(figure, notes)
        save_figure(figure, path)


def sheet(frame: Frame, scale: float, title: str, subtitle: str) -> tuple[Figure, Axes]:
    """A figure with one axes in which a millimetre of the frame has a fixed length on paper; use it in a style."""
    import matplotlib.pyplot as plt

    width, height = (frame.high - frame.low) / scale
    titles, subtitles = wrapped(title, width, TITLE, bold=True), wrapped(subtitle, width, SUBTITLE)
    more = TITLE_STEP * (len(titles) - 1)
    head = HEAD_MM + more + SUBTITLE_STEP * (len(subtitles) - 1)
    paper = (width + 2 * MARGIN_MM, height + head + FOOT_MM)
    figure = plt.figure(figsize=(paper[0] / 25.4, paper[1] / 25.4))
    axes = figure.add_axes((MARGIN_MM / paper[0], FOOT_MM / paper[1], width / paper[0], height / paper[1]))
    axes.set(xlim=(frame.low[0], frame.high[0]), ylim=(frame.low[1], frame.high[1]))
    axes.set_axis_off()
    left = MARGIN_MM / paper[0]
    for k, line in enumerate(titles):
        figure.text(left, 1 - (8 + TITLE_STEP * k) / paper[1], line, fontsize=TITLE, fontweight="bold", va="center")
    for k, line in enumerate(subtitles):
        y = 1 - (14.5 + more + SUBTITLE_STEP * k) / paper[1]
        figure.text(left, y, line, fontsize=SUBTITLE, color=SOFT, va="center")
    _bar(figure, scale, paper)
    return figure, axes


def _bar(figure: Figure, scale: float, paper: tuple[float, float]) -> None:
    """Scale in words and as a bar, at the right of the foot."""
    from matplotlib.lines import Line2D

    long = next((v for v in (50, 100, 200, 250, 500, 1000, 2000) if v / scale >= 25), 5000)
    wide = long / scale / paper[0]
    x1, y, tick = 1 - MARGIN_MM / paper[0], (FOOT_MM - 8) / paper[1], 1.2 / paper[1]
    figure.add_artist(Line2D([x1 - wide, x1], [y, y], color=INK, lw=2.2, solid_capstyle="butt"))
    for x in (x1 - wide, x1):
        figure.add_artist(Line2D([x, x], [y - tick, y + tick], color=INK, lw=0.9))
    figure.text(x1 - wide / 2, y + 2.4 / paper[1], f"{long} mm", ha="center", fontsize=8)
    text = f"scale 1:{scale:g} on a sheet {paper[0]:.0f} × {paper[1]:.0f} mm"
    figure.text(x1, y - 5.5 / paper[1], text, ha="right", fontsize=7.5, color=SOFT)


def _notes(figure: Figure, columns: Sequence[Sequence[str]]) -> None:
    size = figure.get_size_inches() * 25.4
    step = (size[0] - 2 * MARGIN_MM - 75.0) / max(1, len(columns))
    for k, lines in enumerate(columns):
        x = (MARGIN_MM + k * step) / size[0]
        fitted = [part for line in lines for part in wrapped(line, step - 4.0, NOTE)]
        figure.text(x, (FOOT_MM - 4) / size[1], "\n".join(fitted), va="top", fontsize=NOTE, linespacing=1.45)


def render(axes: Axes, drawing: Drawing) -> None:
    """Draw everything on axes whose limits are set, in the order of the drawing; words over lines."""
    for order, item in parts(drawing):
        if isinstance(item, Polyline):
            _path(axes, drawing, item, 1.0 + order * 1e-3)
        else:
            _words(axes, drawing, item)


def _path(axes: Axes, drawing: Drawing, item: Polyline, rank: float) -> None:
    from matplotlib.lines import Line2D
    from matplotlib.patches import Polygon

    layer = drawing.layers[item.layer]
    width = layer.width if item.width is None else item.width
    colour = COLOURS[item.colour or layer.colour][0]
    places = item.places[:, :2]
    # artists are made here: the ways of the axes look at limits and cycles at every stroke
    if item.fill is not None:
        axes.add_patch(Polygon(places, color=COLOURS[item.fill][0], alpha=item.tint, lw=0, zorder=rank))
    if not width:
        return
    if item.arrows:
        head = "<|-|>" if item.arrows == "both" else "-|>"
        style: dict[str, Any] = {"arrowstyle": head, "color": colour, "lw": width, "mutation_scale": 8}
        style |= {"shrinkA": 0, "shrinkB": 0, "ls": _strokes(item.dash or layer.dash)}
        axes.annotate("", places[-1], places[0], arrowprops=style, zorder=rank)
        return
    ring = np.concatenate([places, places[:1]]) if item.closed else places
    line = Line2D(
        *ring.T, color=colour, lw=width, ls=_strokes(item.dash or layer.dash), zorder=rank + 5e-4,
        solid_capstyle="round", solid_joinstyle="round", dash_capstyle="butt",
    )  # fmt: skip
    axes.add_line(line)


def _strokes(dash: Dash) -> Any:
    """A kind of dashes as the plotting library takes it."""
    return (0, DASH_LENGTHS[dash]) if DASH_LENGTHS[dash] else "-"


def _words(axes: Axes, drawing: Drawing, item: Words) -> None:
    """Words on a pale ground; a drawn edge about the letters would turn them into outlines."""
    colour = COLOURS[item.colour or drawing.layers[item.layer].colour][0]
    ground = {"boxstyle": "round,pad=0.05,rounding_size=0.1", "fc": PAPER, "ec": "none", "alpha": 0.55}
    axes.text(
        float(item.at[0]), float(item.at[1]), "\n".join(item.lines), color=colour,
        fontsize=type_size(item.size),
        ha=item.align, va=_LEVELS[item.level], rotation=item.turn_deg, rotation_mode="anchor",
        fontweight="bold" if item.bold else "normal", zorder=_ABOVE, linespacing=LINE_STEP,
        bbox=ground if item.ground else None,
    )  # fmt: skip
