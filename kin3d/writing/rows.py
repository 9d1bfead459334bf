"""Tidy tables of the studies of uncertainty and difference as CSV: 12 significant digits, empty where no value is."""

from __future__ import annotations

import csv
from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path

from kin3d.errors import Finding, RequestError
from kin3d.studies.attribution import Attribution
from kin3d.studies.comparison import Comparison
from kin3d.studies.corner_model import AXES
from kin3d.studies.sample_statistics import LEVELS
from kin3d.studies.sensitivity import Sensitivity
from kin3d.studies.tolerance import Tolerance
from kin3d.writing.numbers import cell
from kin3d.writing.table import check_ending

Row = Sequence[object]


def write_rows(header: Sequence[str], rows: Iterable[Row], path: Path, option: str = "--out") -> int:
    """Write a table and return the number of its rows.

    Raises
    ------
    RequestError
        For an ending other than ``.csv``, or a place that cannot be written to.
    """
    check_ending(path, (".csv",), option)
    cells = [[cell(v) for v in row] for row in rows]
    try:
        with path.open("w", encoding="utf-8", newline="") as file:
            writer = csv.writer(file, lineterminator="\n")
            writer.writerows([header, *cells])
    except OSError as error:
        raise RequestError(Finding("not-written", f"cannot be written: {error.strerror or error}", str(path))) from None
    return len(cells)


BAND_HEADER = (
    "measure", "unit", "travel_mm", "value", "sigma_first_order", "low_68_first_order", "high_68_first_order",
    "low_95_first_order", "high_95_first_order", "mean_samples", "sigma_samples", "low_68_samples",
    "high_68_samples", "low_95_samples", "high_95_samples", "samples", "samples_failed",
)


def band_rows(result: Tolerance) -> Iterator[Row]:
    """One row a measure and position: value, deviations and bands by both ways."""
    first, spread = result.first, result.spread
    flat = [result.band(level, first_order=True) for level in LEVELS]
    for k, m in enumerate(result.measures):
        for t, travel in enumerate(result.travel_mm):
            row: list[object] = [m.name, m.unit, float(travel), float(first.value[k, t]), float(first.sigma[k, t])]
            row += [float(end[k, t]) for band in flat for end in band]
            if spread is None:
                row += [None] * 6 + [0, None]
            else:
                row += [float(spread.mean[k, t]), float(spread.sigma[k, t])]
                row += [float(e[level][k, t]) for level in LEVELS for e in (spread.low, spread.high)]
                row += [spread.samples, int(spread.failed[t])]
            yield row


SHARE_HEADER = ("measure", "unit", "travel_mm", "source", "axis", "shared", "sigma_mm", "change_per_sigma", "share_pct")


def share_rows(result: Tolerance) -> Iterator[Row]:
    """One row a measure, position and source of uncertainty: what it does and its part of the variance."""
    share, slope = result.first.share, result.first.slope
    for k, m in enumerate(result.measures):
        for t, travel in enumerate(result.travel_mm):
            for s, source in enumerate(result.uncertainty.sources):
                kind = "yes" if source.shared else "no"
                head = (m.name, m.unit, float(travel), source.name, source.axis, kind, source.sigma_mm)
                yield (*head, float(slope[k, s, t]), 100.0 * float(share[k, s, t]))


SENSITIVITY_HEADER = ("measure", "unit", "point", "axis", "change_per_mm", "change_of_rate_per_mm")


def sensitivity_rows(result: Sensitivity) -> Iterator[Row]:
    """One row a measure and coordinate."""
    for k, m in enumerate(result.measures):
        for p, point in enumerate(result.points):
            for a, axis in enumerate(AXES):
                yield m.name, m.unit, point, axis, float(result.slope[k, p, a]), float(result.rate_slope[k, p, a])


LINE_HEADER = (
    "car_a", "car_b", "measure", "unit", "figure", "a", "b", "difference", "sigma_a", "sigma_b",
    "sigma_difference", "probability_of_sign", "verdict",
)


def line_rows(result: Comparison) -> Iterator[Row]:
    """One row a pair of cars, measure and kind of figure."""
    for pair in result.pairs:
        for x in pair.lines:
            head = (pair.a.title, pair.b.title, x.measure.name, x.unit, x.kind)
            yield (*head, x.a, x.b, x.difference, x.sigma_a, x.sigma_b, x.sigma, x.probability, x.verdict)


PART_HEADER = ("car_a", "car_b", "measure", "unit", "figure", "travel_mm", "cause", "axis", "group", "moved_mm", "part")


def part_rows(result: Comparison) -> Iterator[Row]:
    """One row a pair of cars, measure, position and cause; the remainder of the quadrature is the last cause."""
    for pair in result.pairs:
        for row in _parts(pair.attribution):
            yield (pair.a.title, pair.b.title, *row)


def _parts(found: Attribution) -> Iterator[Row]:
    for k, m in enumerate(found.measures):
        figures = [
            ("design", 0.0, found.start_parts[k], float(found.start_remainder[k])),
            ("rate", 0.0, found.rate_parts[k], float(found.rate_remainder[k])),
        ]
        for t, travel in enumerate(found.travel_mm):
            figures.append(("value", float(travel), found.parts[k, :, t], float(found.remainder[k, t])))
        for figure, travel, parts, remainder in figures:
            unit = m.unit if figure != "rate" else f"{m.unit}/mm"
            for cause, part in zip(found.causes, parts, strict=True):
                yield m.name, unit, figure, travel, cause.name, cause.axis, cause.group, cause.change_mm, float(part)
            yield m.name, unit, figure, travel, "remainder", "", "", None, remainder
