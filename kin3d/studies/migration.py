"""The path of the roll centre in the transverse plane, marked by roll angle or heave; one scale in both directions."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from textwrap import fill
from typing import TYPE_CHECKING, Any, Protocol

import numpy as np
from numpy.typing import NDArray

from kin3d.errors import Finding, RequestError
from kin3d.measures.roll_centre import PARALLEL_DEG
from kin3d.writing.files import PICTURES, check_place
from kin3d.writing.numbers import with_sign
from kin3d.writing.style import INK, are_narrow, figure_style, lay_out, save_figure, tones

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure
    from matplotlib.text import Annotation

Array = NDArray[np.float64]
NEEDED = ("roll_centre_offset_mm", "roll_centre_height_mm", "roll_centre_lines_deg")
AWAY_MM = 500.0  # a crossing of nearly parallel lines that stands farther from mid-track says nothing
MOST_MARKS = 9
MOST_PATHS = 7
WIDTH_IN, NARROW_IN = 8.0, 4.3
TITLE_LETTERS = 9.2  # of a title that go on an inch
FAR = 2.0  # the ground is in the picture if it is no farther than so many extents of the paths
_UNIT = {"roll": "°", "heave": " mm"}


class Swept(Protocol):
    """What is drawn of a sweep over heave and roll."""

    @property
    def title(self) -> str:
        """The car's title."""

    @property
    def axle(self) -> str:
        """Front or rear."""

    @property
    def drives(self) -> Mapping[str, Array]:
        """Values of each drive by name."""

    @property
    def values(self) -> Mapping[str, Array]:
        """Measures by name, over the drives and the side."""


def _refuse(result: Swept) -> None:
    """Refuse a sweep in which there is no path to draw."""
    found = []
    if (
        not {"heave_mm", "roll_deg"} <= set(result.drives)
        or max(len(result.drives[n]) for n in ("heave_mm", "roll_deg")) < 2
    ):
        found.append(Finding("range", "--migration draws a path: give several values of --roll or --heave"))
    if not set(NEEDED) <= set(result.values):
        text = f"--migration needs the measures {', '.join(NEEDED)}; name them in --measures or leave it out"
        found.append(Finding("measure-missing", text))
    if found:
        raise RequestError(found)


def draw_migration(result: Swept, path: Path) -> None:
    """Draw the roll centre of an axle over roll, a path for each heave; over heave where roll has one value.

    Seen from ahead: the left of the car is on the right of the picture. Positions in which the two lines cross at less
    than a degree and far from the middle are left out, as the crossing runs away there; the picture says how many.

    Parameters
    ----------
    result : Swept
        Over heave and roll; of pitch and rack the first value is drawn.
    path : pathlib.Path
        ``.png``, ``.svg`` or ``.pdf``.
    """
    check_place(path, PICTURES, "--migration")
    _refuse(result)
    import matplotlib.pyplot as plt

    roll, heave = result.drives["roll_deg"], result.drives["heave_mm"]
    along, other = ("roll", "heave") if len(roll) > 1 else ("heave", "roll")
    offset, height = (_grid(result, n, along) for n in NEEDED[:2])
    hidden = (_grid(result, NEEDED[2], along) < PARALLEL_DEG) & ~(np.abs(offset) < AWAY_MM)
    marks, family = (roll, heave) if along == "roll" else (heave, roll)
    offset, height = (np.where(hidden, np.nan, v) for v in (offset, height))
    shown = np.unique(np.linspace(0, len(family) - 1, min(MOST_PATHS, len(family))).round().astype(int))
    with plt.rc_context(figure_style()):
        near = _ground_is_near(offset[shown], height[shown])
        wide = NARROW_IN if are_narrow() else WIDTH_IN
        tall = _tall(offset[shown], height[shown], near, wide)
        figure, ax = plt.subplots(figsize=(wide, tall), layout="constrained")
        reach = [float(np.nanmax(np.abs(v), initial=0.0)) for v in offset[shown]]
        for n, (colour, k) in enumerate(zip(tones(len(shown)), shown, strict=True)):
            text = f"{other} {with_sign(family[k])}{_UNIT[other]}"
            every = reach[n] == max(reach)
            _path(ax, (offset[k], height[k]), marks, colour, text, _UNIT[along], every)
        _frame(ax, result, along, int(hidden[shown].sum()), near, wide)
        figure.legend(fontsize=8, frameon=False, loc="outside lower left", ncols=int(wide / 2.0))
        _thin(figure, ax)
        save_figure(figure, path)


def _ground_is_near(offset: Array, height: Array) -> bool:
    """Whether the ground can be in the picture without the paths becoming a dot in it."""
    if not np.isfinite(height).any():
        return True
    away = max(0.0, float(np.nanmin(height)), -float(np.nanmax(height)))
    extent = max(float(np.nanmax(v) - np.nanmin(v)) for v in (offset, height))
    return away <= FAR * max(extent, 1.0)


def _tall(offset: Array, height: Array, near: bool, page: float) -> float:
    """Height of the picture, in, for one scale in both directions."""
    wide = 2.0 * max(1.0, float(np.nanmax(np.abs(offset), initial=0.0)))
    ends = [float(v) for v in (np.nanmin(height, initial=np.inf), np.nanmax(height, initial=-np.inf)) if np.isfinite(v)]
    ends += [0.0] if near or not ends else []
    return float(np.clip(page * (1.6 * (max(ends) - min(ends)) / wide + 0.3), 3.3, 6.5))


def _thin(figure: Figure, ax: Axes) -> None:
    """Move figures off lines, and take away those that would stand on others: the ends of the paths stay first."""
    lay_out(figure)
    kept: list[Any] = []
    marks: list[Any] = [a for a in ax.texts if getattr(a, "xycoords", "") == "data"]
    for words in sorted(marks, key=lambda t: t.get_zorder(), reverse=True):
        _clear(words, ax)
        box = words.get_window_extent()
        if any(box.overlaps(k) for k in kept):
            words.remove()
        else:
            kept.append(box)


def _clear(words: Annotation, ax: Axes) -> None:
    """Put a figure on the other side of its mark where that has fewer lines under it."""
    there = _lines_under(words, ax)
    if not there:
        return
    (x, y), side = words.xyann, words.get_horizontalalignment()
    words.xyann = (-x, y if side == "left" else (6 if y < 0 else -11))
    words.set_horizontalalignment("right" if side == "left" else "center")
    if _lines_under(words, ax) >= there:
        words.xyann = (x, y)
        words.set_horizontalalignment("left" if side == "left" else "center")


def _lines_under(words: Annotation, ax: Axes) -> int:
    """How many lines pass under a figure."""
    box = words.get_window_extent()
    paths = [line.get_path().transformed(line.get_transform()) for line in ax.lines]
    return sum(p.intersects_bbox(box, filled=False) for p in paths)


def _grid(result: Swept, name: str, along: str) -> Array:
    """Values of a measure, shape (paths, marks)."""
    v = result.values[name][..., 0]
    names = list(result.drives)
    for k in reversed(range(len(names))):
        if names[k] not in ("roll_deg", "heave_mm"):
            v = np.take(v, 0, axis=k)
    return v if along == "roll" else v.T


def _path(ax: Axes, place: tuple[Array, Array], marks: Array, colour: str, text: str, unit: str, every: bool) -> None:
    """One path; each mark has its value on the longest path, the first and last on the others."""
    y, z = place
    ax.plot(y, z, color=colour, lw=1.7, label=text, zorder=4)
    # counted from the middle, so that the marks stand evenly about it
    step = max(1, -(-len(marks) // MOST_MARKS))
    chosen = [k for k in range(int(np.argmin(np.abs(marks))) % step, len(marks), step) if np.isfinite(y[k] + z[k])]
    upright = np.ptp(z[chosen]) > np.ptp(y[chosen]) if chosen else False
    pale = {"boxstyle": "round,pad=0.1", "fc": "white", "ec": "none", "alpha": 0.72}
    ax.plot(y[chosen], z[chosen], "o", ms=5.0, mfc="white", mec=colour, mew=1.4, zorder=5)
    ends = chosen[:: len(chosen) - 1] if len(chosen) > 1 else []  # one mark alone stands by the longest path's
    for k in chosen if every else ends:
        style: dict[str, Any] = {"fontsize": 7, "color": colour, "bbox": pale, "zorder": 7 if k in ends else 6}
        style |= {"ha": "left", "va": "center"} if upright else {"ha": "center"}
        beside = (7, 0) if upright else (0, -11 if every else 6)
        words = f"{with_sign(marks[k])}{unit}"
        ax.annotate(words, (y[k], z[k]), beside, textcoords="offset points", **style)


def _frame(ax: Axes, result: Swept, along: str, hidden: int, near: bool, page: float) -> None:
    ax.set_aspect("equal", adjustable="datalim")
    if near:
        ax.axhline(0.0, color=INK, lw=1.2, zorder=2)
    ax.axvline(0.0, color=INK, lw=0.6, alpha=0.4, zorder=2, dashes=(10, 3, 2, 3))
    ax.set_xlabel("to the left of mid-track (mm), seen from ahead")
    ax.set_ylabel("over the ground (mm)" if near else "over the ground (mm),\nwhich lies below the picture")
    title = fill(f"{result.title}, {result.axle} axle: path of the roll centre over {along}", int(TITLE_LETTERS * page))
    if hidden:
        lines = f"lines cross at less than {PARALLEL_DEG:g}° and over {AWAY_MM:g} mm from the middle"
        ax.annotate(f"not drawn: {hidden} positions whose {lines}", (0.0, 1.01), xycoords="axes fraction", fontsize=8)
    ax.set_title(title, loc="left", fontsize=12, pad=18.0 if hidden else 6.0)
