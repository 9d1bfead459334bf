"""Writes the rates of an axle as a tidy table: one row a travel and element."""

from __future__ import annotations

import csv
import math
from pathlib import Path

from kin3d.studies.rates import AxleRates, Curve
from kin3d.writing.table import DIGITS, check_ending

COLUMNS = (
    "travel_mm",
    "element",
    "unit",
    "deflection",
    "force",
    "heave_ratio",
    "heave_ratio_slope_per_mm",
    "roll_ratio",
    "single_ratio",
    "heave_rate_n_per_mm",
    "heave_second_term_n_per_mm",
    "single_rate_n_per_mm",
    "single_second_term_n_per_mm",
    "roll_rate_n_m_per_deg",
    "roll_second_term_n_m_per_deg",
)


def write_rates(found: AxleRates, path: Path) -> None:
    """Write every element and the sum over the travel.

    Deflection and force are mm and N, or for bars and torsion springs deg and N·m, as the column ``unit`` says; ratios
    are per mm of travel.
    """
    check_ending(path, (".csv",), "--out")
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(COLUMNS)
        for k, travel in enumerate(found.travel_mm):
            for curve in (*found.curves, found.total):
                writer.writerow([f"{travel:g}", curve.name, *_cells(curve, k)])


def _cells(c: Curve, k: int) -> list[str]:
    turn, torque = (180.0 / math.pi, 1e-3) if c.unit == "rad" else (1.0, 1.0)
    numbers = [turn * c.deflection[k], torque * c.force[k]]
    numbers += [turn * r[k] for r in (c.heave_ratio, c.heave_slope, c.roll_ratio, c.single_ratio)]
    numbers += [c.heave_rate[k], c.heave_second[k], c.single_rate[k], c.single_second[k]]
    numbers += [c.roll_rate[k], c.roll_second[k]]
    unit = {"rad": "deg", "": ""}.get(c.unit, c.unit)
    return [unit, *(f"{v:.{DIGITS}g}" if math.isfinite(v) else "" for v in map(float, numbers))]
