"""Clearance as a result: the least gap of every pair, where it is, how sure it is, where a wanted gap is used up."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from os import PathLike
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from kin3d.errors import Finding, RequestError
from kin3d.measures.gaps import is_simple, pair_name
from kin3d.studies.clearance_gaps import UNITS, AxleClearance
from kin3d.studies.clearance_view import draw_curves, draw_place, place_views
from kin3d.writing.numbers import with_sign
from kin3d.writing.result import Result
from kin3d.writing.tables import Cell, Column, Quantity, Table

if TYPE_CHECKING:
    from matplotlib.axes import Axes

SHOWN = 12  # pairs in the table for a person
MOST = 3  # coordinates shown for each gap
HOW = (
    "A gap is from surface to surface, negative where one is in the other. Solids that turn with one body are not set "
    "against each other; the linkage is rigid, joints have no play."
)
MESHED = "Gaps to meshes are those of their triangles; in the design position a mesh stays where it was drawn."


@dataclass(frozen=True, slots=True, repr=False)
class Clearance(Result):
    """Gaps of a car's solids.

    Attributes
    ----------
    title : str
    parts : tuple of AxleClearance
        Left and right of each axle.
    wanted_mm : float
        The gap that is wanted.
    findings : tuple of Finding
        Positions not reached, odd meshes.
    """

    kind = "clearance"

    title: str
    parts: tuple[AxleClearance, ...]
    wanted_mm: float
    findings: tuple[Finding, ...]

    @property
    def complete(self) -> bool:
        """Whether every position was reached and no pair comes to touch."""
        return all(p.ok.all() for p in self.parts) and not any(p.least(r) <= 0.0 for p in self.parts for r in p.rows())

    def nearest(self) -> tuple[AxleClearance, int] | None:
        """Corner and row of the least gap of all that change; None where all pairs touch in the design position."""
        every = [(p, r) for p in self.parts for r in p.rows()]
        every = [(p, r) for p, r in every if not p.still(r)] or every
        return min(every, key=lambda pr: pr[0].least(pr[1]), default=None)

    def summary(self) -> str:
        """The least gap of all and where it is."""
        worst = self.nearest()
        if worst is None:
            return f"{self.title}: clearance; all pairs touch in the design position"
        part, row = worst
        least = part.least(row)
        said = f"{least:.2f} mm" if least > 0.0 else "contact"
        return f"{self.title}: least gap {said}, {part.axle} {part.side}, {_words(part, row)}"

    def tables(self, measures: Sequence[str] | None = None) -> tuple[Table, ...]:  # noqa: ARG002 - none to choose
        """The least gap of every pair, where the wanted gap is used up, which coordinates matter."""
        out = []
        for axle in dict.fromkeys(p.axle for p in self.parts):
            both = [p for p in self.parts if p.axle == axle]
            out += [_gaps_table(both), *_limits_table(both, self.wanted_mm), *_matters_table(both)]
        return tuple(out)

    def records(self) -> tuple[Table, ...]:
        """``gaps``: every pair in every position; ``limits``; ``sensitivities`` of the least gaps."""
        drives = tuple(dict.fromkeys(n for p in self.parts for n in p.drives))
        heads = (*(f"{n}_{UNITS[n]}" for n in drives), "axle", "side", "first", "second", "status", "gap_mm")
        of_pair = ("axle", "side", "pair")
        near = tuple(f"{which}_{c}_mm" for which in ("first", "second") for c in "xyz")
        gaps = [row for p in self.parts for row in _every(p)]
        limits = [row for p in self.parts for row in _limit_rows(p, self.wanted_mm)]
        slopes = [row for p in self.parts for row in _slope_rows(p)]
        return (
            Table.of("gaps", (*heads, *near), gaps),
            Table.of("limits", (*of_pair, "drive", "end", "used_up_at", "unit", "wanted_gap_mm"), limits),
            Table.of("sensitivities", (*of_pair, "gap_mm", "sigma_mm", "coordinate", "mm_per_mm"), slopes),
        )

    def notes(self) -> tuple[str, ...]:
        """What a gap is; pairs that touch in the design position; what is known of meshes."""
        joined: dict[str, None] = {}
        for part in self.parts:
            joined |= dict.fromkeys(f"{part.axle} {pair_name(part.pairs[r])}" for r in np.flatnonzero(part.touching))
        out = [HOW]
        if joined:
            names = ", ".join(joined)
            out.append(f"These touch in the design position, joined or drawn so, and are not told above: {names}.")
        if any(not is_simple(pair) for part in self.parts for pair in part.pairs):
            out.append(MESHED)
        return tuple(out)

    def plot(self, path: str | PathLike[str], measures: Sequence[str] | None = None) -> None:  # noqa: ARG002
        """Draw the gaps of the nearest pairs over their first drive."""
        draw_curves(self.title, self.parts, self.wanted_mm, Path(path))

    def picture(self, path: str | PathLike[str]) -> None:
        """Draw the worst place: a section through the wheel where it has a part in it, from the front, from above."""
        worst = self.nearest()
        if worst is None:
            raise RequestError(Finding("no-picture", "all pairs touch in the design position", str(path)))
        draw_place(self.title, *worst, Path(path))

    def views(self) -> Mapping[str, Callable[[Axes], None]]:
        """What draws each of these views on axes of its own, by the view's name; none where all pairs touch."""
        worst = self.nearest()
        return {} if worst is None else place_views(*worst)


def _words(part: AxleClearance, row: int) -> str:
    return f"{pair_name(part.pairs[row])} at {part.place(part.worst(row))}"


def _gaps_table(both: Sequence[AxleClearance]) -> Table:
    """A row a pair: of the side on which it is nearest."""
    nearest: dict[str, tuple[AxleClearance, int]] = {}
    for part in both:
        for row in part.rows():
            name = pair_name(part.pairs[row])
            known = nearest.get(name)
            if known is None or part.least(row) < known[0].least(known[1]) - 1e-6:
                nearest[name] = (part, row)
    drives = tuple(both[0].drives)
    columns = (
        Column("pair", text=True, key=True),
        Column("least_gap_mm", head="least gap mm", places=2),
        *(Column(f"{n}_{UNITS[n]}", head=f"at {n} {UNITS[n]}", places=1) for n in drives),
        Column("side", text=True),
        Column("design_gap_mm", head="design mm", places=2),
        Column("sigma_mm", head="σ mm", places=2),
        Column("contact", head="chance of contact", text=True),
        Column("state", text=True),
    )
    rows = []
    order = sorted(nearest.items(), key=lambda x: x[1][0].least(x[1][1]))
    still = [f"{n} {p.least(r):.1f}" for n, (p, r) in order if p.still(r)]
    order = [x for x in order if not x[1][0].still(x[1][1])]
    for name, (part, row) in order[:SHOWN]:
        lane, doubt = part.worst(row), part.doubts.get(row)
        sigma = None if doubt is None or not np.isfinite(doubt.sigma_mm) else doubt.sigma_mm
        chance = part.contact_chance(row)
        at = (float(v[lane]) for v in part.drives.values())
        state = "comes to touch" if part.least(row) <= 0.0 else "clear"
        said: Cell = "" if chance is None else _chance(chance)
        rows.append((name, part.least(row), *at, part.side, float(part.design[row]), sigma, said, state))
    rest = [part.least(row) for _, (part, row) in order[SHOWN:]]
    note = [f"{len(rest)} more pairs stay {min(rest):.1f} mm or more apart."] if rest else []
    note += [f"Gaps that do not change, mm: {', '.join(still)}."] if still else []
    title = f"{both[0].axle} axle: least gap of each pair"
    return Table.of(f"{both[0].axle}_gaps", columns, rows, title, note)


def _chance(chance: float) -> str:
    if chance < 1e-4:
        return "< 0.01 %"
    return "> 99.9 %" if chance > 0.999 else str(Quantity(chance, form="percent"))


def _limits_table(both: Sequence[AxleClearance], wanted: float) -> list[Table]:
    """What of each drive is left before the wanted gap is used up; a row a pair and side that has a limit."""
    ends = list(dict.fromkeys((x.drive, x.end) for p in both for x in p.limits))
    ends.sort(key=lambda e: (list(UNITS).index(e[0]), e[1]))
    columns = (
        Column("pair", text=True, key=True),
        Column("side", text=True),
        *(Column(f"{n}_{'up' if e > 0 else 'down'}", head=f"{n} to {e:+g} {UNITS[n]}", places=1) for n, e in ends),
    )
    rows = []
    for part in both:
        for row in part.rows():
            own = {(x.drive, x.end): x.at for x in part.limits if x.row == row}
            if own and not part.still(row):
                rows.append((pair_name(part.pairs[row]), part.side, *(own.get(e) for e in ends)))
    if not rows:
        return []
    title = f"{both[0].axle} axle: where {wanted:g} mm are used up, other drives at 0 (empty: not in that range)"
    return [Table.of(f"{both[0].axle}_limits", columns, rows, title)]


def _matters_table(both: Sequence[AxleClearance]) -> list[Table]:
    """The coordinates that change the nearest pairs' least gaps most."""
    part = min((p for p in both if p.rows()), key=lambda p: p.least(p.rows()[0]), default=None)
    if part is None:
        return []
    rows = []
    for row in part.rows()[:SHOWN]:
        doubt = part.doubts.get(row)
        if doubt is None or not np.isfinite(doubt.slope).all():
            continue
        order = np.argsort(-np.abs(doubt.slope))[:MOST]
        slopes = [(doubt.names[k], float(doubt.slope[k])) for k in order if abs(doubt.slope[k]) > 1e-6]
        said = ", ".join(f"{name} {with_sign(slope, '+.2f')}" for name, slope in slopes)
        rows.append((pair_name(part.pairs[row]), said))
    said_of = Column("coordinates", head="mm of gap per mm of", text=True, long=True)
    columns = (Column("pair", text=True, key=True), said_of)
    title = f"{part.axle} {part.side}: coordinates that change the least gaps most"
    return [Table.of(f"{part.axle}_matters", columns, rows, title)] if rows else []


def _every(part: AxleClearance) -> Iterator[tuple[Cell, ...]]:
    for lane in np.flatnonzero(part.ok).tolist():
        at = tuple(float(v[lane]) for v in part.drives.values())
        for row, pair in enumerate(part.pairs):
            near = (*part.first[row, :, lane], *part.second[row, :, lane])
            gap = float(part.gap[row, lane])
            status = "touches in design" if part.touching[row] else ("contact" if gap <= 0.0 else "clear")
            cells = (float(v) if np.isfinite(v) else None for v in near)
            yield (*at, part.axle, part.side, pair[0].name, pair[1].name, status, gap, *cells)


def _limit_rows(part: AxleClearance, wanted: float) -> Iterator[tuple[Cell, ...]]:
    for x in part.limits:
        yield part.axle, part.side, pair_name(part.pairs[x.row]), x.drive, x.end, x.at, UNITS[x.drive], wanted


def _slope_rows(part: AxleClearance) -> Iterator[tuple[Cell, ...]]:
    for row, doubt in part.doubts.items():
        sigma = doubt.sigma_mm if np.isfinite(doubt.sigma_mm) else None
        for name, slope in zip(doubt.names, doubt.slope, strict=True):
            value = float(slope) if np.isfinite(slope) else None
            yield part.axle, part.side, pair_name(part.pairs[row]), part.least(row), sigma, name, value
