"""Compliance as a result: per unit of load, and which joint or link has which part in it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kin3d.errors import Finding
from kin3d.linkage.names import AxleName
from kin3d.loads.elastic import DISPLACEMENTS, MOST_DEG, outside
from kin3d.studies.case_forces import CaseForces
from kin3d.writing.result import Result
from kin3d.writing.tables import Cell, Column, Table

Array = NDArray[np.float64]
HEADS = ("toe °", "camber °", "caster °", "wheel x mm", "wheel y mm", "wheel z mm")
SHOWN = (("Fx", 0), ("Fy", 0), ("Mz", 0), ("Fx", 1), ("Fy", 1))  # shares for a person: load, displacement
LINEAR = (
    "Linear, about the position without load: rigid arms, the spring held at its length, rack and wheel locked; joints "
    "and links without stiffness are rigid. Signs and frame are those of the measures; a moment is about z, upwards."
)
CAUTION = "Real bushes and rod ends have play, friction and a stiffness that grows. Safety is for qualified people."


@dataclass(frozen=True, slots=True)
class AxleCompliance:
    """Compliance of one corner over positions.

    Attributes
    ----------
    axle, side : str
    travel_mm, rack_mm : ndarray, shape (lanes,)
    ok : ndarray of bool
        Where the position was reached.
    loads : tuple of (str, str)
        Where each unit load acts and which it is.
    parts : tuple of (str, str, str)
        Kind, name and body of each elastic joint and link.
    given : ndarray, shape (parts, loads, displacements, lanes)
        What each adds to the displacements of `DISPLACEMENTS`, rad or mm per N or N·mm; NaN where there is none.
    """

    axle: AxleName
    side: str
    travel_mm: Array
    rack_mm: Array
    ok: NDArray[np.bool_]
    loads: tuple[tuple[str, str], ...]
    parts: tuple[tuple[str, str, str], ...]
    given: Array

    def per_unit(self) -> Array:
        """`given` in degrees or mm per kN or N·m."""
        return 1000.0 * outside(self.given)  # N in a kN, N·mm in a N·m

    def too_soft(self) -> list[Finding]:
        """The angle that changes most, where it is more than a degree under a kN or 100 N·m."""
        size = np.array([100.0 if load == "Mz" else 1.0 for _, load in self.loads])
        angles = np.abs(self.per_unit().sum(axis=0)[:, :3]) * size[:, None, None]
        angles = np.where(self.ok & np.isfinite(angles), angles, 0.0)
        most = float(angles.max())
        if most <= MOST_DEG:
            return []
        n, k, _ = np.unravel_index(int(angles.argmax()), angles.shape)
        place, load = self.loads[int(n)]
        text = (
            f"{load} of {'100 N·m' if load == 'Mz' else '1 kN'} at the {place} changes "
            f"{DISPLACEMENTS[int(k)].removesuffix('_deg')} by {most:.3g}°; linear figures hold to {MOST_DEG:g}°: is a "
            "stiffness in another unit?"
        )
        return [Finding("too-soft", text, f"{self.axle} {self.side}")]

    def where(self, k: int) -> tuple[Cell, ...]:
        """Cells that say which corner and position."""
        return self.axle, self.side, float(self.travel_mm[k]), float(self.rack_mm[k])


@dataclass(frozen=True, slots=True, repr=False)
class Compliance(Result):
    """Compliance of a car's corners.

    Attributes
    ----------
    title : str
    parts : tuple of AxleCompliance
        One a corner.
    findings : tuple of Finding
        Positions not reached.
    cases : tuple of CaseForces
        Corners under load cases, with what they bend.
    """

    kind = "compliance"

    title: str
    parts: tuple[AxleCompliance, ...]
    findings: tuple[Finding, ...]
    cases: tuple[CaseForces, ...] = ()

    @property
    def complete(self) -> bool:
        """Whether every position was reached."""
        return all(part.ok.all() for part in self.parts)

    def summary(self) -> str:
        """Title and corners."""
        return f"{self.title}: compliance, {', '.join(f'{p.axle} {p.side}' for p in self.parts)}"

    def tables(self, measures: Sequence[str] | None = None) -> tuple[Table, ...]:  # noqa: ARG002 - none to choose
        """Per unit of load, then the shares, of each corner at the travel nearest to 0; then what cases bend there."""
        out = [table for part in self.parts if part.ok.any() for table in _shown(part)]
        rows = [row for part in self.cases if part.ok.any() for row in _deflections(part, part.nearest)]
        title = "what each load case adds, from joints without load"
        return (*out, *([Table.of("deflections", _deflected(HEADS), rows, title)] if rows else []))

    def records(self) -> tuple[Table, ...]:
        """Every position: sums, what each joint and link adds to them, what load cases bend."""
        heads = ("axle", "side", "travel_mm", "rack_mm", "at", "load", "per")
        sums = [row for part in self.parts for row in _sums(part)]
        added = [row for part in self.parts for row in _added(part)]
        bent = [row for part in self.cases for k in np.flatnonzero(part.ok).tolist() for row in _deflections(part, k)]
        return (
            Table.of("compliance", (*heads, *DISPLACEMENTS), sums),
            Table.of("contributions", (*heads, "kind", "name", "on", *DISPLACEMENTS), added),
            Table.of("deflections", _deflected(), bent),
        )

    def notes(self) -> tuple[str, ...]:
        """What is held, the usual caution."""
        return LINEAR, CAUTION


def _deflected(heads: Sequence[str] = DISPLACEMENTS) -> list[Column]:
    where = (Column("case", text=True, key=True), Column("axle", text=True), Column("side", text=True))
    figures = (Column(n, head=h, places=4) for n, h in zip(DISPLACEMENTS, heads, strict=True))
    position = (Column(f"{n}_mm", "mm", f"{n} mm", places=1) for n in ("travel", "rack"))
    return [*where, *position, *figures]


def _deflections(part: CaseForces, k: int) -> Iterator[tuple[Cell, ...]]:
    for side, way in part.bends():
        yield (part.case, part.axle, side, float(part.travel_mm[k]), float(part.rack_mm[k]), *_cells(way[:, k]))


def _shown(part: AxleCompliance) -> tuple[Table, Table]:
    lane = int(np.argmin(np.where(part.ok, np.abs(part.travel_mm), np.inf)))
    given = part.per_unit()[..., lane]
    total = given.sum(axis=0)
    place = f"{part.axle} {part.side}, travel {part.travel_mm[lane]:.4g} mm, rack {part.rack_mm[lane]:g} mm"
    rows = [
        (f"{load} at the {at}" if load != "Mz" else load, _per(load), *_cells(total[n]))
        for n, (at, load) in enumerate(part.loads)
        if load != "Mz" or n == [x for _, x in part.loads].index("Mz")  # a couple is the same wherever it acts
    ]
    columns = (
        Column("load", text=True, key=True),
        Column("per", text=True),
        *(Column(n, head=h, places=5) for n, h in zip(DISPLACEMENTS, HEADS, strict=True)),
    )
    sums = Table.of(f"{part.axle}_{part.side}_compliance", columns, rows, f"{place}: changes per unit of load")
    at = part.loads[-1][0]  # the contact point where it is known
    kept = [(load, k, part.loads.index((at, load))) for load, k in SHOWN if np.isfinite(total[0, k])]
    share_rows = []
    for n, (_, name, on) in enumerate(part.parts):
        label = name if name == on else f"{name} ({on})"
        shares = [100.0 * given[n, m, k] / total[m, k] if total[m, k] else None for _, k, m in kept]
        share_rows.append((label, *shares))
    heads = [Column("part", text=True, key=True)]
    for load, k, _ in kept:
        name = DISPLACEMENTS[k]
        heads.append(Column(f"{name}_{load}", head=f"{name.removesuffix('_deg')}, {load} %", places=1))
    title = f"{part.axle} {part.side}: share of each joint and link, loads at the {at}"
    return sums, Table.of(f"{part.axle}_{part.side}_shares", heads, share_rows, title)


def _per(load: str) -> str:
    return "N·m" if load == "Mz" else "kN"


def _cells(values: Array) -> list[float | None]:
    return [float(v) if np.isfinite(v) else None for v in values]


def _sums(part: AxleCompliance) -> Iterator[tuple[Cell, ...]]:
    total = part.per_unit().sum(axis=0)
    for k in np.flatnonzero(part.ok).tolist():
        for n, (at, load) in enumerate(part.loads):
            yield (*part.where(k), at, load, _per(load), *_cells(total[n, :, k]))


def _added(part: AxleCompliance) -> Iterator[tuple[Cell, ...]]:
    given = part.per_unit()
    for k in np.flatnonzero(part.ok).tolist():
        for n, (at, load) in enumerate(part.loads):
            for m, named in enumerate(part.parts):
                yield (*part.where(k), at, load, _per(load), *named, *_cells(given[m, n, :, k]))
