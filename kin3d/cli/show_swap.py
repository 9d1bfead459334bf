"""A swap on the terminal: where the points went, how well the ratio is kept, what differs."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from rich.box import SIMPLE_HEAD
from rich.console import Console
from rich.table import Table

from kin3d.cli.show import number
from kin3d.studies.inboard import InboardCurves, worst_rod_end
from kin3d.studies.swap import SwapResult

Array = NDArray[np.float64]
SAFETY = "Rod forces and buckling loads are of rigid links: strength is for qualified people."


def show_swap(console: Console, found: SwapResult, loads_n: list[float]) -> None:
    """Print the result of a swap.

    Parameters
    ----------
    loads_n : list of float
        Wheel loads for which rod forces are shown, N.
    """
    after = found.after
    head = f"{found.car.title}, {found.axle} axle: {found.before.kind}-rod on the {found.before.rod_on} to "
    console.print(f"{head}{after.kind}-rod on the {after.rod_on}", style="bold", highlight=False, markup=False)
    _verdict(console, found)
    console.print(_points(found))
    console.print(_differences(found, loads_n))
    if found.stated:
        console.print("default space, for points without a box (mm):", highlight=False, style="dim")
        for point in found.stated:
            console.print(f"  {point:<16} {_box(*found.boxes[point])}", highlight=False, style="dim", markup=False)
    console.print(SAFETY, style="dim", highlight=False)


def _verdict(console: Console, found: SwapResult) -> None:
    span = f"{found.before.travel_mm[0]:+g} to {found.before.travel_mm[-1]:+g} mm".replace("-", "−")
    kept = f"motion ratio within {found.worst_pct:.3f} % of the original from {span}"
    others = [f"{n} {v:.2f} %" for n, v in found.worst_by_element.items() if n != "spring"]
    rates = (found.before.wheel_rate_n_per_mm, found.after.wheel_rate_n_per_mm)
    if rates[0] is not None and rates[1] is not None:
        others.append(f"wheel rate {100.0 * float(np.max(np.abs(rates[1] / rates[0] - 1.0))):.2f} %")
    console.print(kept + (f"; {', '.join(others)}" if others else ""), highlight=False)
    proof = found.wheel
    same = f"largest difference {proof.difference:.1e} ({proof.measure})" if proof.difference else "no difference"
    console.print(f"wheel: {proof.count} measures in {proof.positions} positions, {same}", highlight=False)
    if not found.fits:
        text = f"no layout found within {found.within_pct:g} %: this is the nearest of {found.starts} starts"
        console.print(text, style="bold yellow", highlight=False)
        for obstacle in found.obstacles[:5]:
            console.print(f"  in the way: {obstacle}", highlight=False, markup=False)
        if not found.obstacles:
            console.print("  no box is in the way: another mount may reach it", highlight=False)


def _points(found: SwapResult) -> Table:
    table = Table(header_style="bold", box=SIMPLE_HEAD)
    table.add_column("point", no_wrap=True)
    for head in ("x", "y", "z", "new x", "new y", "new z"):
        table.add_column(f"{head}\nmm", justify="right", no_wrap=True)
    for point, (before, after) in found.moved.items():
        table.add_row(point, *(number(float(v), "%") for v in (*before, *after)))
    return table


def _box(low: Array, high: Array) -> str:
    sides = zip("xyz", low, high, strict=True)
    return "  ".join(f"{axis} {a:.0f} to {b:.0f}" for axis, a, b in sides).replace("-", "−")


def _differences(found: SwapResult, loads_n: list[float]) -> Table:
    table = Table(header_style="bold", box=SIMPLE_HEAD)
    table.add_column("what differs")
    for head in ("before", "after"):
        table.add_column(head, justify="right", no_wrap=True)
    rows = [_column(c, loads_n) for c in (found.before, found.after)]
    for label in rows[0]:
        table.add_row(label, rows[0][label], rows[1][label])
    return table


def _column(c: InboardCurves, loads_n: list[float]) -> dict[str, str]:
    """What may differ, of one car."""
    force = c.rod_force_per_load
    largest = float(force[int(np.nanargmax(np.abs(force)))])
    outer, inner = worst_rod_end(c)
    k = int(np.argmin(np.abs(c.travel_mm)))
    out = {
        "rod force per N of wheel load, design (tension +)": number(float(force[k]), "deg"),
        "  largest over the travel": number(largest, "deg"),
    }
    out |= {f"  at {load:g} N of wheel load, N": number(largest * load, "%") for load in loads_n}
    out["rod length, mm"] = number(c.rod_length_mm, "%")
    for load in loads_n:
        out[f"buckling load over rod force at {load:g} N"] = _margin(c, largest * load)
    out["rod end out of line, worst, outer / inner, deg"] = f"{outer:.1f} / {inner:.1f}"
    out["rod to rocker, nearest to dead centre, deg"] = number(float(np.nanmin(c.rod_to_rocker_deg)), "%")
    out["slope of the rod, front view, design, deg"] = number(float(c.rod_slope_deg[k]), "%")
    height = c.mass_centre_height_mm
    out["mass centre of rod, rocker, spring: height, mm"] = "no masses" if height is None else number(height, "%")
    return out


def _margin(c: InboardCurves, force_n: float) -> str:
    if force_n >= 0.0:
        return "in tension"
    return "no tube given" if c.buckling_n is None else f"{c.buckling_n / -force_n:.1f}"
