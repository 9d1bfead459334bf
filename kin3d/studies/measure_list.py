"""Every measure as a result: what the registry says of each, for the terminal, files and the page."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from kin3d.linkage.car import Car
from kin3d.linkage.names import AxleName
from kin3d.measures.entry import Measure, Scope
from kin3d.studies.force_names import forces_of
from kin3d.studies.registry import EVERY, asked
from kin3d.writing.result import Result
from kin3d.writing.tables import Column, Table

SCOPES: dict[Scope, str] = {
    "corner": "Of a corner (travel, rack)",
    "axle": "Of an axle, both wheels on the ground (heave, roll, rack)",
    "car": "Of the whole car (heave, pitch, roll, rack)",
    "element": "Of an inboard element (rates)",
}
_SHOWN = (
    Column("measure", text=True),
    Column("unit", text=True),
    Column("what", head="what it is; positive when; definition; source", long=True),
)
_FIELDS = (
    "scope", "group", "name", "label", "unit", "sign", "definition", "source", "axle", "usual", "mirror", "reads",
)  # fmt: skip


@dataclass(frozen=True, slots=True, repr=False)
class MeasureList(Result):
    """Measures that there are.

    Attributes
    ----------
    measures : tuple of Measure
        Scope by scope, in the order of tables.
    """

    measures: tuple[Measure, ...]
    kind = "measures"

    def summary(self) -> str:
        """How many there are of each scope."""
        return ", ".join(f"{len(self._of(scope))} of {scope}" for scope in SCOPES if self._of(scope))

    def _of(self, scope: Scope) -> list[Measure]:
        return [m for m in self.measures if m.scope == scope]

    def tables(self, measures: Sequence[str] | None = None) -> tuple[Table, ...]:
        """A table a scope, a rule between groups; `measures` chooses by name."""
        names = None if measures is None else asked(measures)
        made = []
        for scope, title in SCOPES.items():
            chosen = [m for m in self._of(scope) if names is None or m.name in names]
            rows = [(m.name, m.unit, f"{m.label}; {m.sign}. {m.definition}. Source: {m.source}") for m in chosen]
            breaks = [k for k in range(1, len(chosen)) if chosen[k].group != chosen[k - 1].group]
            if rows:
                made.append(Table.of(scope, _SHOWN, rows, title, breaks=breaks))
        return tuple(made)

    def records(self) -> tuple[Table, ...]:
        """One table, a row a measure with all that its entry says."""
        return (Table.of("measures", _FIELDS, [[_plain(getattr(m, f)) for f in _FIELDS] for m in self.measures]),)


def _plain(value: object) -> str | int:
    if isinstance(value, tuple):
        return " ".join(value)
    return int(value) if isinstance(value, int) else str(value or "")


def list_measures(axle: AxleName | None = None, car: Car | None = None) -> MeasureList:
    """Every measure, with unit, sign, definition and source.

    Parameters
    ----------
    axle : {"front", "rear"}, optional
        Only what this axle has; default both.
    car : Car, optional
        With the forces under its load cases too, which have their names from cases and parts of the car.

    Returns
    -------
    MeasureList
        By what a measure is of: a corner, an axle, the car, an inboard element.
    """
    axles = [] if car is None else [a.name for a in car.axles() if axle in (None, a.name)]
    forces = (replace(m, axle=name) for name in axles if car is not None for m in forces_of(car, name))
    every = (*EVERY, *forces)
    return MeasureList(
        tuple(m for scope in SCOPES for m in every if m.scope == scope and m.axle in (None, axle or m.axle))
    )
