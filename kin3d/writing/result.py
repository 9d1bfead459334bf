"""What every study returns: a result that knows how to show itself. Commands, page and window are readers of it."""

from __future__ import annotations

from abc import ABC, abstractmethod
from os import PathLike
from pathlib import Path
from typing import TYPE_CHECKING

from kin3d.errors import Finding, RequestError
from kin3d.writing.files import MARK, TABLES, check_place, write_file
from kin3d.writing.tables import Table, csv_text, json_object

if TYPE_CHECKING:
    from collections.abc import Sequence

    import xarray


class Result(ABC):
    """Base of every result.

    A study's record derives from it (``@dataclass(frozen=True, slots=True, repr=False)``) and gives `kind`, `summary`,
    `tables`, `records` and, where it has arrays, `dataset`; where it has a picture, `plot`.
    """

    __slots__ = ()
    kind: str = "result"  # the word of the command that makes it

    @abstractmethod
    def summary(self) -> str:
        """What was found, in a line or two."""

    @abstractmethod
    def tables(self, measures: Sequence[str] | None = None) -> tuple[Table, ...]:
        """What a person reads, in order; `measures` chooses, default the usual ones."""

    @abstractmethod
    def records(self) -> tuple[Table, ...]:
        """Everything, as tidy tables; the first is what a CSV file holds unless another is named."""

    def dataset(self) -> xarray.Dataset:
        """The result as labelled arrays with units and long names."""
        raise RequestError(Finding("no-array", f"a {self.kind} result is not an array; tables() gives its figures"))

    def plot(self, path: str | PathLike[str], measures: Sequence[str] | None = None) -> None:
        """Draw the result: ``.png``, ``.svg`` or ``.pdf`` by the path's ending."""
        asked = f" of {', '.join(measures)}" if measures else ""
        raise RequestError(Finding("no-picture", f"a {self.kind} result has no picture{asked}", str(path)))

    def notes(self) -> tuple[str, ...]:
        """Sentences that go with the figures: what was left out, what was assumed."""
        return ()

    def save(self, path: str | PathLike[str], table: str | None = None) -> int:
        """Write the result by the path's ending and return the number of rows written.

        Parameters
        ----------
        path : path-like
            ``.csv``: one tidy table; ``.json``: all of them with title and notes; ``.nc``: the labelled arrays.
        table : str, optional
            Key of the table that a CSV file is to hold; default the first of `records`.

        Raises
        ------
        RequestError
            For an ending or a table that is not known, or a place that cannot be written to.
        """
        place = Path(path)
        check_place(place, TABLES, "save")
        if place.suffix.lower() == ".nc":
            # netCDF classic format through SciPy: no further dependency
            write_file(place, bytes(self.dataset().assign_attrs(generator=MARK).to_netcdf(engine="scipy")))
            return sum(len(t.rows) for t in self.records()[:1])
        records = {t.key: t for t in self.records()}
        if place.suffix.lower() == ".json":
            import json  # not at every start

            content = {
                "generator": MARK,
                "kind": self.kind,
                "summary": self.summary(),
                "tables": {k: json_object(t) for k, t in records.items()},
                "notes": list(self.notes()),
            }
            write_file(place, json.dumps(content, indent=1, ensure_ascii=False, allow_nan=False) + "\n")
            return sum(len(t.rows) for t in records.values())
        if table is not None and table not in records:
            text = f'there is no table "{table}" in a {self.kind} result; there are: {", ".join(records)}'
            raise RequestError(Finding("table-unknown", text, str(place)))
        chosen = records[table] if table is not None else next(iter(records.values()))
        write_file(place, csv_text(chosen))
        return len(chosen.rows)

    def __repr__(self) -> str:
        said = self.summary().replace("\n", "; ")
        return f"<{self.kind}: {said}>"

    def _repr_html_(self) -> str:
        from html import escape

        from kin3d.writing.html import html_table

        first = self.tables()[:1]
        return f"<p>{escape(self.summary())}</p>" + "".join(html_table(t, most=12) for t in first)
