"""The pictures of a report, each an SVG element: curves with bands, causes, migration of the roll centre."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from functools import partial
from typing import TYPE_CHECKING

import numpy as np

from kin3d.measures.entry import Measure
from kin3d.report.svg import inline_svg
from kin3d.report.ticks import draw_ticks
from kin3d.studies import causes_plot, compare_view
from kin3d.studies.compare import Comparison
from kin3d.studies.compared import CarPair
from kin3d.studies.report_data import AxlePart
from kin3d.writing.panels import DASHES, draw_panel
from kin3d.writing.style import CARS, INK, SOFT, figure_style

if TYPE_CHECKING:
    from matplotlib.axes import Axes

PANEL, ROOM = (4.0, 2.9), (0.66, 0.08, 0.5, 0.5)  # size of a picture and margins about its panel, inches
STEPS = (1.6, 0.25, 0.3, 0.5)  # margins of a picture of causes, whose rows have names


def curves(result: Comparison, measures: Sequence[Measure]) -> Iterator[str]:
    """One picture a measure: all cars over travel with their bands."""
    names, sheet = " and ".join(c.title for c in result.cars), BlankPanel()
    for m, panel in zip(measures, compare_view.curves(result, measures), strict=True):
        described = f"{m.label} of {names} over wheel travel, with bands"
        yield sheet.drawn(f"{result.axle}-curve-{m.name}", described, partial(draw_panel, panel=panel))


def causes(result: Comparison, pair: CarPair, measures: Sequence[Measure]) -> Iterator[str]:
    """One picture a measure: how the groups of points lead from A's value to the other's."""
    sheet = BlankPanel(margins=STEPS)
    for m in causes_plot.moved(pair, measures):
        key = f"{result.axle}-cause-{pair.b.label}-{m.name}"
        described = f"Parts of the difference of {m.label} by group of points"
        yield sheet.drawn(key, described, partial(causes_plot.steps_panel, pair=pair, measure=m))


def migration(part: AxlePart) -> str:
    """Where the roll centre goes as the body rolls: its path in the front view, seen from ahead, over the ground."""
    described = "Path of the roll centre in the front view over body roll"
    sheet = BlankPanel((5.2, 3.2), (0.75, 0.1, 0.56, 0.5))
    return sheet.drawn(f"{part.axle}-migration", described, partial(_migration, part=part))


def _migration(ax: Axes, part: AxlePart) -> None:
    for k, car in enumerate(part.cars):
        if car.roll is not None:
            y, z = (car.roll.values[n][0, :, 0, 0] for n in ("roll_centre_offset_mm", "roll_centre_height_mm"))
            roll = car.roll.drives["roll_deg"]
            ax.plot(y, z, color=CARS[k % len(CARS)], ls=DASHES[k % len(DASHES)], lw=1.8)
            _degrees(ax, y, z, roll, k)
    ax.margins(y=0.14)
    ax.axhline(0.0, color=INK, lw=1.0)
    ax.axvline(0.0, color=INK, lw=0.6, ls=(0, (8, 3, 1, 3)))
    ax.set_xlabel("offset to the left (mm)")
    ax.set_ylabel(f"height over the ground (mm){_taller(ax)}")
    ax.set_title("Roll centre while the body rolls", loc="left", y=1.09)
    note = "seen from ahead, heave held; numbers: roll in degrees, left side up positive"
    ax.annotate(note, (0.0, 1.03), xycoords="axes fraction", fontsize=7, color=SOFT)


def _taller(ax: Axes) -> str:
    """In words how much taller than wide a panel draws, where that is more than a little."""
    (left, right), (low, high) = ax.get_xlim(), ax.get_ylim()
    wide, tall = ax.get_figure(root=True).get_size_inches() * ax.get_position().size  # type: ignore[union-attr]
    times = tall / abs(high - low) / (wide / abs(right - left))
    return f",\ndrawn {times:.0f} times taller" if times >= 1.5 else ""


def _degrees(ax: Axes, y: np.ndarray, z: np.ndarray, roll: np.ndarray, k: int) -> None:
    """Points at whole degrees, those at the ends and the middle numbered."""
    whole = [i for i, r in enumerate(roll) if abs(r - round(r)) < 1e-9 and np.isfinite(y[i])]
    ax.plot(y[whole], z[whole], "o" if k % 2 == 0 else "s", ms=4, color=CARS[k % len(CARS)], ls="none")
    for i in whole[:: max(1, len(whole) // 2)]:
        ax.annotate(
            f"{roll[i]:+.0f}".replace("-", "−") if round(roll[i]) else "0",
            (y[i], z[i]),
            (0, 6 if k == 0 else -12),
            textcoords="offset points",
            ha="center",
            fontsize=7.5,
            color=CARS[k % len(CARS)],
        )


class BlankPanel:
    """One panel on which pictures are drawn one after the other: axes and ticks are made once for all of them.

    Parameters
    ----------
    size : tuple of float
        Width and height of a picture, inches.
    margins : tuple of float
        Room for words left, right, below and above of the panel, inches: finding it anew would draw everything twice.
    """

    def __init__(self, size: tuple[float, float] = PANEL, margins: tuple[float, float, float, float] = ROOM) -> None:
        import matplotlib as mpl
        from matplotlib.figure import Figure

        left, right, below, above = margins
        wide, high = size
        with mpl.rc_context(figure_style()):
            self._figure = Figure(figsize=size)
            self._axes = self._figure.subplots()
            self._figure.subplots_adjust(left / wide, below / high, 1.0 - right / wide, 1.0 - above / high)

    def drawn(self, key: str, described: str, draw: Callable[[Axes], None]) -> str:
        """A picture in our style as an SVG element; key and description as of `inline_svg`."""
        import matplotlib as mpl

        ax = self._axes
        with mpl.rc_context(figure_style()):
            for artist in (*ax.lines, *ax.patches, *ax.collections, *ax.texts, *ax.artists):
                artist.remove()
            ax.relim()
            ax.autoscale(True)
            draw(ax)
            if not ax.get_ylabel():
                draw_ticks(ax)
            return inline_svg(self._figure, key, described)
