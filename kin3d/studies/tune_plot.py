"""Wanted measures over their drives before and after, with what is allowed as a band."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from kin3d.errors import Finding, RequestError
from kin3d.studies.tune_freedom import TradeOff
from kin3d.studies.tune_lines import WantedLine
from kin3d.studies.tune_samples import SampleModel
from kin3d.studies.tune_wants import Aim
from kin3d.writing.panels import Panel, Trace, draw_panels
from kin3d.writing.style import CARS, RAISES

Array = NDArray[np.float64]
PLACES = 41
AROUND = {"mm": 25.0, "deg": 2.0}  # what is shown about a single position


def draw_wants(title: str, lines: Sequence[WantedLine], models: Sequence[SampleModel], path: Path) -> None:
    """Draw a panel a want: curves of the car before and after, and where the wanted car has to be."""
    panels = [_panel(line, models, first=line is lines[0]) for line in lines if line.aim.along != "lateral"]
    if not panels:
        text = "wants of the settled car alone have no curves to draw"
        raise RequestError(Finding("no-picture", text, str(path)))
    draw_panels(title, panels, path)


def draw_trade(title: str, curve: TradeOff, path: Path) -> None:
    """Draw how far off one want is over how far off the other is, and the change that it takes."""
    a, b = curve.first, curve.second
    if curve.free:
        raise RequestError(Finding("no-picture", f"wants {a.number} and {b.number} cost each other nothing", str(path)))
    order = np.argsort(curve.off[:, 0])
    off, change = curve.off[order], curve.change[order]
    names = [x.name.replace(x.measure.name, x.measure.label.lower()) for x in (a, b)]
    along, other = (f"want {x.number}, {name}: off by" for x, name in zip((a, b), names, strict=True))
    along += f" ({a.unit or '1'})"
    panels = [
        Panel(other[:1].upper() + other[1:], b.unit or "1", "", along, (Trace(off[:, 0], off[:, 1]),)),
        Panel("Change", "1", "root of the sum of squares of moves over half boxes", along, (Trace(off[:, 0], change),)),
    ]
    draw_panels(title, panels, path)


def _panel(line: WantedLine, models: Sequence[SampleModel], *, first: bool) -> Panel:
    aim = line.aim
    at = span(aim)
    keys = [aim.figure_key(float(t)) for t in at]
    still = np.zeros((1, models[0].space.count))
    before, after = (m.evaluate(keys, still, slopes=False)[0][0] for m in models)
    traces = [Trace(at, before, "before", CARS[0]), Trace(at, after, "after", CARS[1], dash=1)]
    x, y, spread = allowed(aim, at, after)
    goal = y if aim.want.least is None else np.full(len(x), aim.wanted)
    traces.append(Trace(x, goal, "wanted", RAISES, 2, ((y - spread, y + spread),)))
    met = "met" if line.met else "not met"
    title = f"{aim.number}. {aim.measure.label}: {line.wanted}{f' {aim.unit}' if aim.unit else ''}, {met}"
    name = "wheel travel" if aim.along == "travel" else aim.along
    return Panel(title, aim.measure.unit, aim.measure.sign, f"{name} ({aim.unit_along})", tuple(traces), legend=first)


def span(aim: Aim) -> Array:
    """Where the curve of a want is looked at: its interval, or about its position."""
    if aim.interval is not None or len(aim.at) > 1:
        low, high = aim.interval or (min(aim.at), max(aim.at))
        return np.linspace(low, high, PLACES)
    return aim.at[0] + np.linspace(-1.0, 1.0, PLACES) * AROUND[aim.unit_along]


def allowed(aim: Aim, at: Array, curve: Array) -> tuple[Array, Array, Array]:
    """What is allowed of a want, as a line with a band about it.

    Parameters
    ----------
    at, curve : ndarray, shape (places,)
        The measure over the drive; of a range, a gradient and a change the band goes along with it.

    Returns
    -------
    at, middle, spread : ndarray, shape (places of the band,)
    """
    w = aim.within
    if aim.kind == "range":
        middle = np.full(len(at), 0.5 * (np.nanmax(curve) + np.nanmin(curve)))
        return at, middle, np.full(len(at), 0.5 * (aim.wanted + w))
    if aim.kind in ("held", "curve"):
        goal = aim.target(at) if aim.kind == "curve" else np.full(len(at), aim.wanted)
        return _and_more(aim, at, goal, np.full(len(at), w), curve)
    here = np.interp(aim.at[0], at, curve)
    if aim.kind == "change":  # from where the car is at the first position
        places = np.array(sorted(aim.at))
        last = places == aim.at[1]
        return places, np.where(last, here + aim.wanted, here), np.where(last, w, 0.0)
    x = aim.at[0] + np.array([-0.12, 0.0, 0.12]) * np.ptp(at)
    if aim.kind == "gradient":  # a slope needs length to be seen
        x = aim.at[0] + 3.0 * (x - aim.at[0])
        return x, here + aim.wanted * (x - aim.at[0]), w * np.abs(x - aim.at[0])
    return _and_more(aim, x, np.full(len(x), aim.wanted), np.full(len(x), w), curve)


def _and_more(aim: Aim, x: Array, goal: Array, spread: Array, curve: Array) -> tuple[Array, Array, Array]:
    """The band of a want; of one that may be more it goes up past the curve."""
    if aim.want.least is None:
        return x, goal, spread
    low, top = goal - spread, max(float(np.nanmax(curve)), float(np.max(goal))) + float(spread[0])
    return x, 0.5 * (low + top), 0.5 * (top - low)
