"""Rates of an axle and what they mean for the car, as a result: tables, files, labelled arrays, picture."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from os import PathLike
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from kin3d.errors import Finding, RequestError
from kin3d.linkage.car import Car
from kin3d.linkage.names import AxleName
from kin3d.measures.entry import Measure, available
from kin3d.studies import frequencies
from kin3d.studies.figure_doubt import FigureDoubt, figure_doubt
from kin3d.studies.frequencies import SprungCar
from kin3d.studies.rates import MEASURES, Array, AxleRates, RateCurve, axle_rates
from kin3d.writing.result import Result
from kin3d.writing.tables import Cell, Column, Quantity, Table

if TYPE_CHECKING:
    import xarray

_RATIO = "ratio: mm (deg for bars, torsion springs) of the element per mm of travel; shortened in bump positive."
_UNITS = {"heave_rate": "N/mm", "single_rate": "N/mm", "roll_rate": "N·m/deg"}
_ROLL = "in roll: left wheel up, right wheel down by the same."


@dataclass(frozen=True, slots=True, repr=False)
class Rates(Result):
    """Ratios and rates of every inboard element of an axle over the travel, and the figures of the car.

    Attributes
    ----------
    car : Car
    found : AxleRates
        Element by element, over the travel of both wheels in heave.
    measures : tuple of Measure
        The figures of the car that there is data for (`kin3d.studies.frequencies`).
    values : dict of str to float
        Their values in the design position.
    left_out : dict of str to str
        The others, and what is missing.
    doubt : FigureDoubt or None
        What deviations of figures make of the rates in the design position and of the car's figures; None where no
        figure has one.
    """

    car: Car
    found: AxleRates
    measures: tuple[Measure, ...]
    values: dict[str, float]
    left_out: dict[str, str]
    doubt: FigureDoubt | None = None
    kind = "rates"

    @property
    def findings(self) -> tuple[Finding, ...]:
        """What was assumed; stops, strokes, dead centres."""
        return self.found.findings

    @property
    def complete(self) -> bool:
        """Whether every travel was reached."""
        return bool(self.found.ok.all())

    @property
    def _curves(self) -> tuple[RateCurve, ...]:
        return (*self.found.curves, self.found.total)

    @property
    def _design(self) -> int:
        return int(np.argmin(np.abs(self.found.travel_mm)))

    def summary(self) -> str:
        """Rates of the axle in the design position."""
        heave, roll = (self.found.at_design(n) for n in ("heave_rate", "roll_rate"))
        at = f"{self.found.travel_mm[self._design]:g} mm of travel"
        head = f"{self.found.title}, {self.found.axle} axle, at {at}".replace("-", "−")
        return f"{head}: {Quantity(heave, 'N/mm')} N/mm a wheel in heave, {Quantity(roll, 'N·m/deg')} N·m/deg in roll"

    def tables(self, measures: Sequence[str] | None = None) -> tuple[Table, ...]:
        """The design position element by element, the sums over the travel, the figures of the car."""
        shown = [m for m in self.measures if measures is None or m.name in measures]
        rows = [(m.name, Quantity(self.values[m.name], m.unit), m.unit) for m in shown]
        columns = (Column("figure", text=True), Column("value"), Column("unit", text=True))
        whole = Table.of("car", columns, rows, "The car in the design position")
        doubt = (self.doubt.table(),) if self.doubt else ()
        return (self._elements(), self._travel(), *((whole,) if rows else ()), *doubt)

    def figures(self) -> tuple[tuple[str, str, float], ...]:
        """Name, unit and value of the sums in the design position and of the car's figures."""
        sums = {"heave_rate_n_per_mm": "heave_rate", "single_rate_n_per_mm": "single_rate"}
        sums |= {"roll_rate_n_m_per_deg": "roll_rate"}
        rates = [(f"{self.found.axle} {n}", _UNITS[a], self.found.at_design(a)) for n, a in sums.items()]
        return (*rates, *((m.name, m.unit, self.values[m.name]) for m in self.measures))

    def _elements(self) -> Table:
        heads = ("ratio\nheave", "ratio\nroll", "ratio\nsingle")
        columns = [Column("element", text=True), *(Column(h.replace("\n", "_"), "1", h) for h in heads)]
        for head in ("heave\nN/mm", "2nd\nterm", "single\nN/mm", "roll\nN·m/deg"):
            columns.append(Column(head.replace("\n", "_"), "N/mm", head))
        rows: list[tuple[Cell, ...]] = []
        for c in self._curves:
            ratios = [c.turn * r for r in (c.heave_ratio, c.roll_ratio, c.single_ratio)]
            figures = (*ratios, c.heave_rate, c.heave_second, c.single_rate, c.roll_rate)
            rows.append((c.name, *(float(v[self._design]) for v in figures)))
        at = f"{self.found.travel_mm[self._design]:g}".replace("-", "−")
        title = f"{self.found.title}, {self.found.axle} axle, at {at} mm of travel"
        return Table.of("elements", columns, rows, title, breaks=[len(rows) - 1])

    def _travel(self) -> Table:
        heads = ("heave\nN/mm", "2nd\nterm", "single\nN/mm", "roll\nN·m/deg", "track\nmm")
        total = self.found.total
        figures = (total.heave_rate, total.heave_second, total.single_rate, total.roll_rate, self.found.track_mm)
        columns = [Column("travel", head="travel\nmm"), *(Column(h.replace("\n", "_"), "N/mm", h) for h in heads)]
        rows: list[tuple[Cell, ...]] = [
            (f"{t:g}".replace("-", "−"), *(float(f[k]) for f in figures)) for k, t in enumerate(self.found.travel_mm)
        ]
        title = "Both wheels over the travel, all elements"
        return Table.of("travel", columns, rows, title, (f"{_RATIO}\n{_ROLL}",))

    def records(self) -> tuple[Table, ...]:
        """One row a travel and element, the sum last; one row a figure of the car.

        Deflection and force are mm and N, or for bars and torsion springs deg and N·m, as the column ``unit`` says;
        ratios are per mm of travel.
        """
        columns: list[Column | str] = [
            Column("travel_mm", "mm"),
            "element",
            "unit",
            *(Column(m.name, m.unit) for m in MEASURES),
        ]
        computed = [(c, [m.compute(c) for m in MEASURES]) for c in self._curves]
        rows: list[tuple[Cell, ...]] = [
            (float(travel), c.name, c.shown_unit, *(float(v[k]) for v in values))
            for k, travel in enumerate(self.found.travel_mm)
            for c, values in computed
        ]
        whole = [(m.name, self.values[m.name], m.unit) for m in self.measures]
        doubt = (self.doubt.record(),) if self.doubt else ()
        return Table.of("rates", columns, rows), Table.of("car", ("figure", "value", "unit"), whole), *doubt

    def notes(self) -> tuple[str, ...]:
        """What was left out, those with one reason together."""
        reasons: dict[str, list[str]] = {}
        for name, reason in self.left_out.items():
            reasons.setdefault(reason, []).append(name)
        return tuple(f"left out: {', '.join(names)}: {reason}" for reason, names in reasons.items())

    def dataset(self) -> xarray.Dataset:
        """Every measure of the elements over ``element`` and ``travel_mm``; the figures of the car are attributes."""
        import xarray

        dims = ("element", "travel_mm")
        variables = {
            m.name: (
                dims,
                np.stack([m.compute(c) for c in self._curves]),
                {"units": m.unit, "long_name": m.label, "definition": m.definition, "sign": m.sign},
            )
            for m in MEASURES
        }
        variables["track_mm"] = (("travel_mm",), self.found.track_mm, {"units": "mm", "long_name": "Track"})  # type: ignore[assignment]
        said = {"units": "mm", "long_name": "Travel of both wheels, bump positive"}
        travel = ("travel_mm", self.found.travel_mm, said)
        coordinates = {"element": ("element", [c.name for c in self._curves]), "travel_mm": travel}
        notes = "\n".join([*self.notes(), *(str(f) for f in self.findings)])
        about = {"title": self.found.title, "axle": self.found.axle, "notes": notes}
        return xarray.Dataset(variables, coordinates, about | self.values)

    def plot(self, path: str | PathLike[str], measures: Sequence[str] | None = None) -> None:
        """Draw the left corner's ratio, rate and rod force over the travel, and the rocker along its pivot line.

        Without a rocker ratios and rates of all elements are drawn.
        """
        from kin3d.studies.inboard import has_rocker, inboard_curves
        from kin3d.studies.inboard_plot import draw_inboard
        from kin3d.studies.rates_plot import draw_rates

        if measures:
            super().plot(path, measures)
        if not has_rocker(self.car.axle(self.found.axle).linkage):
            draw_rates(self.found, Path(path))
            return
        draw_inboard([inboard_curves(self.car, self.found.axle, self.found.travel_mm)], Path(path))


def rates(car: Car, axle: AxleName = "front", travel: Sequence[float] | Array = (0.0,)) -> Rates:
    """Ratios and rates of an axle's inboard elements over its travel, and frequencies of the car.

    Parameters
    ----------
    car : Car
    axle : {"front", "rear"}
    travel : array-like, mm
        Of both wheels in heave; bump positive.

    Returns
    -------
    Rates
        Ratios and rates in heave, roll and on one wheel, over the travel; frequencies where masses are given.

    Raises
    ------
    RequestError
        When the axle has no element, or the travel is empty or not finite.
    """
    found = _rates(car, axle, travel)
    return replace(found, doubt=figure_doubt(car, found.figures(), lambda c: _rates(c, axle, travel).figures()))


def _rates(car: Car, axle: AxleName, travel: Sequence[float] | Array) -> Rates:
    found = axle_rates(car, axle, travel)
    there: dict[AxleName, AxleRates] = {}
    for other in car.axles():
        try:
            there[other.name] = axle_rates(car, other.name, [0.0])
        except RequestError:
            continue  # an axle without elements: the entries say so
    subject = SprungCar.of(car, there)
    measures, left_out = available(subject, frequencies.MEASURES)
    return Rates(car, found, measures, {m.name: float(m.compute(subject)) for m in measures}, left_out)
