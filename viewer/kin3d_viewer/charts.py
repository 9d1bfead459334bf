"""Curves of chosen measures with a cursor, as a matplotlib figure: beside the 3D view, in pictures, in films."""

from __future__ import annotations

import warnings
from collections.abc import Mapping, Sequence
from textwrap import shorten, wrap
from typing import Any

import numpy as np

from kin3d.measures.entry import Measure
from kin3d.writing.style import INK
from kin3d.writing.style import RAISES as WANTED
from kin3d_viewer.curves import Curves
from kin3d_viewer.primitives import Array
from kin3d_viewer.style import CARS, GHOST, PAPER
from kin3d_viewer.wanted import WantedBand

DEFAULT = ("camber_deg", "toe_deg", "roll_centre_height_mm", "motion_ratio", "wheel_rate_n_per_mm", "caster_deg")
DRIVES = {
    "travel_mm": "wheel travel, mm (bump +)",
    "rack_mm": "rack, mm (left +)",
    "roll_deg": "body roll, deg (left side up +)",
}
SAME = 1e-9  # the right side is drawn when it differs from the left by more than this part of the range
LEAST_USED = 0.45  # of the height of a chart; less than this and it is fitted again
TITLE_PER_INCH = 12.5  # letters of a title on an inch
LEGEND_PER_INCH = 14.0
LINE_IN, LEFT_IN, RIGHT_IN, BOTTOM_IN, GAP_IN, LEAST_IN = 0.155, 0.6, 0.1, 0.42, 0.17, 0.12  # inches on the figure
HANDLE = 8  # letters that the line before a name and the gap after it take
GROWTH = 0.2
FEW = 4  # no more charts than this in one column by default


def default_measures(names: Sequence[str]) -> tuple[str, ...]:
    """The first few of the usual measures that are there."""
    return tuple(n for n in DEFAULT if n in names)[:FEW]


class Charts:
    """A column of charts on a figure that is given.

    Parameters
    ----------
    figure : matplotlib.figure.Figure
    measures : mapping of str to Measure
        For labels and units.
    names : sequence of str
        What is drawn.
    """

    def __init__(self, figure: Any, measures: Mapping[str, Measure], names: Sequence[str]) -> None:
        self.figure = figure
        self.measures = measures
        self.names: tuple[str, ...] = ()
        self._colours = (CARS["A"], CARS["B"])
        self.moving: list[Any] = []
        self._axes: dict[str, Any] = {}
        self._lines: dict[str, dict[str, Any]] = {}
        self._dots: dict[str, list[Any]] = {}
        self._cursor: dict[str, Any] = {}
        self._bands: dict[str, list[Any]] = {}
        figure.set_facecolor(PAPER)
        self.choose(names)

    def choose(self, names: Sequence[str]) -> None:
        """Lay the column out anew for other measures."""
        self.names = tuple(names)
        self.figure.clear()
        self.moving, self._bands = [], {}
        cells = self.figure.subplots(len(self.names), 1, sharex=True, squeeze=False)[:, 0] if self.names else []
        self._axes = dict(zip(self.names, cells, strict=True))
        for name, axes in self._axes.items():
            self._prepare(name, axes)
        self.paint(*self._colours)
        self._arrange()

    def _prepare(self, name: str, axes: Any) -> None:
        measure = self.measures[name]
        axes.set_title(self._title(measure), fontsize=8, loc="left", color=INK)
        axes.set_facecolor("white")
        axes.grid(color="#dde1df", linewidth=0.6)
        axes.tick_params(labelsize=8, colors=INK)
        axes.margins(x=0.01)
        for edge in ("top", "right"):
            axes.spines[edge].set_visible(False)
        styles: dict[str, dict[str, Any]] = {
            "file": {"color": GHOST, "linewidth": 1.0, "linestyle": (0, (1, 1.5))},
            "ghost": {"linewidth": 1.6, "linestyle": (0, (7, 3))},
            "right": {"linewidth": 1.3, "linestyle": (0, (4, 2))},
            "left": {"linewidth": 2.0},
        }
        self._lines[name] = {k: axes.plot([], [], animated=True, **s)[0] for k, s in styles.items()}
        self._dots[name] = [axes.plot([], [], m, markersize=6, animated=True)[0] for m in ("o", "s")]
        self._cursor[name] = axes.axvline(0.0, color=INK, linewidth=1.0, animated=True)
        self.moving += [*self._lines[name].values(), self._cursor[name], *self._dots[name]]

    def _arrange(self) -> None:
        """Give every chart its place: equal heights under their titles, the legend over all."""
        width, height = self.figure.get_size_inches()
        rows = sum(-(-len(old.get_texts()) // old._ncols) for old in self.figure.legends)
        titles = [LINE_IN * (axes.get_title(loc="left").count("\n") + 1) + 0.06 for axes in self._axes.values()]
        top = height - (LINE_IN * rows + 0.1 * bool(rows))
        each = (top - BOTTOM_IN - sum(titles)) / max(1, len(titles)) - GAP_IN
        for axes, title in zip(self._axes.values(), titles, strict=True):
            top -= title + max(each, LEAST_IN)
            inside = max(0.2, width - LEFT_IN - RIGHT_IN)
            axes.set_position((LEFT_IN / width, top / height, inside / width, max(each, LEAST_IN) / height))
            top -= GAP_IN

    def _title(self, measure: Measure) -> str:
        """Label, unit and sign, in as many lines as the width asks for."""
        room = max(20, round(self.figure.get_figwidth() * TITLE_PER_INCH))
        unit = "" if measure.unit == "1" else f", {measure.unit}"
        return "\n".join(wrap(f"{measure.label}{unit}  ({measure.sign})", room))

    def resized(self) -> None:
        """Break the titles anew for another width, and the legend when it is asked for next."""
        for old in list(self.figure.legends):
            old.remove()
        for name, axes in self._axes.items():
            axes.set_title(self._title(self.measures[name]), fontsize=8, loc="left", color=INK)
        self._arrange()

    def paint(self, front: str, other: str) -> None:
        """Take the colours of the cars: of the one that is shown, of the one beside it."""
        self._colours = (front, other)
        for lines in self._lines.values():
            for key, colour in (("left", front), ("right", front), ("ghost", other)):
                lines[key].set_color(colour)
        for dots in self._dots.values():
            for dot in dots:
                dot.set_color(front)

    def show(
        self, now: Curves, file: Curves | None = None, ghost: Curves | None = None, wanted: Sequence[WantedBand] = ()
    ) -> bool:
        """Take new curves: the present ones, those of the file where it was changed, those of the other car.

        Parameters
        ----------
        wanted : sequence of WantedBand
            What is wanted of them, drawn as bands behind.

        Returns
        -------
        bool
            Whether axes have changed, so that the whole figure must be drawn again; else the moving artists are enough.
        """
        changed = False
        for name, axes in self._axes.items():
            lines = self._lines[name]
            left, right = _side(now, name, 0), _side(now, name, 1)
            lines["left"].set_data(now.at, left)
            lines["right"].set_data(now.at, right if _differ(left, right) else np.full(len(now.at), np.nan))
            for key, other in (("file", file), ("ghost", ghost)):
                there = other is not None and other.drive == now.drive
                lines[key].set_data(*((other.at, _side(other, name, 0)) if there and other else ([], [])))
            outlines = [b.outline for b in wanted if b.measure == name]
            self._put_bands(name, axes, outlines)
            heights = [np.asarray(line.get_ydata(), dtype=float) for line in lines.values()]
            changed |= self._limits(axes, [*heights, *(o[:, 1] for o in outlines)], now.at)
        if self._axes:
            last = list(self._axes.values())[-1]
            changed |= last.get_xlabel() != DRIVES[now.drive]
            last.set_xlabel(DRIVES[now.drive], fontsize=8, color=INK)
        return changed

    def _put_bands(self, name: str, axes: Any, outlines: Sequence[Array]) -> None:
        """Give the bands of a chart their outlines; those that are not needed have none."""
        from matplotlib.patches import Polygon

        there = self._bands.setdefault(name, [])
        while len(there) < len(outlines):
            band = Polygon(
                np.zeros((3, 2)), animated=True, facecolor=WANTED, edgecolor=WANTED, alpha=0.3, linewidth=1.5
            )
            there.append(axes.add_patch(band))
            self.moving.insert(0, band)
        for k, band in enumerate(there):
            band.set_visible(k < len(outlines))
            if k < len(outlines):
                band.set_xy(outlines[k])

    @staticmethod
    def _limits(axes: Any, heights: Sequence[Array], at: Array) -> bool:
        """Fit the axes where the curves leave them or use little of them; whether they were changed."""
        values = np.concatenate(heights)
        values = values[np.isfinite(values)]
        low, high = (float(values.min()), float(values.max())) if len(values) else (-1.0, 1.0)
        # a curve that is flat but for rounding is drawn flat
        room = max(0.08 * (high - low), 1e-6 * max(abs(low), abs(high)), 1e-9)
        room = room if high - low > 1e-6 * max(abs(low), abs(high)) else max(0.05 * abs(high), 0.01)
        wide = (at.min(), at.max() if at.max() > at.min() else at.min() + 1.0)
        bottom, top = axes.get_ylim()
        used = (high - low + 2.0 * room) / (top - bottom)
        if tuple(axes.get_xlim()) == wide and bottom <= low and high <= top and used > LEAST_USED:
            return False
        # room to grow where a drag drives the curves out, so that the axes are not drawn anew with every step
        room += GROWTH * (high - low) if used > LEAST_USED and tuple(axes.get_xlim()) == wide else 0.0
        axes.set_ylim(low - room, high + room)
        axes.set_xlim(*wide)
        return True

    def cursor(self, drive: float, values: Mapping[str, Array]) -> None:
        """Put the cursor and the dots to the present position; values are (2,) by name."""
        for name in self.names:
            self._cursor[name].set_xdata([drive, drive])
            both = values.get(name, np.full(2, np.nan))
            for side, dot in enumerate(self._dots[name]):
                hidden = side == 1 and not _differ(both[:1], both[1:])
                dot.set_data([drive], [np.nan if hidden else both[side]])

    def legend(self, *, file: bool, ghost: str = "") -> bool:
        """One legend over the column, only where there is something to tell apart; whether it has changed."""
        if not self.names:
            return False
        lines = self._lines[self.names[0]]
        entries = [(lines["left"], "left")]
        if any(np.isfinite(np.asarray(self._lines[n]["right"].get_ydata(), dtype=float)).any() for n in self.names):
            entries.append((lines["right"], "right"))
        entries += [(lines["file"], "as in the file")] if file else []
        wanted = [b for n in self.names for b in self._bands.get(n, []) if b.get_visible()]
        entries += [(wanted[0], "wanted")] if wanted else []
        room = max(8, round(self.figure.get_figwidth() * LEGEND_PER_INCH))
        entries += [(lines["ghost"], shorten(ghost, room - HANDLE, placeholder=" …"))] if ghost else []
        said = [[t.get_text() for t in old.get_texts()] for old in self.figure.legends]
        if said == ([[e[1] for e in entries]] if len(entries) > 1 else []):
            return False
        for old in list(self.figure.legends):
            old.remove()
        if len(entries) > 1:
            columns = _columns([len(e[1]) for e in entries], room)
            self.figure.legend(
                *zip(*entries, strict=True), loc="upper center", ncols=columns, fontsize=8, frameon=False, borderpad=0.1
            )
        self._arrange()
        return True

    def image(self) -> Any:
        """The figure with its cursor as an array, shape (height, width, 3), for pictures."""
        from matplotlib.backends.backend_agg import FigureCanvasAgg

        canvas = self.figure.canvas
        if not isinstance(canvas, FigureCanvasAgg):
            canvas = FigureCanvasAgg(self.figure)
        with warnings.catch_warnings():  # a picture of a few hundred pixels has no room for curves: that is seen
            warnings.filterwarnings("ignore", "constrained_layout not applied")
            canvas.draw()
        for artist in self.moving:
            artist.axes.draw_artist(artist)
        return np.asarray(canvas.buffer_rgba())[:, :, :3].copy()


def _columns(letters: list[int], room: int) -> int:
    """The most columns in which a legend's entries, filled column by column, fit into a width; in letters."""
    for columns in range(len(letters), 1, -1):
        rows = -(-len(letters) // columns)
        widths = [max(letters[k : k + rows]) + HANDLE for k in range(0, len(letters), rows)]
        if sum(widths) <= room:
            return columns
    return 1


def _side(curves: Curves, name: str, side: int) -> Array:
    return curves.values[name][side] if name in curves.values else np.full(len(curves.at), np.nan)


def _differ(left: Array, right: Array) -> bool:
    with np.errstate(all="ignore"):
        gap = np.abs(left - right)
    known = np.isfinite(gap)
    if not known.any():
        return bool(np.isfinite(right).any() and not np.isfinite(left).any())
    return bool(gap[known].max() > SAME * max(1.0, float(np.nanmax(np.abs(left)))))
