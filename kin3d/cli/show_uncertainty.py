"""Tables on the terminal: values with deviations and bands, and what causes them; sensitivities."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from rich.box import SIMPLE_HEAD
from rich.console import Console
from rich.table import Table

from kin3d.cli.show import USUAL
from kin3d.measures.table import Measure
from kin3d.studies.corner_model import AXES
from kin3d.studies.first_order import NOTHING
from kin3d.studies.sample_statistics import LEVELS
from kin3d.studies.sensitivity import Sensitivity
from kin3d.studies.tolerance import Tolerance
from kin3d.writing.numbers import fixed, number, percent, rate

MOST_CAUSES = 5
_COLUMNS = (
    ("travel", 8),
    ("value", 10),
    ("σ first order", 14),
    ("σ sampled", 10),
    ("68 % band", 19),
    ("95 % band", 19),
)
APART = 0.05  # first order and samples that differ by more are told apart in a sentence


def show_tolerance(console: Console, result: Tolerance, chosen: bool) -> None:
    """Print values at the ends and near the middle of travel with deviations and bands, then causes and differences."""
    shown = [m for m in result.measures if chosen or m.name in USUAL]
    title = f"{result.title}, {result.axle} axle, {result.side} side: {_how(result)}"
    console.print(title, style="bold", highlight=False, markup=False)
    console.print()
    console.print("".join(h.rjust(w) for h, w in _COLUMNS), style="bold", highlight=False, markup=False)
    for m in shown:
        unit = "" if m.unit == "1" else f", {m.unit}"
        console.print(f" {m.name}{unit}", style="bold", highlight=False, markup=False)
        for cells in _rows(result, m):
            line = "".join(c.rjust(w) for c, (_, w) in zip(cells, _COLUMNS, strict=True))
            console.print(line, highlight=False, markup=False)
    console.print()
    _causes(console, result, shown)
    _difference(console, result, shown)


def _how(result: Tolerance) -> str:
    spread = result.spread
    if spread is None:
        return "first order alone; bands of a normal distribution"
    return f"bands from {spread.samples} sampled cars (Latin hypercube, seed {spread.seed})"


def _rows(result: Tolerance, m: Measure) -> Iterator[list[str]]:
    """Cells at the ends and near the middle of travel."""
    k = result.row(m.name)
    middle = int(np.abs(result.travel_mm).argmin())
    for t in dict.fromkeys((0, middle, len(result.travel_mm) - 1)):
        spread = "" if result.spread is None else number(float(result.spread.sigma[k, t]), m.unit)
        bands = [result.band(level) for level in LEVELS]
        ends = [[number(float(end[k, t]), m.unit) for end in band] for band in bands]
        yield [
            fixed(float(result.travel_mm[t]), 1),
            number(float(result.first.value[k, t]), m.unit),
            number(float(result.first.sigma[k, t]), m.unit),
            spread,
            *(f"{low} … {high}" for low, high in ends),
        ]


def _causes(console: Console, result: Tolerance, shown: list[Measure]) -> None:
    console.print("What causes the variance in the design position (first order):", style="bold", highlight=False)
    share = result.first.start_share
    for m in shown:
        row = share[result.row(m.name)]
        if not row.any():
            text = "no uncertainty: it is set by figures of the car file"
        else:
            top = np.argsort(-row, kind="stable")[:MOST_CAUSES]
            sources = result.uncertainty.sources
            text = ", ".join(f"{sources[s]} {percent(float(row[s]))}" for s in top if row[s] >= 0.005)
        console.print(f"  {m.name:<24} {text}", highlight=False, markup=False)


def _difference(console: Console, result: Tolerance, shown: list[Measure]) -> None:
    """Say where the two ways differ and what failed."""
    if result.spread is None:
        return
    apart = result.disagreement()
    told = []
    for m in shown:
        row = apart[result.row(m.name)]
        if np.isfinite(row).any():
            worst = int(np.nanargmax(np.abs(row)))
            if abs(row[worst]) > APART:
                said = f"{m.name}: {100.0 * row[worst]:+.0f} % at travel {result.travel_mm[worst]:+g} mm"
                told.append(said.replace("-", "−"))
    if told:
        text = "Samples spread otherwise than first order says (the measure bends within the doubt): " + "; ".join(told)
    else:
        text = f"First order and samples agree within {100.0 * APART:.0f} % in all measures shown, over all travel."
    console.print(text, highlight=False, markup=False)
    failed = int(result.spread.failed.max())
    console.print(f"Sampled cars that could not be assembled: {failed or 'none'}.", highlight=False)


def show_sensitivity(console: Console, result: Sensitivity, chosen: bool, most: int) -> None:
    """Print for each measure the coordinates that matter most: change per mm of its value and of its gradient."""
    shown = [m for m in result.measures if chosen or m.name in USUAL]
    place = f"travel {result.travel_mm:+g} mm" if result.travel_mm else "design position"
    title = f"{result.title}, {result.axle} axle, {result.side} side, {place}: change per mm of a coordinate"
    console.print(title, style="bold", highlight=False, markup=False)
    table = Table(header_style="bold", box=SIMPLE_HEAD)
    table.add_column("measure, coordinates", no_wrap=True)
    table.add_column("value, change", justify="right", no_wrap=True)
    table.add_column("per mm of travel, change", justify="right", no_wrap=True)
    for m in shown:
        _sensitivity_rows(table, result, m, most)
        table.add_section()
    console.print(table)
    console.print("All coordinates: --out; as a picture: --plot.", highlight=False)


def _sensitivity_rows(table: Table, result: Sensitivity, m: Measure, most: int) -> None:
    """The measure with its value and gradient, then its most telling coordinates with the change per mm of each."""
    k = [x.name for x in result.measures].index(m.name)
    slope, gradient = result.slope[k].ravel(), result.rate_slope[k].ravel()
    slope = np.where(np.abs(slope) > NOTHING * (1.0 + abs(result.value[k])), slope, 0.0)
    weight = np.maximum(*(np.abs(v) / (np.abs(v).max() or 1.0) for v in (slope, gradient)))
    value, along = number(float(result.value[k]), m.unit), rate(float(result.rate[k]), m.unit)
    table.add_row(f"{m.name}, {m.unit}" if m.unit != "1" else m.name, value, along, style="bold")
    for c in np.argsort(-weight, kind="stable")[:most]:
        name = f"  {result.points[c // 3]} {AXES[c % 3]}"
        table.add_row(name, _short(float(slope[c])), _short(float(gradient[c])))


def _short(value: float) -> str:
    text = f"{value:+.3g}" if value else "0"
    return text.replace("-", "−")
