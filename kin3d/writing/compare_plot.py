"""Pictures of a comparison: curves of the cars over each other with bands, and what makes the differences."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from kin3d.measures.table import Measure
from kin3d.studies.comparison import Comparison, Pair
from kin3d.writing.bands import FAINT, Banded, draw_panels
from kin3d.writing.curves import PICTURES, USUAL
from kin3d.writing.numbers import number, signed
from kin3d.writing.style import INK, LINES, figure_style, save_figure
from kin3d.writing.table import check_ending

if TYPE_CHECKING:
    from matplotlib.axes import Axes

SMALL = 0.004  # part of the longest bar under which a group is left out


def draw_comparison(result: Comparison, path: Path, chosen: bool = False) -> None:
    """Draw measures of all cars over travel with bands (all if they were chosen, else the usual ones)."""
    check_ending(path, PICTURES, "--plot")
    cars = [Banded(e.title, e.tolerance) for e in result.entries]
    draw_panels(f"{result.axle.capitalize()} axle, {result.side} side", cars, common_measures(result, chosen), path)


def common_measures(result: Comparison, chosen: bool) -> list[Measure]:
    """Measures that at least two cars have, in table order; all if they were chosen, else the usual ones."""
    every = dict.fromkeys(x.measure for pair in result.pairs for x in pair.lines)
    return [m for m in every if chosen or m.name in USUAL]


def draw_causes(result: Comparison, path: Path, chosen: bool = False) -> None:
    """Draw for each measure how the groups of points lead from the first car's value to the other's.

    Only pairs and measures with something to attribute have a panel.
    """
    check_ending(path, PICTURES, "--causes")
    import matplotlib.pyplot as plt

    wanted = [m.name for m in common_measures(result, chosen)]
    panels = [(p, m) for p in result.pairs for m in p.attribution.measures if m.name in wanted and moved(p, m)]
    columns = min(3, max(1, len(panels)))
    lines = -(-len(panels) // columns) or 1
    with plt.rc_context(figure_style()):
        size = (max(6.4, 4.6 * columns), 2.9 * lines + 0.7)
        figure, axes = plt.subplots(lines, columns, figsize=size, squeeze=False, layout="constrained")
        for ax in axes.flat[len(panels) :]:
            ax.set_visible(False)
        for ax, (pair, measure) in zip(axes.flat, panels, strict=False):
            steps_panel(ax, pair, measure, named=len(result.pairs) > 1)
        title = f"What makes the difference, {result.axle} axle, design position"
        figure.suptitle(title, x=0.01, ha="left", fontsize=13, fontweight="bold")
        save_figure(figure, path)


def moved(pair: Pair, measure: Measure) -> bool:
    """Whether there is anything to attribute."""
    found = pair.attribution
    parts = found.start_parts[found.measures.index(measure)]
    return bool(np.abs(parts).max(initial=0.0) > 1e-9)


def steps_panel(ax: Axes, pair: Pair, measure: Measure, named: bool = False) -> None:
    """Draw the way from A's value to B's: one step a group, longest causes as they come in the order of groups."""
    found = pair.attribution
    k = found.measures.index(measure)
    parts = {g: float(v[k]) for g, v in found.grouped(found.start_parts).items()}
    longest = max(abs(v) for v in parts.values())
    shown = {g: v for g, v in parts.items() if abs(v) >= SMALL * longest}
    line = pair.line(measure.name, "design")
    at, rows, turns = line.a, 0, [line.a]
    _end(ax, 0, line.a, pair.a.label, measure)
    for rows, part in enumerate(shown.values(), 1):
        ax.barh(rows, part, left=at, color=LINES[1] if part > 0.0 else LINES[0], height=0.62, lw=0)
        ax.plot([at, at], [rows - 1, rows], color=FAINT, lw=0.7, zorder=0)
        at += part
        turns.append(at)
        _beside(ax, max(at, at - part), rows, signed(part, measure.unit), 4.0, size=7.5)
    ax.plot([at, at], [rows, rows + 1], color=FAINT, lw=0.7, zorder=0)
    _end(ax, rows + 1, line.b, pair.b.label, measure)
    span = (max(turns) - min(turns)) or 1.0
    ax.set_xlim(min(turns) - 0.08 * span, max(turns) + 0.34 * span)
    _dress(ax, ["", *shown, ""], measure, f", A to {pair.b.label}" if named else "")


def _end(ax: Axes, row: int, value: float, label: str, measure: Measure) -> None:
    ax.plot([value], [row], marker="D", ms=6, color=INK, ls="none")
    _beside(ax, value, row, f"{label}  {number(value, measure.unit)}", 8.0, size=8.0, weight="bold")


def _beside(ax: Axes, value: float, row: int, text: str, gap: float, *, size: float, weight: str = "normal") -> None:
    """Words to the right of a place, `gap` points away."""
    ax.annotate(
        text, (value, row), (gap, 0), textcoords="offset points", va="center", fontsize=size, fontweight=weight
    )


def _dress(ax: Axes, rows: list[str], measure: Measure, pair: str) -> None:
    unit = "" if measure.unit == "1" else f" ({measure.unit})"
    ax.set_title(f"{measure.label}{unit}{pair}", loc="left")
    ax.set_yticks(range(len(rows)), rows, fontsize=8)
    ax.set_ylim(len(rows) - 0.4, -0.6)
    ax.set_axisbelow(True)
    ax.grid(axis="y", visible=False)
    ax.tick_params(axis="y", length=0)
