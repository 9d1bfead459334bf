"""Curves of a sweep as a picture: one panel a measure, drawn to be read without a legend hunt."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from kin3d.measures.entry import Measure
from kin3d.studies.result import DRIVES, SweepResult
from kin3d.writing.style import INK, LINES, figure_style, save_figure
from kin3d.writing.table import check_ending

if TYPE_CHECKING:
    from matplotlib.axes import Axes

PICTURES = (".png", ".svg", ".pdf")
MOST_FAMILY = 7  # curves in one panel
LEAST_SPAN = 0.05  # least height of a panel, as a share of the values in it


def draw_curves(result: SweepResult, path: Path, measures: tuple[str, ...] | None = None) -> None:
    """Draw measures of a sweep over its first drive that has several values.

    Parameters
    ----------
    result : SweepResult
    path : pathlib.Path
        ``.png``, ``.svg`` or ``.pdf``.
    measures : tuple of str, optional
        Names; default all when there are at most nine, else the usual ones.
    """
    check_ending(path, PICTURES, "--plot")
    import matplotlib.pyplot as plt

    chosen = _chosen(result, measures)
    columns = 1 if len(chosen) == 1 else (2 if len(chosen) in (2, 4) else 3)
    lines = -(-len(chosen) // columns)
    with plt.rc_context(figure_style()):
        figure, axes = plt.subplots(
            lines, columns, figsize=(4.1 * columns, 2.9 * lines + 0.7), squeeze=False, layout="constrained"
        )
        for ax, measure in zip(axes.flat, chosen, strict=False):
            _panel(ax, result, measure)
        for ax in axes.flat[len(chosen) :]:
            ax.set_visible(False)
        figure.suptitle(f"{result.title}, {result.axle} axle", x=0.01, ha="left", fontsize=13, fontweight="bold")
        save_figure(figure, path)


def _chosen(result: SweepResult, names: tuple[str, ...] | None) -> list[Measure]:
    if names is None and len(result.measures) <= 9:
        return list(result.measures)
    return [m for m in result.measures if (m.usual if names is None else m.name in names)]


def _panel(ax: Axes, result: SweepResult, measure: Measure) -> None:
    first, *rest = result.driven()
    sides = (0,) if not rest and _mirrored(result, measure) else (0, 1)
    for style, (label, x, y) in zip(_styles(), _family(result, measure, first, rest, sides), strict=False):
        ax.plot(x, y, label=label, **style)
    ax.axvline(0.0, color=INK, lw=0.6, alpha=0.35, zorder=0)
    ax.set_title(f"{measure.label} ({measure.unit})" if measure.unit != "1" else measure.label, loc="left", y=1.09)
    ax.set_xlabel(f"{DRIVES[first].split(',')[0].lower()} ({first.rpartition('_')[2]})")
    ax.annotate(measure.sign, (0.0, 1.03), xycoords="axes fraction", fontsize=7, color="#5b6670")
    low, high = ax.get_ylim()
    least = LEAST_SPAN * abs(low + high) / 2 or 1.0  # what hardly changes must not look like a steep curve
    if high - low < least:
        ax.set_ylim((low + high - least) / 2, (low + high + least) / 2)
    if ax.get_legend_handles_labels()[1] and len(ax.lines) > 2:
        ax.legend(fontsize=7, frameon=False)


def _mirrored(result: SweepResult, measure: Measure) -> bool:
    v = result.values[measure.name]
    return bool(np.allclose(np.abs(v[..., 0]), np.abs(v[..., 1]), rtol=1e-9, atol=1e-9, equal_nan=True))


def _styles() -> list[dict[str, Any]]:
    return [{"color": c, "ls": s, "lw": 1.8} for s in ("-", "--") for c in LINES]


def _family(
    result: SweepResult, measure: Measure, first: str, rest: list[str], sides: tuple[int, ...]
) -> list[tuple[str | None, Any, Any]]:
    """Curves of one panel: label, x, y; a curve for each value of the second drive, or for each side."""
    names = list(result.drives)
    v = np.moveaxis(result.values[measure.name], names.index(first), 0)
    others = [n for n in names if n != first]
    x = result.drives[first]
    if not rest:
        flat = v.reshape(len(x), -1, 2)[:, 0]
        return [(("left", "right")[s] if len(sides) > 1 else None, x, flat[:, s]) for s in sides]
    second = rest[0]
    at = others.index(second) + 1
    values = result.drives[second]
    picked = np.unique(np.linspace(0, len(values) - 1, min(MOST_FAMILY, len(values))).round().astype(int))
    unit = second.rpartition("_")[2]
    curves: list[tuple[str | None, Any, Any]] = []
    for k in picked:
        one = np.take(v, k, axis=at).reshape(len(x), -1, 2)[:, 0]
        curves.append((f"{second.partition('_')[0]} {values[k]:+g} {unit}, left", x, one[:, 0]))
    return curves
