"""Forces under load cases: a row a link, joint, pickup and spring at every position, and what is read of them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from os import PathLike
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from kin3d.errors import Finding, RequestError
from kin3d.linkage.parts import part_of
from kin3d.loads.listed import ForceKind
from kin3d.studies.case_forces import CAUTION, CaseForces
from kin3d.studies.free_bodies import draw_free_bodies
from kin3d.studies.margins_view import margin_records, shown_margins
from kin3d.writing.panels import DASHES, Panel, Trace, draw_panels
from kin3d.writing.result import Result
from kin3d.writing.style import PART_COLOURS
from kin3d.writing.tables import Cell, Column, Table

if TYPE_CHECKING:
    import xarray

Array = NDArray[np.float64]
HALVED = (
    "How a hinged body's force along its hinge line is split between its two pickups is statically indeterminate: each "
    "is given half of it; their sum is exact."
)
ROW = ("case", "travel_mm", "rack_mm", "side", "kind", "name", "on", "fx_n", "fy_n", "fz_n", "axial_n")


@dataclass(frozen=True, slots=True, repr=False)
class Forces(Result):
    """Forces of a car under its load cases.

    Attributes
    ----------
    title : str
    parts : tuple of CaseForces
        One a case and loaded corner.
    findings : tuple of Finding
        Positions not reached, wheels lifted, what was assumed.
    """

    kind = "forces"

    title: str
    parts: tuple[CaseForces, ...]
    findings: tuple[Finding, ...]

    @property
    def complete(self) -> bool:
        """Whether every position was reached."""
        return all(part.ok.all() for part in self.parts)

    def summary(self) -> str:
        """Title, cases, corners."""
        cases = dict.fromkeys(part.case for part in self.parts)
        corners = dict.fromkeys(f"{part.axle} {part.side}" for part in self.parts)
        return (
            f"{self.title}: {len(cases)} load case{'s' * (len(cases) != 1)} ({', '.join(cases)}); {', '.join(corners)}"
        )

    def tables(self, measures: Sequence[str] | None = None) -> tuple[Table, ...]:  # noqa: ARG002 - none to choose
        """Links and springs along their lines, then joints and pickups by their resultants; a table an axle."""
        out = []
        for axle in dict.fromkeys(part.axle for part in self.parts):
            parts = [part for part in self.parts if part.axle == axle]
            out.append(
                self._table(parts, f"{axle}_axial", f"{axle} axle: along links and springs, N, tension positive", True)
            )
            out.append(self._table(parts, f"{axle}_joints", f"{axle} axle: resultant at joints and pickups, N", False))
            out += shown_margins(axle, parts)
        return tuple(t for t in out if t.rows)

    def _table(self, parts: Sequence[CaseForces], key: str, title: str, axial: bool) -> Table:
        """A row a link or joint, a column a case: the figure that is largest over its corners and positions."""
        cases = list(dict.fromkeys(part.case for part in parts))
        found: dict[str, dict[str, float]] = {}
        for part in parts:
            for force in part.forces():
                if (force.axial is None) is axial:
                    continue
                values = (force.axial if force.axial is not None else force.size)[part.ok]
                label = part.label(force)
                for v in values.tolist():
                    row = found.setdefault(label, {})
                    if abs(v) >= abs(row.get(part.case, 0.0)):
                        row[part.case] = v
        rows: list[tuple[Cell, ...]] = []
        for label, row in found.items():
            worst = max(row, key=lambda case: abs(row[case]))
            rows.append((label, *(row.get(case) for case in cases), *([worst] if len(cases) > 1 else [])))
        columns = [
            Column("link" if axial else "joint", text=True, key=True),
            *(Column(c, "N", places=0) for c in cases),
        ]
        columns += [Column("largest_in", head="largest in", text=True)] if len(cases) > 1 else []
        return Table.of(key, columns, rows, title)

    def records(self) -> tuple[Table, ...]:
        """Every force at every position; then the extremes of each over the cases; then how well bodies balance."""
        both = len({part.axle for part in self.parts}) > 1
        columns = [Column(n, "N" if n.endswith("_n") else "mm" if n.endswith("_mm") else "") for n in ROW]
        rows: list[tuple[Cell, ...]] = []
        for part in self.parts:
            for force in part.forces():
                for k in np.flatnonzero(part.ok).tolist():
                    x, y, z = force.force[:, k].tolist()
                    axial = None if force.axial is None else float(force.axial[k])
                    where = (part.case, float(part.travel_mm[k]), float(part.rack_mm[k]), part.side)
                    row = (*where, force.kind, force.name, force.on, x, y, z, axial)
                    rows.append((*row, part.axle) if both else row)
        if both:  # one axle alone needs no column of its own
            columns.append(Column("axle"))
        balance = [(p.case, p.axle, p.side, p.error) for p in self.parts]
        return (
            Table.of("forces", columns, rows),
            self._extremes(),
            Table.of("balance", ("case", "axle", "side", "left_over_n"), balance),
            self._hinges(),
            *margin_records(self.parts),
        )

    def _hinges(self) -> Table:
        """The force along each hinge line, which its two pickups have in all, and the half that each is given.

        On the body that is hinged, along the line from the first point to the second.
        """
        rows: list[tuple[Cell, ...]] = []
        for part in self.parts:
            at, on_body = part.joints.at, part.joints.on_body
            for body, other, first, second in part.joints.hinges:
                line = at[second] - at[first]
                line = line / np.linalg.norm(line, axis=0)
                along = ((on_body[body, first] + on_body[body, second]) * line).sum(axis=0)
                for k in np.flatnonzero(part.ok).tolist():
                    where = (part.case, part.axle, part.side, float(part.travel_mm[k]), float(part.rack_mm[k]))
                    rows.append((*where, body, other, first, second, float(along[k]), 0.5 * float(along[k])))
        heads = ("case", "axle", "side", "travel_mm", "rack_mm", "body", "other", "first", "second")
        return Table.of("hinges", (*heads, Column("along_n", "N"), Column("half_n", "N")), rows)

    def _extremes(self) -> Table:
        """Least and greatest of each force over all cases, positions and sides, with where they are."""
        found: dict[tuple[str, ForceKind, str, str], list[tuple[float, CaseForces, int]]] = {}
        for part in self.parts:
            for force in part.forces():
                values = force.axial if force.axial is not None else force.size
                entry = found.setdefault((part.axle, force.kind, force.name, force.on), [])
                entry += [(float(values[k]), part, k) for k in np.flatnonzero(part.ok).tolist()]
        rows: list[tuple[Cell, ...]] = []
        for key, entries in found.items():
            ends = [pick(entries, key=lambda e: e[0]) for pick in (min, max)] if entries else []
            cells = [cell for v, part, k in ends for cell in (v, part.case, part.side, float(part.travel_mm[k]))]
            rows.append((*key, *cells) if ends else (*key, *[None] * 8))
        heads = [f"{end}_{what}" for end in ("least", "greatest") for what in ("n", "case", "side", "travel_mm")]
        return Table.of("extremes", ("axle", "kind", "name", "on", *heads), rows)

    def notes(self) -> tuple[str, ...]:
        """What is indeterminate, how well bodies balance, the usual caution."""
        worst = max((part.error for part in self.parts), default=0.0)
        return (HALVED, f"What is left over on any body: {worst:.0e} N or N·m at most.", CAUTION)

    def dataset(self) -> xarray.Dataset:
        """Every force as rows of one dimension: ``fx_n``, ``fy_n``, ``fz_n``, ``axial_n`` over ``row``."""
        import xarray

        table = self.records()[0]
        columns = list(zip(*table.rows, strict=True)) if table.rows else [()] * len(table.columns)
        data = {}
        for column, values in zip(table.columns, columns, strict=True):
            numeric = column.name.endswith(("_n", "_mm"))
            cells = [np.nan if v is None else v for v in values] if numeric else [str(v) for v in values]
            data[column.name] = ("row", np.array(cells, dtype=float if numeric else str), {"units": column.unit or "1"})
        return xarray.Dataset(data, attrs={"title": self.title, "notes": "\n".join(self.notes())})

    def plot(self, path: str | PathLike[str], measures: Sequence[str] | None = None) -> None:  # noqa: ARG002
        """Forces along links and springs over travel, a panel a case on one tyre that has several travels.

        Raises
        ------
        RequestError
            Where there is none: `bodies` draws the forces of one position.
        """
        self.refuse_pictures(path)
        panels = [self._panel(part) for part in self.parts if len(part.travel_mm) > 1]
        draw_panels(f"{self.title}: forces along links and springs", panels, Path(path))

    def bodies(self, path: str | PathLike[str]) -> None:
        """Draw upright, arms and rocker apart with the forces on each, of one case and corner.

        Raises
        ------
        RequestError
            Where there is more than one case.
        """
        self.refuse_pictures(bodies=path)
        part = max(self.parts, key=lambda p: max(float(np.linalg.norm(r.force, axis=0).max()) for r in p.roads))
        draw_free_bodies(part, Path(path), self.title)

    def refuse_pictures(
        self, curves: str | PathLike[str] | None = None, bodies: str | PathLike[str] | None = None
    ) -> None:
        """Raise RequestError for pictures that there are not, of those of which a place is given."""
        cases = list(dict.fromkeys(part.case for part in self.parts))
        found = []
        if curves is not None and all(len(part.travel_mm) < 2 for part in self.parts):
            text = "no case has several travels, so that there are no curves; give --travel to a case on one tyre"
            found.append(Finding("no-picture", f"{text}, or draw --bodies", str(curves)))
        if bodies is not None and len(cases) != 1:
            text = f"free bodies show one case; there are {', '.join(cases)}: choose one with --cases"
            found.append(Finding("case-several", text, str(bodies)))
        if found:
            raise RequestError(found)

    @staticmethod
    def _panel(part: CaseForces) -> Panel:
        order = np.argsort(part.travel_mm)
        traces = []
        for n, force in enumerate(part.forces()):
            if force.axial is None:
                continue
            at = {p: v[:, 0] for p, v in part.joints.at.items()}
            what = part_of(part.linkage, force.name, at) if force.kind == "link" else "spring"
            colour = PART_COLOURS[what]
            values = np.where(part.ok, force.axial, np.nan)[order]
            traces.append(Trace(part.travel_mm[order], values, force.name, colour, n % len(DASHES)))
        title = f"{part.case}, {part.axle} {part.side}"
        return Panel(title, "N", "tension positive", "wheel travel (mm), bump positive", tuple(traces), legend=True)
