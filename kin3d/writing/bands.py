"""Curves with bands of 68 and 95 %: one car with its uncertainty, or several cars over each other."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from kin3d.measures.table import Measure
from kin3d.studies.sample_statistics import LEVELS
from kin3d.studies.tolerance import Tolerance
from kin3d.writing.curves import LEAST_SPAN, PICTURES, USUAL
from kin3d.writing.style import INK, LINES, figure_style, save_figure
from kin3d.writing.table import check_ending

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

Array = NDArray[np.float64]
DASHES: tuple[object, ...] = ("-", (0, (6, 2)), (0, (2, 1.5)), (0, (8, 2, 2, 2)))
FAINT = "#5b6670"


@dataclass(frozen=True, slots=True)
class Banded:
    """A curve of one car: its name, the study it is taken from."""

    label: str
    study: Tolerance


def draw_bands(result: Tolerance, path: Path, chosen: bool = False) -> None:
    """Draw measures of one car over travel with bands (all measures if they were chosen, else the usual ones).

    Parameters
    ----------
    path : pathlib.Path
        ``.png``, ``.svg`` or ``.pdf``.
    """
    check_ending(path, PICTURES, "--plot")
    shown = [m for m in result.measures if chosen or m.name in USUAL]
    title = f"{result.title}, {result.axle} axle, {result.side} side"
    draw_panels(title, [Banded(result.title, result)], shown, path)


def draw_panels(title: str, cars: Sequence[Banded], measures: Sequence[Measure], path: Path) -> None:
    """Draw a panel a measure, all cars in each, and save the picture."""
    import matplotlib.pyplot as plt

    columns = min(3, max(1, len(measures)))
    lines = -(-len(measures) // columns) or 1
    with plt.rc_context(figure_style()):
        size = (max(6.4, 4.1 * columns), 2.9 * lines + 1.1)
        figure, axes = plt.subplots(lines, columns, figsize=size, squeeze=False, layout="constrained")
        for ax, measure in zip(axes.flat, measures, strict=False):
            band_panel(ax, cars, measure)
        for ax in axes.flat[len(measures) :]:
            ax.set_visible(False)
        figure.suptitle(title, x=0.01, ha="left", fontsize=13, fontweight="bold")
        legend(figure, cars)
        save_figure(figure, path)


def band_panel(ax: Axes, cars: Sequence[Banded], measure: Measure) -> None:
    """Draw one measure of every car over travel: line, 68 and 95 % bands."""
    for k, car in enumerate(cars):
        if measure.name in [m.name for m in car.study.measures]:
            _curve(ax, car.study, measure, k)
    ax.axvline(0.0, color=INK, lw=0.6, alpha=0.35, zorder=0)
    unit = "" if measure.unit == "1" else f" ({measure.unit})"
    ax.set_title(f"{measure.label}{unit}", loc="left", y=1.09)
    ax.annotate(measure.sign, (0.0, 1.03), xycoords="axes fraction", fontsize=7.5, color=FAINT)
    ax.set_xlabel("wheel travel (mm)")
    ax.margins(x=0.0)
    low, high = ax.get_ylim()
    least = LEAST_SPAN * abs(low + high) / 2 or 1.0  # what hardly changes must not look like a steep curve
    if high - low < least:
        ax.set_ylim((low + high - least) / 2, (low + high + least) / 2)


def _curve(ax: Axes, study: Tolerance, measure: Measure, k: int) -> None:
    row, colour = study.row(measure.name), LINES[k % len(LINES)]
    travel = study.travel_mm
    if study.uncertainty.known:
        for level, alpha in zip(LEVELS[::-1], (0.16, 0.24), strict=True):
            low, high = (end[row] for end in study.band(level))
            ax.fill_between(travel, low, high, color=colour, alpha=alpha, lw=0)
    ax.plot(travel, study.first.value[row], color=colour, lw=1.8, ls=DASHES[k % len(DASHES)])


def legend(figure: Figure, cars: Sequence[Banded]) -> None:
    """Say which line is which car and what the bands are, once for all panels, below them."""
    from matplotlib.lines import Line2D
    from matplotlib.patches import Patch

    handles: list[object] = [
        Line2D([], [], color=LINES[k % len(LINES)], ls=DASHES[k % len(DASHES)], lw=1.8, label=car.label)
        for k, car in enumerate(cars)
    ]
    if any(car.study.uncertainty.known for car in cars):
        colour = LINES[0] if len(cars) == 1 else FAINT
        handles += [
            Patch(color=colour, alpha=0.40, lw=0, label="68 % band"),
            Patch(color=colour, alpha=0.16, lw=0, label="95 % band"),
        ]
    figure.legend(handles=handles, loc="outside lower left", ncols=len(handles), frameon=False, fontsize=8)
