"""The report as a result: one page to hand on, and the tables that it is made of."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from os import PathLike
from pathlib import Path

from kin3d.errors import Finding
from kin3d.report.page import render
from kin3d.studies.report_data import ReportData
from kin3d.writing.files import check_place, write_file
from kin3d.writing.result import Result
from kin3d.writing.tables import Table


@dataclass(frozen=True, slots=True, repr=False)
class Report(Result):
    """One car or several on one page.

    Attributes
    ----------
    data : ReportData
        What the studies found.
    command : str
        What stands in the page as the way to make it again.
    scenes : mapping of str to str
        By axle, a page of its own with the linkage in motion.
    """

    kind = "report"

    data: ReportData
    command: str
    scenes: Mapping[str, str]

    def summary(self) -> str:
        """Cars and axles."""
        cars, axles = [c.title for c in self.data.cars], [p.axle for p in self.data.axles]
        return f"{' and '.join(cars)}: {' and '.join(axles)} axle"

    @property
    def findings(self) -> tuple[Finding, ...]:
        """Warnings and notes of the studies."""
        return (*self.data.findings, *(f for part in self.data.axles for f in part.comparison.findings))

    def tables(self, measures: Sequence[str] | None = None) -> tuple[Table, ...]:
        """The tables of the comparison of every axle."""
        return tuple(t for part in self.data.axles for t in part.comparison.tables(measures))

    def records(self) -> tuple[Table, ...]:
        """The records of the comparison of every axle, their keys with the axle before them."""
        return tuple(
            replace(t, key=f"{part.axle}_{t.key}") for part in self.data.axles for t in part.comparison.records()
        )

    def html(self) -> str:
        """The page's text."""
        return render(self.data, self.command, self.scenes)

    def save(self, path: str | PathLike[str], table: str | None = None) -> int:
        """Write the page (``.html``), or the tables as every result does; the number of rows, 0 for the page.

        Raises
        ------
        RequestError
            For another ending, or a place that cannot be written to.
        """
        place = Path(path)
        if place.suffix.lower() in (".csv", ".json"):
            return Result.save(self, path, table)
        check_place(place, (".html", ".csv", ".json"), "save")
        write_file(place, self.html())
        return 0
