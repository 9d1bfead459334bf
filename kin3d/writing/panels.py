"""Curves in panels, a panel a figure: lines with or without bands, drawn to be read without a legend hunt."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from textwrap import fill, wrap
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from kin3d.writing.files import PICTURES, check_place
from kin3d.writing.lettering import LINE_STEP, line_width, wrapped
from kin3d.writing.numbers import together
from kin3d.writing.style import CARS, INK, SOFT, are_narrow, figure_style, lay_out, save_figure

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

Array = NDArray[np.float64]
DASHES: tuple[object, ...] = ("-", (0, (6, 2)), (0, (2, 1.5)), (0, (8, 2, 2, 2)))
LEAST_SPAN = 0.05  # least height of a panel, as a share of the values in it
LONG_SIGN = 54  # letters of what positive means that go on a line over its panel
SIGN_LINE = 0.055  # height of such a line over that of the panel
ROW_GAP = 0.09  # inches about a panel: its title is nearer to it than to the panel above
LEGEND_ENTRY = 1.25  # inches that one line of the common legend takes at least
KEY_POINTS = 8  # size of the words of the common legend
KEY_MARK_MM = 14.0  # what a line's sample, and the room before the next column, take
KEY_EDGE_MM = 6.0
KEY_LINES = 3  # lines of a legend that a picture has room for
TITLE_LETTERS = 8.0  # of a title that go on an inch
BAND_ALPHA = (0.24, 0.16)  # the narrow band, the wide one


@dataclass(frozen=True, slots=True)
class Trace:
    """One line of a panel.

    Attributes
    ----------
    x, y : ndarray, shape (places,)
    label : str
        What the line is, for a legend; empty: it needs none.
    colour : str
    dash : int
        Number in the round of dashes.
    bands : tuple of (low, high)
        Ends of bands about the line, the narrow one first, each of shape (places,).
    """

    x: Array
    y: Array
    label: str = ""
    colour: str = CARS[0]
    dash: int = 0
    bands: tuple[tuple[Array, Array], ...] = ()


@dataclass(frozen=True, slots=True)
class Panel:
    """One figure over a drive.

    Attributes
    ----------
    title, unit, sign : str
        What is drawn, its unit (``"1"`` for none), and what positive means.
    x_title : str
        What it is drawn over, with its unit.
    traces : tuple of Trace
    legend : bool
        Whether the labels stand in the panel itself.
    """

    title: str
    unit: str
    sign: str
    x_title: str
    traces: tuple[Trace, ...]
    legend: bool = False


def draw_panels(title: str, panels: Sequence[Panel], path: Path, bands: Sequence[str] = ()) -> None:
    """Draw panels beside and below each other and save the picture.

    Parameters
    ----------
    path : pathlib.Path
        ``.png``, ``.svg`` or ``.pdf``.
    bands : sequence of str
        Names of the bands, the narrow one first. Where there are any, or lines of several labels without a legend in
        the panels, one legend for all stands below them.
    """
    draws = [lambda ax, one=p: draw_panel(ax, one) for p in panels]
    common = [] if any(p.legend for p in panels) else _one_of_each(panels)

    def key(figure: Figure) -> None:
        draw_legend(figure, common, bands)

    draw_grid(title, draws, path, legend=key if common or bands else None)


def draw_grid(
    title: str,
    draws: Sequence[Callable[[Axes], None]],
    path: Path,
    width: float = 4.1,
    legend: Callable[[Figure], None] | None = None,
) -> None:
    """Draw what each function draws in a panel of its own, three in a row or two of four, under one title, and save it.

    Narrow pictures have one in a row.

    Parameters
    ----------
    width : float
        Of a panel, inches.
    legend : callable, optional
        Adds a legend for all to the figure.
    """
    check_place(path, PICTURES, "plot")
    import matplotlib.pyplot as plt
    from matplotlib.layout_engine import ConstrainedLayoutEngine

    columns = 1 if are_narrow() else 2 if len(draws) == 4 else min(3, max(1, len(draws)))
    lines = -(-len(draws) // columns) or 1
    with plt.rc_context(figure_style()):
        size = (max(width if columns == 1 else 6.4, width * columns), 2.9 * lines + (1.1 if legend else 0.7))
        spaced = ConstrainedLayoutEngine(h_pad=ROW_GAP)
        figure, axes = plt.subplots(lines, columns, figsize=size, squeeze=False, layout=spaced)
        for ax, draw in zip(axes.flat, draws, strict=False):
            draw(ax)
        for ax in axes.flat[len(draws) :]:
            ax.set_visible(False)
        set_title(figure, title)
        if legend:
            legend(figure)
        for _ in range(2):  # panels of another size may have other ticks, whose figures are as wide as they are
            lay_out(figure)
        figure.set_layout_engine("none")  # every place is found: not once more where the figure is saved
        for ax in axes.flat[: len(draws)]:
            _shrink_title(ax)
        save_figure(figure, path)


def _shrink_title(ax: Axes) -> None:
    """Set a panel's title smaller where it is longer than the panel is wide."""
    for words in (ax.title, ax._left_title):  # type: ignore[attr-defined]
        wide, room = words.get_window_extent().width, ax.get_window_extent().width
        if wide > room:
            words.set_fontsize(float(words.get_fontsize()) * room / wide)


def set_title(figure: Figure, title: str) -> None:
    """Set the title of all panels, in as many lines as the width takes."""
    lines = fill(together(title), int(TITLE_LETTERS * figure.get_figwidth()))
    figure.suptitle(lines, x=0.01, ha="left", fontsize=13, fontweight="bold")


def draw_panel(ax: Axes, panel: Panel) -> None:
    """Draw the lines of one panel with their bands."""
    for c in panel.traces:
        for ends, alpha in zip(c.bands[::-1], BAND_ALPHA[: len(c.bands)][::-1], strict=True):
            if len(c.x) > 1:
                ax.fill_between(c.x, *ends, color=c.colour, alpha=alpha, lw=0)
            else:  # one position is a mark with its bands as bars
                ax.vlines(c.x, *ends, color=c.colour, alpha=alpha, lw=9.0)
        sign = "o" if len(c.x) == 1 else None
        ax.plot(c.x, c.y, color=c.colour, lw=1.8, ls=DASHES[c.dash % len(DASHES)], marker=sign, label=c.label or None)
    ax.axvline(0.0, color=INK, lw=0.6, alpha=0.35, zorder=0)
    unit = "" if panel.unit == "1" else f" ({panel.unit})"
    says = wrap(together(panel.sign), LONG_SIGN)
    ax.set_title(f"{panel.title}{unit}", loc="left", y=1.09 + SIGN_LINE * max(0, len(says) - 1))
    small = 7.5 if len(says) < 2 else 6.5
    ax.annotate("\n".join(says), (0.0, 1.03), xycoords="axes fraction", fontsize=small, color=SOFT)
    ax.set_xlabel(panel.x_title)
    if any(len(c.x) > 1 for c in panel.traces):
        ax.margins(x=0.0)
    else:  # one position, perhaps that of the line at 0: a width of none would be drawn as 1e-17
        places = [0.0, *(float(x) for c in panel.traces for x in c.x)]
        room = 0.12 * (max(places) - min(places)) or 1.0
        ax.set_xlim(min(places) - room, max(places) + room)
    low, high = ax.get_ylim()
    least = LEAST_SPAN * abs(low + high) / 2 or 1.0  # what hardly changes must not look like a steep curve
    if high - low < least:
        ax.set_ylim((low + high - least) / 2, (low + high + least) / 2)
    if panel.legend and sum(bool(c.label) for c in panel.traces) > 1:
        ax.legend(fontsize=7, frameon=False)


def draw_legend(figure: Figure, traces: Sequence[Trace], bands: Sequence[str] = ()) -> None:
    """Say which line is which and what the bands are, once for all panels, below them."""
    from matplotlib.lines import Line2D
    from matplotlib.patches import Patch

    wide = int(figure.get_figwidth() / LEGEND_ENTRY)
    handles: list[Any] = [
        Line2D([], [], color=c.colour, ls=DASHES[c.dash % len(DASHES)], lw=1.8, label=c.label) for c in traces
    ]
    colour = traces[0].colour if len(traces) == 1 else SOFT
    # the narrow band lies upon the wide one
    alphas = (sum(BAND_ALPHA), BAND_ALPHA[1])
    handles += [Patch(color=colour, alpha=a, lw=0, label=name) for a, name in zip(alphas, bands, strict=False)]
    key_below(figure, handles, 2 if are_narrow() else max(2, wide))


def key_below(figure: Figure, handles: Sequence[Any], most: int) -> None:
    """Set one legend below all panels, in as many columns, `most` at the most, as its words leave room for.

    Words that are longer than the picture is wide go on in the next line.
    """
    room = 25.4 * figure.get_figwidth() - KEY_EDGE_MM
    for handle in handles:
        handle.set_label("\n".join(wrapped(handle.get_label(), room - KEY_MARK_MM, KEY_POINTS)))
    lines = [handle.get_label().split("\n") for handle in handles]
    wide = [KEY_MARK_MM + max(line_width(x, KEY_POINTS) for x in words) for words in lines]
    columns = min(len(handles), most)
    while columns > 1 and sum(max(part) for part in _columns(wide, columns)) > room:
        columns -= 1
    height = max(sum(map(len, part)) for part in _columns(lines, columns))
    figure.set_figheight(figure.get_figheight() + max(0, height - KEY_LINES) * LINE_STEP * KEY_POINTS / 72.0)
    figure.legend(handles=handles, loc="outside lower left", ncols=columns, frameon=False, fontsize=KEY_POINTS)


def _columns(items: Sequence[Any], columns: int) -> list[Sequence[Any]]:
    """Items as a legend sets them: column by column, the first ones one longer where they do not come out even."""
    each, more = divmod(len(items), columns)
    ends = np.cumsum([0, *(each + (k < more) for k in range(columns))])
    return [items[a:b] for a, b in itertools.pairwise(ends)]


def _one_of_each(panels: Sequence[Panel]) -> list[Trace]:
    """A line of every label."""
    every = {c.label: c for p in panels for c in p.traces if c.label}
    return list(every.values())
