"""Beside the film of a car that becomes another one: the figure that counts along, and what each step did to it."""

from __future__ import annotations

from textwrap import wrap
from typing import Any

import numpy as np

from kin3d.writing.numbers import number, signed
from kin3d.writing.style import GRID, INK, LOWERS, RAISES, SOFT
from kin3d_viewer.becoming import Becoming
from kin3d_viewer.images import Image, inches
from kin3d_viewer.style import CARS, PAPER

DPI = 100
SAME = 0.01  # of the range: a step that differs by less from its part is not told twice
NOTE = (
    "One group of points after the other, the largest part of the difference first. In brackets the part by "
    "kin3d compare, which favours no order, where it reads otherwise."
)


class Counting:
    """A waterfall from the first car's figure to the other's, filled as the car changes.

    Parameters
    ----------
    becoming : Becoming
    size : (int, int)
        Width and height, px.
    """

    def __init__(self, becoming: Becoming, size: tuple[int, int]) -> None:
        from matplotlib.backends.backend_agg import FigureCanvasAgg
        from matplotlib.figure import Figure

        self.becoming = becoming
        self.figure = Figure(figsize=inches(size, DPI), dpi=DPI, facecolor=PAPER)
        self.canvas = FigureCanvasAgg(self.figure)
        self.levels = [becoming.ends[0], *(becoming.go(k, 1.0) for k in range(len(becoming.steps)))]
        becoming.restart()
        self._bars: list[Any] = []
        self._values: list[Any] = []
        self._prepare(size)

    def _prepare(self, size: tuple[int, int]) -> None:
        """Everything that stays, and the parts that move."""
        room = max(18, round(size[0] / 9.2))
        cars = self.becoming.cars()
        lines = wrap(f"{cars[0][1]} becomes {cars[1][1]}", room)
        self.figure.text(0.05, 0.975, "\n".join(lines), va="top", fontsize=10.5, fontweight="bold", color=INK)
        measure = self.becoming.measure
        self._figure = self.figure.text(0.05, 0.845, "", va="top", fontsize=19, fontweight="bold", color=INK)
        label = "\n".join(wrap(f"{measure.label}, {measure.unit}", round(1.45 * room)))
        self.figure.text(0.05, 0.765, label, va="top", fontsize=8.5, color=SOFT)
        note = NOTE + (f" Without rod, rocker, spring and bar: {self.becoming.reason}." if self.becoming.reason else "")
        text = "\n".join(wrap(note, round(1.72 * room)))
        self.figure.text(0.05, 0.015, text, va="bottom", fontsize=7, color=SOFT)
        axes = self.figure.add_axes((0.05, 0.06 + 0.023 * (text.count("\n") + 1), 0.9, 0.0))
        bottom = axes.get_position().y0
        axes.set_position((0.05, bottom, 0.9, 0.71 - bottom))
        self._rows(axes)

    def _rows(self, axes: Any) -> None:
        steps, levels, unit = self.becoming.steps, self.levels, self.becoming.measure.unit
        last = len(steps) + 1
        low, high = min(levels), max(levels)
        room = 0.12 * (high - low or 1.0)
        axes.set_xlim(low - room, high + room)
        axes.set_ylim(last + 0.6, -0.6)
        axes.axis("off")
        for row, (level, car) in enumerate(zip((levels[0], self.becoming.ends[1]), ("A", "B"), strict=True)):
            axes.axvline(level, color=CARS[car], linewidth=1.0, linestyle="-" if car == "A" else (0, (4, 2)))
            axes.plot([level], [row * last], "s" if car == "A" else "D", color=CARS[car], markersize=6)
            title = f"{self.becoming.cars()[row][1]}  {number(level, unit)}"
            self._words(axes, row * last, title, CARS[car])
        for row, step in enumerate(steps, 1):
            axes.plot(levels[row - 1 : row + 1], [row, row], color=GRID, linewidth=6.0, solid_capstyle="butt")
            change = levels[row] - levels[row - 1]
            colour = RAISES if change > 0.0 else LOWERS
            (bar,) = axes.plot([], [], color=colour, linewidth=6.0, solid_capstyle="butt")
            self._bars.append(bar)
            part = "" if abs(change - step.part) < SAME * (high - low) else f"  ({signed(step.part, unit)})"
            self._values.append(
                (self._words(axes, row, step.group, SOFT), f"{step.group}  {signed(change, unit)}{part}")
            )
        (self._mark,) = axes.plot([], [], color=INK, linewidth=1.4)

    @staticmethod
    def _words(axes: Any, row: int, text: str, colour: str) -> Any:
        place = axes.get_yaxis_transform()
        look = {"boxstyle": "square,pad=0.1", "facecolor": PAPER, "edgecolor": "none"}
        return axes.text(0.0, row - 0.28, text, transform=place, va="bottom", fontsize=8, color=colour, bbox=look)

    def image(self) -> Image:
        """As it is now, shape (height, width, 3)."""
        value, step = self.becoming.value, self.becoming.step
        self._figure.set_text(f"{number(value, self.becoming.measure.unit)} {self.becoming.measure.unit}")
        for row, bar in enumerate(self._bars, 1):
            start, end = self.levels[row - 1], self.levels[row]
            reached = end if row - 1 < step else value if row - 1 == step else start
            bar.set_data([start, reached], [row, row])
            words, told = self._values[row - 1]
            if row - 1 <= step:
                words.set_text(told)
                words.set_color(INK)
        self._mark.set_data([value, value], [step + 0.65, step + 1.35])
        self.canvas.draw()
        return np.asarray(self.canvas.buffer_rgba())[:, :, :3].copy()
