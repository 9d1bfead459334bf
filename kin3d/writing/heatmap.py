"""Sensitivities as a picture: a row a coordinate, a column a measure; colour compares within a column, figures tell."""

from __future__ import annotations

from pathlib import Path
from textwrap import wrap
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from kin3d.measures.table import Measure
from kin3d.studies.corner_model import AXES
from kin3d.studies.first_order import NOTHING
from kin3d.studies.sensitivity import Sensitivity
from kin3d.writing.curves import PICTURES, USUAL
from kin3d.writing.style import GRID, INK, LINES, figure_style, save_figure
from kin3d.writing.table import check_ending

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.colors import Colormap
    from matplotlib.figure import Figure

Array = NDArray[np.float64]
LOUD = 0.6  # part of a column's greatest from which on the figure is written in white
_RAISED = str.maketrans("-0123456789", "⁻⁰¹²³⁴⁵⁶⁷⁸⁹")
FAINT = 0.02  # part under which no figure is written: it would be read as something


def draw_heatmap(result: Sensitivity, path: Path, chosen: bool = False) -> None:
    """Draw the sensitivities of measures (all if they were chosen, else the usual ones) and of their gradients.

    Parameters
    ----------
    path : pathlib.Path
        ``.png``, ``.svg`` or ``.pdf``.
    """
    check_ending(path, PICTURES, "--plot")
    import matplotlib.pyplot as plt

    with plt.rc_context(figure_style()):
        save_figure(heat_figure(result, chosen), path)


def heat_figure(result: Sensitivity, chosen: bool = False) -> Figure:
    """The picture itself, for whoever saves it; call it within `looks.figure_style`."""
    import matplotlib.pyplot as plt

    rows = [k for k, m in enumerate(result.measures) if chosen or m.name in USUAL]
    shown = [result.measures[k] for k in rows]
    slope, rate = result.slope[rows], result.rate_slope[rows]
    slope = np.where(np.abs(slope) > NOTHING * (1.0 + np.abs(result.value[rows]))[:, None, None], slope, 0.0)
    matter = [p for p in range(len(result.points)) if np.any(slope[:, p]) or np.any(rate[:, p])]
    size = (1.7 * len(shown) + 2.2, 0.17 * 3 * len(matter) + 2.3)
    figure, axes = plt.subplots(1, 2, figsize=size, layout="constrained", sharey=True)
    for ax, table, per in ((axes[0], slope, ""), (axes[1], rate, "/mm")):
        _panel(ax, table[:, matter].reshape(len(rows), -1).T, shown, per)
    axes[0].set_title("Change of the value", loc="left", pad=8)
    axes[1].set_title("Change of the gradient over travel", loc="left", pad=8)
    _coordinates(axes[0], [result.points[p] for p in matter])
    place = f"travel {result.travel_mm:+g} mm" if result.travel_mm else "design position"
    title = f"{result.title}, {result.axle} axle, {result.side} side, {place}: per mm of each coordinate"
    figure.suptitle(title, x=0.01, ha="left", fontsize=13, fontweight="bold")
    _key(figure, [p for k, p in enumerate(result.points) if k not in matter])
    return figure


def _panel(ax: Axes, table: Array, measures: list[Measure], per: str) -> None:
    greatest = np.abs(table).max(axis=0)
    share = table / np.where(greatest > 0.0, greatest, 1.0)
    powers = [_power(g) for g in greatest]
    ax.imshow(share, cmap=_colours(), vmin=-1.0, vmax=1.0, aspect="auto", interpolation="nearest")
    for (r, c), part in np.ndenumerate(share):
        if abs(part) >= FAINT:
            colour = "white" if abs(part) > LOUD else INK
            text = _short(float(table[r, c]) / 10.0 ** powers[c])
            ax.text(c, r, text, ha="center", va="center", fontsize=6.5, color=colour)
    labels = [_head(m, per, n) for m, n in zip(measures, powers, strict=True)]
    ax.set_xticks(range(len(measures)), labels, fontsize=7)
    ax.tick_params(length=0, top=False, labeltop=True, bottom=False, labelbottom=False)
    ax.grid(False)
    for y in np.arange(2.5, len(table) - 1, 3):
        ax.axhline(y, color=GRID, lw=0.8)
    for spine in ax.spines.values():
        spine.set_visible(False)


def _power(greatest: float) -> int:
    """Power of ten, a multiple of three, that makes figures of this size readable."""
    if greatest <= 0.0 or 0.1 <= greatest < 1000.0:
        return 0
    return 3 * int(np.floor(np.log10(greatest) / 3.0))


def _short(value: float) -> str:
    """Two significant digits without an exponent."""
    digits = max(0, 1 - int(np.floor(np.log10(abs(value)))))
    return f"{value:.{digits}f}".replace("-", "−")


def _head(measure: Measure, per: str, power: int) -> str:
    unit = "1" if measure.unit == "1" else measure.unit
    scale = f"10{str(power).translate(_RAISED)} " if power else ""
    return "\n".join([*wrap(measure.label, 12), f"{scale}{unit}{per}"])


def _coordinates(ax: Axes, points: list[str]) -> None:
    labels = [f"{point}   {axis}" if k == 0 else axis for point in points for k, axis in enumerate(AXES)]
    ax.set_yticks(range(len(labels)), labels, fontsize=7)


def _colours() -> Colormap:
    from matplotlib.colors import LinearSegmentedColormap

    return LinearSegmentedColormap.from_list("low-high", [LINES[0], "#ffffff", LINES[1]])


def _key(figure: Figure, idle: list[str]) -> None:
    from matplotlib.lines import Line2D
    from matplotlib.patches import Patch

    handles: list[object] = [
        Patch(color=LINES[1], label="raises the measure"),
        Patch(color=LINES[0], label="lowers it"),
        Line2D([], [], lw=0, label="colour: part of the column's greatest; blank under 2 %"),
    ]
    if idle:
        handles.append(Line2D([], [], lw=0, label=f"without effect: {', '.join(idle)}"))
    figure.legend(handles=handles, loc="outside lower left", ncols=2, frameon=False, fontsize=8)
