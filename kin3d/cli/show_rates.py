"""Rates and rod figures on the terminal."""

from __future__ import annotations

import numpy as np
from rich.box import SIMPLE_HEAD
from rich.console import Console
from rich.table import Table

from kin3d.cli.show import number
from kin3d.studies.frequencies import CarRates
from kin3d.studies.rates import AxleRates

_RATIO = "ratio: mm (deg for bars, torsion springs) of the element per mm of travel; shortened in bump positive."
_ROLL = "in roll: left wheel up, right wheel down by the same."


def show_rates(console: Console, found: AxleRates) -> None:
    """Print a table of the design position, element by element, and one of the sums over the travel."""
    k = int(np.argmin(np.abs(found.travel_mm)))
    title = f"{found.title}, {found.axle} axle, at {found.travel_mm[k]:g} mm of travel".replace("-", "−")
    console.print(title, style="bold", highlight=False, markup=False)
    console.print(_elements(found, k))
    console.print("Both wheels over the travel, all elements", style="bold", highlight=False)
    console.print(_travel(found))
    console.print(f"{_RATIO}\n{_ROLL}", highlight=False, style="dim")


def _table(*heads: str) -> Table:
    table = Table(header_style="bold", box=SIMPLE_HEAD)
    table.add_column(heads[0], no_wrap=True)
    for head in heads[1:]:
        table.add_column(head, justify="right", no_wrap=True)
    return table


def _elements(found: AxleRates, k: int) -> Table:
    table = _table(
        "element",
        "ratio\nheave",
        "ratio\nroll",
        "ratio\nsingle",
        "heave\nN/mm",
        "2nd\nterm",
        "single\nN/mm",
        "roll\nN·m/deg",
    )
    for c in (*found.curves, found.total):
        turn = 180.0 / np.pi if c.unit == "rad" else 1.0
        ratios = [number(turn * float(r[k]), "1") for r in (c.heave_ratio, c.roll_ratio, c.single_ratio)]
        values = [c.heave_rate, c.heave_second, c.single_rate, c.roll_rate]
        if c.name == "sum":
            table.add_section()
        table.add_row(c.name, *ratios, *(number(float(v[k]), "N/mm") for v in values))
    return table


def _travel(found: AxleRates) -> Table:
    table = _table("travel\nmm", "heave\nN/mm", "2nd\nterm", "single\nN/mm", "roll\nN·m/deg", "track\nmm")
    total = found.total
    columns = (total.heave_rate, total.heave_second, total.single_rate, total.roll_rate, found.track_mm)
    for k, travel in enumerate(found.travel_mm):
        cells = [number(float(c[k]), "N/mm") for c in columns]
        table.add_row(f"{travel:g}".replace("-", "−"), *cells)
    return table


def show_car(console: Console, rates: CarRates) -> None:
    """Print what the rates of both axles mean for the car."""
    for name, value in rates.values.items():
        console.print(f"  {name:<24} {value:10.2f}", highlight=False)
    for name, reason in rates.left_out.items():
        console.print(f"left out: {name}: {reason}", highlight=False, markup=False, style="dim")
