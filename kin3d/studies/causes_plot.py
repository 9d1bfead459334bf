"""What makes each difference, as a picture: from one car's figure to the other's, a step for each group of points."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from kin3d.errors import Finding, RequestError
from kin3d.measures.entry import Measure
from kin3d.studies.compared import CarPair, ComparedCar
from kin3d.studies.significance import UNSAID, Difference
from kin3d.studies.told import places_of, unit_words, with_doubt
from kin3d.writing.numbers import fixed, number, percent, signed
from kin3d.writing.panels import draw_grid, key_below
from kin3d.writing.style import CARS, LOWERS, RAISES, SOFT, are_narrow

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

DOUBT_SPAN = 0.25  # least span of a panel, as a part of the half width of the doubt
SMALL = 0.004  # part of the longest bar under which a group is left out


def draw_causes(pairs: Sequence[CarPair], measures: Sequence[Measure], path: Path) -> None:
    """Draw for each measure how the groups of points lead from the first car's value to the other's.

    Only pairs and measures with something to attribute have a panel.

    Raises
    ------
    RequestError
        Where no panel is left.
    """
    where = pairs[0].a.tolerance.case.start.removeprefix("in the ")
    draws = [partial(steps_panel, pair=p, measure=m, named=len(pairs) > 1) for p in pairs for m in moved(p, measures)]
    if not draws:
        reasons = dict.fromkeys(p.attribution.reason for p in pairs if p.attribution.reason)
        why = "; ".join(reasons) or "no cause changes a measure that is shown"
        raise RequestError(Finding("not-written", f"there are no causes to draw: {why}", str(path)))
    title = f"What makes the difference, {pairs[0].axle} axle, {where}"
    draw_grid(title, draws, path, width=4.6, legend=partial(_key, pairs=pairs))


def _key(figure: Figure, pairs: Sequence[CarPair]) -> None:
    """Say which car is which, what the bars' colours mean and what stands behind ±, once for all panels."""
    from matplotlib.lines import Line2D
    from matplotlib.patches import Patch

    cars = {c.label: c for p in pairs for c in (p.a, p.b)}
    handles: list[Any] = [
        Line2D([], [], marker="D", ms=6, ls="none", color=_colour(c), label=f"{c.label}  {c.title}")
        for c in cars.values()
    ]
    handles += [Patch(color=c, label=w) for c, w in ((RAISES, "raises the figure"), (LOWERS, "lowers it"))]
    levels = [x.threshold for p in pairs for x in p.differences if x.half_width > 0.0]
    if levels:
        handles.append(Line2D([], [], lw=0, label=f"± at {percent(levels[0])}"))
    key_below(figure, handles, 2 if are_narrow() else len(handles))


def _colour(car: ComparedCar) -> str:
    return CARS[(ord(car.label) - ord("A")) % len(CARS)]


def moved(pair: CarPair, measures: Sequence[Measure]) -> list[Measure]:
    """Measures of a pair where there is anything to attribute."""
    found = pair.attribution
    return [m for k, m in found.shown(measures) if np.abs(found.start_parts[k]).max(initial=0.0) > 1e-9]


def steps_panel(ax: Axes, pair: CarPair, measure: Measure, named: bool = False) -> None:
    """Draw the way from A's value to B's: one step a group, longest causes as they come in the order of groups."""
    found = pair.attribution
    k = found.measures.index(measure)
    parts = {g: float(v[k]) for g, v in found.grouped(found.start_parts).items()}
    longest = max(abs(v) for v in parts.values())
    shown = {g: v for g, v in parts.items() if abs(v) >= SMALL * longest}
    line = pair.difference(measure.name, "design")
    at, rows, turns = line.a, 0, [line.a]
    _end(ax, 0, line, pair.a, line.a)
    for rows, part in enumerate(shown.values(), 1):
        ax.barh(rows, part, left=at, color=RAISES if part > 0.0 else LOWERS, height=0.62, lw=0)
        ax.plot([at, at], [rows - 1, rows], color=SOFT, lw=0.7, zorder=0)
        at += part
        turns.append(at)
        _beside(ax, max(at, at - part), rows, part_words(part, line), 4.0, size=7.5)
    ax.plot([at, at], [rows, rows + 1], color=SOFT, lw=0.7, zorder=0)
    _end(ax, rows + 1, line, pair.b, line.b)
    # what is far less than the doubt must not look large
    doubt = line.half_width if np.isfinite(line.half_width) else 0.0
    span = max(max(turns) - min(turns), DOUBT_SPAN * doubt) or 1.0
    ax.set_xlim(min(turns) - 0.08 * span, max(turns) + 0.62 * span)
    _dress(ax, ["", *shown, ""], line, f", A to {pair.b.label}" if named else "")


def part_words(part: float, line: Difference) -> str:
    """A part of a difference, in as many places as the doubt of the whole leaves meaning to."""
    places = _places(line)
    if places is None:
        return signed(part, line.measure.unit)
    told = fixed(part, places)
    return f"+{told}" if part > 0.0 and any(c in "123456789" for c in told) else told


def _places(line: Difference) -> int | None:
    """Places after the point; None where no doubt is known."""
    return places_of(line.half_width) if np.isfinite(line.half_width) and not line.exact else None


def _end(ax: Axes, row: int, line: Difference, car: ComparedCar, value: float) -> None:
    places = _places(line)
    told = number(value, line.measure.unit) if places is None else fixed(value, places)
    ax.plot([value], [row], marker="D", ms=6, color=_colour(car), ls="none")
    _beside(ax, value, row, f"{car.label}  {told}", 8.0, size=8.0, weight="bold")


def _beside(ax: Axes, value: float, row: int, text: str, gap: float, *, size: float, weight: str = "normal") -> None:
    """Words to the right of a place, `gap` points away."""
    ax.annotate(text, (value, row), (gap, 0), textcoords="offset points", va="center", fontsize=size, fontweight=weight)


def _dress(ax: Axes, rows: list[str], line: Difference, pair: str) -> None:
    measure = line.measure
    unit = "" if measure.unit == "1" else f" ({measure.unit})"
    ax.set_title(f"{measure.label}{unit}{pair}", loc="left", y=1.09)
    told = f"{with_doubt(line.difference, line, True)}{unit_words(line, True)}" if line.half_width > 0.0 else ""
    unsure = ": whether it differs cannot be said" if line.verdict == UNSAID else ""
    ax.annotate(told + unsure, (0.0, 1.03), xycoords="axes fraction", fontsize=7.5, color=SOFT)
    ax.locator_params(axis="x", nbins=5)
    ax.set_yticks(range(len(rows)), rows)
    ax.set_ylim(len(rows) - 0.4, -0.6)
    ax.set_axisbelow(True)
    ax.grid(axis="y", visible=False)
    ax.tick_params(axis="y", length=0, labelsize=8)
