"""What the reading of a drawing gives: points with their origin, what was refused, the views understood."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from os import PathLike
from pathlib import Path

import numpy as np

from kin3d.errors import Finding, Severity
from kin3d.linkage.car import PointTable
from kin3d.reading.dxf.fusion import View
from kin3d.reading.dxf.marks import Content, Origin, Vector
from kin3d.reading.dxf.plan import written
from kin3d.reading.points import write_points_csv
from kin3d.writing.files import PICTURES, check_place
from kin3d.writing.result import Result
from kin3d.writing.sheet import draw_sheet
from kin3d.writing.tables import Column, Table

_FIGURES = ("x", "y", "z", "sigma", "residual")


@dataclass(frozen=True, slots=True)
class Source:
    """Where one point was read: one entry a view, or one for a drawing in space.

    Attributes
    ----------
    origin : Origin
        Entity, handle, layer.
    how : str
        How its label came to it: attribute, leader, offset, near, layer, place, agreement, table.
    view : str
        Name of the view; empty in a drawing in space.
    place : tuple of float
        On the sheet or in space, drawing units.
    residual_mm : tuple of float
        What this view says less what was taken, mm of the car, along the sheet's right and up.
    """

    origin: Origin
    how: str
    view: str
    place: tuple[float, ...]
    residual_mm: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True)
class DrawnPoint:
    """One point as read.

    Attributes
    ----------
    xyz_mm, sigma_mm : ndarray, shape (3,)
        Vehicle frame, mm; NaN where a coordinate is missing.
    residual_mm : float
        Largest difference between what one view says and what was taken; 0 with nothing to compare.
    """

    name: str
    xyz_mm: Vector
    sigma_mm: Vector
    residual_mm: float
    sources: tuple[Source, ...]


@dataclass(slots=True, repr=False)
class DrawingReading(Result):
    """A drawing as it was understood.

    Attributes
    ----------
    form : str
        ``"sheet"`` of views, a drawing in ``"space"``, a ``"table"`` of text.
    points : dict of str to DrawnPoint
        Points read in full; nothing doubtful is among them.
    partial : dict of str to DrawnPoint
        Points that were refused; the coordinates that are sure are given, the others are NaN.
    findings : list of Finding
        Everything seen; those of severity ERROR say why a point was refused.
    views : list of View
        The views of a sheet; empty for a drawing in space.
    content : Content
        Marks, texts and lines, for the picture of what was understood.
    """

    kind = "import"

    source: Path
    form: str
    points: dict[str, DrawnPoint] = field(default_factory=dict)
    partial: dict[str, DrawnPoint] = field(default_factory=dict)
    findings: list[Finding] = field(default_factory=list)
    views: list[View] = field(default_factory=list)
    content: Content = field(default_factory=lambda: Content("Model"))
    scatter_mm: float = 0.0

    @property
    def failed(self) -> bool:
        """Whether anything was refused."""
        return any(f.severity is Severity.ERROR for f in self.findings)

    def summary(self) -> str:
        """How many points were read, and how many refused."""
        refused = f", {len(self.partial)} refused" if self.partial else ""
        return f"{self.source.name}: {len(self.points)} points, mm, vehicle frame{refused}"

    def tables(self, measures: Sequence[str] | None = None) -> tuple[Table, ...]:  # noqa: ARG002 - none to choose
        """The good points with what they were read from, and the refused ones."""
        columns = [
            Column("point", text=True),
            *(Column(n, "mm", places=3) for n in _FIGURES),
            Column("from", head="read from", long=True),
        ]
        out = []
        titles = (f"{self.source.name}: {len(self.points)} points, mm, vehicle frame",
                  f"refused: {len(self.partial)}; only what is sure of them is shown")  # fmt: skip
        for key, title, points in zip(("points", "refused"), titles, (self.points, self.partial), strict=True):
            if points:
                rows = [(p.name, *_figures(p), _origins(p)) for p in points.values()]
                out.append(Table.of(key, columns, rows, title))
        return tuple(out)

    def records(self) -> tuple[Table, ...]:
        """All points, a row each, with whether they were taken."""
        columns = [
            Column("point", text=True),
            *(Column(f"{n}_mm", "mm") for n in _FIGURES),
            Column("status", text=True),
            Column("read_from", text=True),
        ]
        kinds = (("read", self.points), ("refused", self.partial))
        rows = [(p.name, *_figures(p), status, _origins(p)) for status, points in kinds for p in points.values()]
        return (Table.of("points", columns, rows, self.source.name),)

    def notes(self) -> tuple[str, ...]:
        """The views as they were understood."""
        return tuple(f"view {_described(v)}" for v in self.views)

    def plot(self, path: str | PathLike[str], measures: Sequence[str] | None = None) -> None:  # noqa: ARG002
        """Draw the drawing as it was understood: marks, names, views, residuals, what was refused."""
        check_place(Path(path), PICTURES, "plot")
        draw_sheet(self, Path(path))

    def save(self, path: str | PathLike[str], table: str | None = None) -> int:
        """Write the points read in full as a point table (``.csv``), or all there is to say of them (``.json``).

        Raises
        ------
        RequestError
            For another ending, or a place that cannot be written to.
        """
        if Path(path).suffix.lower() != ".csv":
            return Result.save(self, path, table)
        check_place(Path(path), (".csv", ".json"), "save")
        write_points_csv(self.table(), Path(path))
        return len(self.points)

    def table(self) -> PointTable:
        """Return the points read in full as a point table in the vehicle frame, mm."""
        names = tuple(self.points)
        found = [self.points[n] for n in names]
        return PointTable(
            self.source,
            names,
            np.array([p.xyz_mm for p in found]).reshape(-1, 3),
            np.nan_to_num(np.array([p.sigma_mm for p in found]).reshape(-1, 3)),
            tuple(f"{self.source.name}, {p.sources[0].origin}" for p in found),
            tuple("" for _ in found),
            tuple(self.findings),
        )


def _figures(point: DrawnPoint) -> tuple[float | None, ...]:
    """Coordinates, the largest deviation, the residual; None where there is none."""
    sigma = max((s for s in point.sigma_mm if s == s), default=0.0)
    return tuple(float(v) if v == v else None for v in (*point.xyz_mm, sigma, point.residual_mm))


def _origins(point: DrawnPoint) -> str:
    """Entity, handle, layer and views of one point; what is alike for all views is said once."""
    same = {(s.origin.entity, s.origin.layer, s.how) for s in point.sources}
    if len(same) == 1:
        entity, layer, how = next(iter(same))
        handles = ", ".join(f"{s.view} {s.origin.handle}".strip() for s in point.sources)
        return f"{entity} {handles}, layer {layer}, by {how}"
    return "; ".join(f"{s.view} {s.origin}, by {s.how}".strip() for s in point.sources)


def _described(view: View) -> str:
    """One line on a view as it was understood."""
    at = "" if view.origin is None else f", origin at ({view.origin[0]:.3f}, {view.origin[1]:.3f})"
    return f"{view.name}: {written(view.axes)} right and up, {view.mm_per_unit:g} mm per unit{at}"
