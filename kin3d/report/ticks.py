"""Ticks, grid and figures of a panel as few lines and words: quick where there are many panels of one size.

The plotting library makes, measures and draws four things for every tick, which is most of what a curve costs. The
ticks stand where it sets them, and look as it draws them.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.axis import Axis

LONG, GAP, WIDE = 3.5, 3.5, 0.8  # length of a tick, from it to its figure, and its width, points
LABEL_GAP = 4.0  # from the figures to the axis's title, points


def draw_ticks(ax: Axes) -> None:
    """Draw both axes of a panel without a title upright, in place of their own; all that is drawn stands already."""
    both: tuple[Axis, Axis] = (ax.xaxis, ax.yaxis)
    told = [t for t in map(_told, both) if t is not None]
    by_hand = len(told) == len(both)  # a common factor or offset of the figures needs the axis's own words
    for axis in both:
        axis.set_visible(not by_hand)
    if by_hand:
        for axis, (places, words) in zip(both, told, strict=True):
            _draw(ax, axis, places, words)


def _told(axis: Axis) -> tuple[list[float], list[str]] | None:
    """Places of the ticks in view with their figures; None with an offset that they have in common."""
    low, high = sorted(axis.get_view_interval())
    reach = 1e-6 * (high - low)
    every = [float(v) for v in axis.get_majorticklocs()]
    formatter = axis.get_major_formatter()
    words = formatter.format_ticks(every)
    seen = [k for k, v in enumerate(every) if low - reach <= v <= high + reach]
    return None if formatter.get_offset() else ([every[k] for k in seen], [words[k] for k in seen])


def _draw(ax: Axes, axis: Axis, places: list[float], words: list[str]) -> None:
    import matplotlib as mpl
    from matplotlib.lines import Line2D
    from matplotlib.text import Text

    x = axis is ax.xaxis
    ticks = axis.get_tick_params()
    long, size = ticks.get("length", LONG), ticks.get("labelsize", mpl.rcParams["font.size"])
    order = 0.5 if ax.get_axisbelow() is True else 1.5  # under areas, or between areas and lines
    colour = mpl.rcParams["xtick.color"]
    onto = ax.get_xaxis_transform() if x else ax.get_yaxis_transform()

    def line(at: list[float], across: list[float], **given: Any) -> None:
        drawn = Line2D(*((at, across) if x else (across, at)), transform=onto, zorder=order, clip_on=False, **given)
        ax.add_artist(drawn)

    if ticks.get("gridOn"):
        at = [v for p in places for v in (p, p, np.nan)]
        line(at, [0.0, 1.0, np.nan] * len(places), color=mpl.rcParams["grid.color"], lw=mpl.rcParams["grid.linewidth"])
    if long:
        sign = 3 if x else 0  # the library's marks of a tick down and to the left
        line(places, [0.0] * len(places), ls="none", marker=sign, ms=long, mew=WIDE, color=colour)
    beside, level, align = (ax.get_xaxis_text1_transform if x else ax.get_yaxis_text1_transform)(long + GAP)
    look = {"color": colour, "zorder": order, "clip_on": False}
    for place, said in zip(places, words, strict=True):
        spot = (place, 0.0) if x else (0.0, place)
        ax.add_artist(Text(*spot, said, transform=beside, va=level, ha=align, fontsize=size, **look))
    if x and axis.get_label_text():
        below, *_ = ax.get_xaxis_text1_transform(LONG + GAP + size + LABEL_GAP)
        middle = sum(ax.get_xlim()) / 2.0
        ax.add_artist(Text(middle, 0.0, axis.get_label_text(), transform=below, va="top", ha="center", **look))
