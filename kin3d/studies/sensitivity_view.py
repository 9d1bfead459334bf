"""What is shown of sensitivities: the coordinates that matter most, and a heat map of all.

In the picture a row is a coordinate, a column a measure; colour compares within a column, figures tell.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path
from textwrap import fill, wrap
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from kin3d.measures.entry import Measure
from kin3d.studies.corner_model import AXES
from kin3d.studies.first_order import NOTHING
from kin3d.writing.files import PICTURES, check_place
from kin3d.writing.numbers import with_sign
from kin3d.writing.panels import ROW_GAP, set_title
from kin3d.writing.style import GRID, INK, LOWERS, PAPER, RAISES, figure_style, save_figure
from kin3d.writing.tables import Cell, Column, Quantity, Table

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.colors import Colormap
    from matplotlib.figure import Figure

    from kin3d.studies.sensitivity import Sensitivity

Array = NDArray[np.float64]
LOUD = 0.6  # part of a column's greatest from which on the figure is written in white
_RAISED = str.maketrans("-0123456789", "⁻⁰¹²³⁴⁵⁶⁷⁸⁹")
LEAST_WIDTH = 8.8  # inches, in which titles and key have room
MOST_BESIDE = 10  # measures beside whose values their gradients stand, else under them
FAINT = 0.02  # part under which no figure is written: it would be read as something


def strongest_table(result: Sensitivity, measures: Sequence[Measure], most: int) -> Table:
    """Each measure with its value and gradient, then its most telling coordinates with the change per mm of each."""
    drive = result.case.drive
    columns = [Column("coordinate", head="measure, coordinates", text=True), Column("value", head="value,\nchange")]
    if result.has_rates:
        columns.append(Column("rate", head=f"per {drive.unit} of {drive.name},\nchange"))
    rows: list[tuple[Cell, ...]] = []
    breaks = []
    for m in measures:
        breaks.append(len(rows))
        rows += [row[: len(columns)] for row in _strongest(result, m, most)]
    title = f"{result.title}, {result.axle} axle, {result.side} side, {result.place}: change per mm of a coordinate"
    notes = ("All coordinates stand in the file of --out (save), and in the picture of --plot (plot).",)
    return Table.of("strongest", columns, rows, title, notes, breaks)


def _strongest(result: Sensitivity, m: Measure, most: int) -> Iterator[tuple[Cell, ...]]:
    k = result.row(m.name)
    slope, gradient = _real(result, [k])[0].ravel(), np.nan_to_num(result.rate_slope[k]).ravel()
    yield m.name, Quantity(float(result.value[k]), m.unit), Quantity(float(result.rate[k]), m.unit, "rate")
    weight = np.maximum(*(np.abs(v) / (np.abs(v).max() or 1.0) for v in (slope, gradient)))
    for c in np.argsort(-weight, kind="stable")[:most]:
        yield f"  {result.points[c // 3]} {AXES[c % 3]}", *(with_sign(float(v[c]), "+.3g") for v in (slope, gradient))


def _real(result: Sensitivity, rows: Sequence[int]) -> Array:
    """Sensitivities of the values of some measures without what is rounding, shape (rows, points, 3)."""
    slope = result.slope[list(rows)]
    least = NOTHING * (1.0 + np.abs(result.value[list(rows)]))
    out: Array = np.where(np.abs(slope) > least[:, None, None], slope, 0.0)
    return out


def sensitivity_record(result: Sensitivity) -> Table:
    """One row a measure and coordinate."""
    names = ("measure", "unit", "point", "axis", "change_per_mm", "change_of_rate_per_mm")
    rows = (
        (m.name, m.unit, point, axis, float(result.slope[k, p, a]), float(result.rate_slope[k, p, a]))
        for k, m in enumerate(result.measures)
        for p, point in enumerate(result.points)
        for a, axis in enumerate(AXES)
    )
    return Table.of("sensitivities", names, rows)


def draw_heat_map(result: Sensitivity, measures: Sequence[Measure], path: Path) -> None:
    """Draw the sensitivities of measures and of their gradients.

    Parameters
    ----------
    path : pathlib.Path
        ``.png``, ``.svg`` or ``.pdf``.
    """
    check_place(path, PICTURES, "plot")
    import matplotlib.pyplot as plt

    with plt.rc_context(figure_style()):
        save_figure(_figure(result, [result.row(m.name) for m in measures]), path)


def _figure(result: Sensitivity, rows: list[int]) -> Figure:
    import matplotlib.pyplot as plt
    from matplotlib.layout_engine import ConstrainedLayoutEngine

    shown = [result.measures[k] for k in rows]
    slope, rate = _real(result, rows), np.nan_to_num(result.rate_slope[rows])
    matter = [p for p in range(len(result.points)) if np.any(slope[:, p]) or np.any(rate[:, p])]
    panels = 1 + result.has_rates
    below = panels if len(shown) > MOST_BESIDE else 1  # many columns stand below one another: else none can be read
    beside = panels // below
    size = (max(0.85 * beside * len(shown) + 2.2, LEAST_WIDTH), below * 0.17 * 3 * len(matter) + 1.3 + below)
    spaced = ConstrainedLayoutEngine(h_pad=ROW_GAP)
    figure, found = plt.subplots(below, beside, figsize=size, layout=spaced, sharey=True, squeeze=False)
    axes, drive = found.ravel(), result.case.drive
    for ax, table, per in zip(axes, (slope, rate), ("", f"/{drive.unit}"), strict=False):
        _panel(ax, table[:, matter].reshape(len(rows), -1).T, shown, per)
    axes[0].set_title("Change of the value", loc="left", pad=8)
    if result.has_rates:
        axes[1].set_title(f"Change of the gradient over {drive.name}", loc="left", pad=8)
    for ax in found[:, 0]:
        _coordinates(ax, [result.points[p] for p in matter])
    title = f"{result.title}, {result.axle} axle, {result.side} side, {result.place}: per mm of each coordinate"
    set_title(figure, title)
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
    unit = "" if measure.unit == "1" and not per else measure.unit
    scale = f"10{str(power).translate(_RAISED)} " if power else ""
    return "\n".join([*wrap(measure.label, 12), f"{scale}{unit}{per}".strip()])


def _coordinates(ax: Axes, points: list[str]) -> None:
    labels = [f"{point}   {axis}" if k == 0 else axis for point in points for k, axis in enumerate(AXES)]
    ax.set_yticks(range(len(labels)), labels, fontsize=7)


def _colours() -> Colormap:
    from matplotlib.colors import LinearSegmentedColormap

    return LinearSegmentedColormap.from_list("low-high", [LOWERS, PAPER, RAISES])


def _key(figure: Figure, idle: list[str]) -> None:
    from matplotlib.lines import Line2D
    from matplotlib.patches import Patch

    handles: list[object] = [
        Patch(color=RAISES, label="raises the measure"),
        Patch(color=LOWERS, label="lowers it"),
        Line2D([], [], lw=0, label="colour: part of the column's greatest; blank under 2 %"),
    ]
    if idle:
        names = fill(f"without effect: {', '.join(idle)}", int(8.0 * figure.get_figwidth()))
        handles.append(Line2D([], [], lw=0, label=names))
    figure.legend(handles=handles, loc="outside lower left", ncols=2, frameon=False, fontsize=8)
