"""The one table of the program: what the terminal, the page, CSV and JSON show is a `Table`, written by one way each.

A table knows its columns and its cells as values; how many places a figure deserves is decided where it is shown.
"""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any, Literal

from kin3d.writing.numbers import cell, fixed, number, percent, rate, signed, signed_rate

Form = Literal["number", "signed", "rate", "signed rate", "percent"]


@dataclass(frozen=True, slots=True)
class Quantity:
    """A figure with its unit, where a column holds figures of several units.

    Attributes
    ----------
    value : float
        NaN where there is none.
    unit : str
        Unit at interfaces; it decides how many places are shown.
    form : str
        ``"signed"`` shows a plus, ``"rate"`` is a derivative per mm of a figure in that unit (``"signed rate"`` with
        a plus), ``"percent"`` shows a share from 0 to 1.
    sigma : float
        Its standard deviation, shown behind a "±"; NaN where it is not known or not to be shown.
    """

    value: float
    unit: str = ""
    form: Form = "number"
    sigma: float = math.nan

    def __str__(self) -> str:
        if math.isfinite(self.sigma):
            plain_form: Form = "rate" if "rate" in self.form else "number"
            return f"{Quantity(self.value, self.unit, self.form)} ± {Quantity(self.sigma, self.unit, plain_form)}"
        if self.form == "percent":
            return percent(self.value) if math.isfinite(self.value) else "–"
        show = {"number": number, "signed": signed, "rate": rate, "signed rate": signed_rate}[self.form]
        return show(self.value, self.unit)


Cell = str | float | int | None | Quantity


@dataclass(frozen=True, slots=True)
class Column:
    """One column.

    Attributes
    ----------
    name : str
        In files, with the unit in it: ``"camber_deg"``.
    unit : str
        Unit of plain floats in it; it decides how many places are shown.
    head : str
        Words over the column for a person; empty: the name.
    places : int or None
        Places after the point, where the unit should not decide.
    text : bool
        Set to the left.
    long : bool
        A text that may run over several lines.
    key : bool
        Says which row it is: repeated at the left of every block of a table wider than the terminal.
    """

    name: str
    unit: str = ""
    head: str = ""
    places: int | None = None
    text: bool = False
    long: bool = False
    key: bool = False

    def show(self, value: Cell) -> str:
        """A cell of this column as a person reads it."""
        if value is None:
            return ""
        if isinstance(value, float):
            return number(value, self.unit) if self.places is None else fixed(value, self.places)
        return str(value)


@dataclass(frozen=True, slots=True)
class Table:
    """Rows under columns.

    Attributes
    ----------
    key : str
        Short name: the table's place in JSON and in pages.
    columns : tuple of Column
    rows : tuple of tuple of Cell
        As long as `columns` each.
    title : str
    notes : tuple of str
        Sentences that stand below it.
    breaks : frozenset of int
        Rows before which a rule or a gap stands.
    """

    key: str
    columns: tuple[Column, ...]
    rows: tuple[tuple[Cell, ...], ...]
    title: str = ""
    notes: tuple[str, ...] = ()
    breaks: frozenset[int] = field(default_factory=frozenset)

    @staticmethod
    def of(
        key: str,
        columns: Iterable[Column | str],
        rows: Iterable[Sequence[Cell]],
        title: str = "",
        notes: Iterable[str] = (),
        breaks: Iterable[int] = (),
    ) -> Table:
        """A table of any iterables; a name alone stands for a column."""
        made = tuple(Column(c) if isinstance(c, str) else c for c in columns)
        return Table(key, made, tuple(tuple(r) for r in rows), title, tuple(notes), frozenset(breaks))

    def shown(self) -> list[list[str]]:
        """All cells as a person reads them."""
        return [[c.show(v) for c, v in zip(self.columns, row, strict=True)] for row in self.rows]

    def heads(self) -> list[str]:
        """Words over the columns."""
        return [c.head or c.name for c in self.columns]


def plain(value: Any) -> Any:
    """A value for JSON: 12 significant digits, None for what has no value; containers likewise."""
    if isinstance(value, Quantity):
        return plain(value.value)
    if isinstance(value, dict):
        return {k: plain(v) for k, v in value.items()}
    if isinstance(value, list | tuple):
        return [plain(v) for v in value]
    if isinstance(value, float):
        return float(cell(value)) if math.isfinite(value) else None
    return value


def csv_text(table: Table) -> str:
    """The table as tidy CSV: comma, header, 12 significant digits, an empty cell where there is no value."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow([c.name for c in table.columns])
    writer.writerows([[cell(v.value if isinstance(v, Quantity) else v) for v in row] for row in table.rows])
    return out.getvalue()


def json_object(table: Table) -> dict[str, Any]:
    """The table for JSON: columns with their units, rows as lists."""
    columns = [{"name": c.name} | ({"unit": c.unit} if c.unit else {}) for c in table.columns]
    return {"title": table.title, "columns": columns, "rows": plain(table.rows), "notes": list(table.notes)}
