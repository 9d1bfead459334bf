"""What is shown of a tolerance study: values with deviations and bands, what causes them, curves with bands."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import islice
from typing import TYPE_CHECKING

import numpy as np

from kin3d.measures.entry import Measure
from kin3d.studies.monte_carlo import LEVELS
from kin3d.studies.uncertainty import half_width
from kin3d.writing.numbers import fixed, number, percent
from kin3d.writing.panels import Panel, Trace
from kin3d.writing.style import CARS
from kin3d.writing.tables import Cell, Column, Quantity, Table

if TYPE_CHECKING:
    from kin3d.studies.tolerance import Tolerance

MOST_CAUSES = 5
SMALL = 0.01  # part of a variance that is not worth a name
APART = 0.05  # first order and samples that differ by more are told apart in a sentence
BANDS = tuple(f"{percent(level)} band" for level in LEVELS)


def values_table(result: Tolerance, measures: Sequence[Measure]) -> Table:
    """Values at the ends and near the middle of the drive with deviations and bands by the better way."""
    drive, at = result.case.drive, result.case.at
    settled = drive.name == "loads"
    columns = (
        Column("measure", text=True),
        *([] if settled else [Column(drive.column, head=f"{drive.name}\n{drive.unit}", text=True)]),
        Column("value"),
        Column("sigma_first_order", head="σ first\norder"),
        Column("sigma_samples", head="σ\nsampled"),
        *(Column(f"band_{100 * level:.0f}", head=head) for level, head in zip(LEVELS, BANDS, strict=True)),
    )
    middle = int(np.abs(at).argmin())
    places = tuple(dict.fromkeys((0, middle, len(at) - 1)))
    rows = [[m.name, *islice(_values(result, m, t), settled, None)] for m in measures for t in places]
    stands = f", {result.case.start}" if settled else ""
    title = f"{result.title}, {result.axle} axle, {result.side} side{stands}: {result.how}"
    return Table.of("values", columns, rows, title, breaks=range(0, len(rows), len(places)))


def _values(result: Tolerance, m: Measure, t: int) -> Iterator[Cell]:
    k = result.row(m.name)
    yield fixed(float(result.case.at[t]), 1 if result.case.drive.unit == "mm" else 2)
    yield Quantity(float(result.first.value[k, t]), m.unit)
    yield Quantity(float(result.first.sigma[k, t]), m.unit)
    yield None if result.spread is None else Quantity(float(result.spread.sigma[k, t]), m.unit)
    for level in LEVELS:
        yield " … ".join(number(float(end[k, t]), m.unit) for end in result.band(level))


def causes_table(result: Tolerance, measures: Sequence[Measure]) -> Table:
    """Which errors cause most of each variance in the design position."""
    title = f"What causes the variance {result.case.start} (first order)"
    columns = (Column("measure", text=True), Column("causes", long=True))
    return Table.of("causes", columns, [[m.name, _causes(result, m)] for m in measures], title)


def _causes(result: Tolerance, m: Measure) -> str:
    share = result.first.start_share[result.row(m.name)]
    if not share.any():
        return "no uncertainty: it is set by figures that are taken as exact"
    groups: dict[str, dict[str, float]] = {}
    for source, part in zip(result.uncertainty.sources, share.tolist(), strict=True):
        members = groups.setdefault(source.group or str(source), {})
        members[str(source)] = members.get(str(source), 0.0) + part
    top = sorted(groups.items(), key=lambda g: -sum(g[1].values()))[:MOST_CAUSES]
    return ", ".join(_cause(name, members) for name, members in top if sum(members.values()) >= SMALL)


def _cause(name: str, members: dict[str, float]) -> str:
    """A cause with its part of the variance; of a group also the one that causes most in it."""
    text = f"{name} {percent(sum(members.values()))}"
    if len(members) < 2:
        return text
    most, part = max(members.items(), key=lambda m: m[1])
    return f"{text} (most: {most} {percent(part)})"


def design_table(result: Tolerance, measures: Sequence[Measure]) -> Table:
    """Measures where the drive is 0 with gradient and uncertainty, bands of first order."""
    drive, where = result.case.drive, result.case.start.removeprefix("in the ")
    columns = (
        Column("measure", text=True),
        Column("value", head="value ± σ"),
        Column("band", head=BANDS[1]),
        Column("per_mm", head=f"per {drive.unit} of {drive.name} ± σ"),
        Column("sign", long=True),
    )
    rows = [_design(result, m) for m in measures]
    return Table.of("design", columns, rows, f"{result.title}, {where}, bands of first order")


def _design(result: Tolerance, m: Measure) -> tuple[Cell, ...]:
    k, first = result.row(m.name), result.first
    known = result.uncertainty.known
    value = float(first.start[k])
    sigma, rate = (
        float(np.sqrt((slope[k] ** 2).sum())) if known else float("nan")
        for slope in (first.start_slope, first.rate_slope)
    )
    half = half_width(LEVELS[1]) * sigma
    band = f"{number(value - half, m.unit)} … {number(value + half, m.unit)}" if known else "–"
    gradient = Quantity(float(first.rate[k]), m.unit, "rate", rate)
    return m.name, Quantity(value, m.unit, sigma=sigma), band, gradient, m.sign


def bands_record(result: Tolerance) -> Table:
    """One row a measure and position: value, deviations and bands by both ways."""
    drive = result.case.drive
    names = (
        "measure", "unit", drive.column, "value", "sigma_first_order", "low_68_first_order", "high_68_first_order",
        "low_95_first_order", "high_95_first_order", "mean_samples", "sigma_samples", "low_68_samples",
        "high_68_samples", "low_95_samples", "high_95_samples", "samples", "samples_failed",
    )  # fmt: skip
    return Table.of("bands", names, _bands(result))


def _bands(result: Tolerance) -> Iterator[list[Cell]]:
    first, spread = result.first, result.spread
    flat = [result.band(level, first_order=True) for level in LEVELS]
    for k, m in enumerate(result.measures):
        for t, at in enumerate(result.case.at):
            row: list[Cell] = [m.name, m.unit, float(at), float(first.value[k, t]), float(first.sigma[k, t])]
            row += [float(end[k, t]) for band in flat for end in band]
            if spread is None:
                row += [None] * 6 + [0, None]
            else:
                row += [float(spread.mean[k, t]), float(spread.sigma[k, t])]
                row += [float(e[level][k, t]) for level in LEVELS for e in (spread.low, spread.high)]
                row += [spread.samples, int(spread.failed[t])]
            yield row


def shares_record(result: Tolerance) -> Table:
    """One row a measure, position and source of uncertainty: what it does and its part of the variance."""
    names = (
        "measure", "unit", result.case.drive.column, "source", "axis", "shared", "sigma", "sigma_unit",
        "change_per_sigma", "share_pct",
    )  # fmt: skip
    return Table.of("shares", names, _shares(result))


def _shares(result: Tolerance) -> Iterator[list[Cell]]:
    share, slope = result.first.share, result.first.slope
    for k, m in enumerate(result.measures):
        for t, at in enumerate(result.case.at):
            for s, source in enumerate(result.uncertainty.sources):
                kind = "yes" if source.shared else "no"
                row: list[Cell] = [m.name, m.unit, float(at), source.name, source.axis, kind]
                row += [source.sigma, source.unit]
                yield [*row, float(slope[k, s, t]), 100.0 * float(share[k, s, t])]


def agreement(result: Tolerance, measures: Sequence[Measure]) -> tuple[str, ...]:
    """Where first order and samples differ, and how many samples failed; nothing without samples."""
    if result.spread is None:
        return ()
    apart, settled = result.disagreement(), result.case.drive.name == "loads"
    told = []
    for m in measures:
        row = apart[result.row(m.name)]
        if np.isfinite(row).any():
            worst = int(np.nanargmax(np.abs(row)))
            if abs(row[worst]) > APART:
                where = "" if settled else f" at {result.case.drive.place(result.case.at[worst])}"
                said = f"{m.name}: {100.0 * row[worst]:+.0f} %{where}"
                told.append(said.replace("-", "−"))
    text = f"First order and samples agree within {100.0 * APART:.0f} % in all measures shown"
    text += "." if settled else f", over all {result.case.drive.name}."
    if told:
        text = "Samples spread otherwise than first order says (the measure bends within the doubt): " + "; ".join(told)
    failed = int(result.spread.failed.max())
    lost = "that do not settle" if settled else "that could not be assembled"
    return text, f"Sampled cars {lost}: {failed or 'none'}."


def curves(cars: Sequence[tuple[str, Tolerance]], measures: Sequence[Measure]) -> list[Panel]:
    """A panel a measure with a line and its bands for every car that has it."""
    return [_panel(cars, m) for m in measures]


def _panel(cars: Sequence[tuple[str, Tolerance]], m: Measure) -> Panel:
    traces = []
    for k, (label, one) in enumerate(cars):
        if m.name in [x.name for x in one.measures]:
            row = one.row(m.name)
            ends = [one.band(level) for level in LEVELS] if one.uncertainty.known else []
            bands = tuple((low[row], high[row]) for low, high in ends)
            traces.append(Trace(one.case.at, one.first.value[row], label, CARS[k % len(CARS)], k, bands))
    return Panel(m.label, m.unit, m.sign, cars[0][1].case.drive.axis, tuple(traces))
