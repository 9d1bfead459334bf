"""A drawing that was read, as a result: its points with what they were read from, and the picture of how."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from os import PathLike
from pathlib import Path
from typing import Any

from kin3d.errors import Finding, Severity
from kin3d.linkage.car import PointTable
from kin3d.linkage.names import Side
from kin3d.reading.dxf import DrawingReading, DrawnPoint, look_at_drawing
from kin3d.reading.dxf.declared import written
from kin3d.reading.dxf.fusion import SheetView
from kin3d.reading.points import write_points_csv
from kin3d.studies.drawing_draft import check_draft, write_draft
from kin3d.studies.drawing_import_view import draw_reading
from kin3d.studies.drawing_sketch import sketch
from kin3d.writing.files import PICTURES, check_place
from kin3d.writing.result import Result
from kin3d.writing.tables import Column, Table

_FIGURES = ("x", "y", "z", "sigma", "residual")


@dataclass(frozen=True, slots=True, repr=False)
class ImportedDrawing(Result):
    """The points of a drawing.

    Attributes
    ----------
    reading : DrawingReading
        The drawing as it was understood.
    """

    kind = "import"

    reading: DrawingReading

    @property
    def findings(self) -> tuple[Finding, ...]:
        """Everything seen; errors say why a point was refused."""
        return tuple(self.reading.findings)

    @property
    def complete(self) -> bool:
        """Whether no point was refused."""
        return not self.reading.failed

    def table(self) -> PointTable:
        """The points read in full as a point table in the vehicle frame, mm."""
        return self.reading.table()

    def summary(self) -> str:
        """How many points were read, and how many refused."""
        refused = f", {len(self.reading.partial)} refused" if self.reading.partial else ""
        return f"{self.reading.source.name}: {len(self.reading.points)} points, mm, vehicle frame{refused}"

    def tables(self, measures: Sequence[str] | None = None) -> tuple[Table, ...]:  # noqa: ARG002 - none to choose
        """The good points with what they were read from, and the refused ones."""
        columns = [
            Column("point", text=True),
            *(Column(n, "mm", places=3) for n in _FIGURES),
            Column("confidence", text=True),
            Column("evidence", long=True),
            Column("from", head="read from", long=True),
        ]
        read, refused = self.reading.points, self.reading.partial
        out = []
        for key, points, title in (
            ("points", read, f"{self.reading.source.name}: {len(read)} points, mm, vehicle frame"),
            ("refused", refused, f"refused: {len(refused)}; only what is sure of them is shown"),
        ):
            if points:
                rows = [(p.name, *_figures(p), p.confidence, p.evidence, _origins(p)) for p in points.values()]
                out.append(Table.of(key, columns, rows, title))
        return tuple(out)

    def records(self) -> tuple[Table, ...]:
        """All points, a row each, with whether they were taken."""
        columns = [
            Column("point", text=True),
            *(Column(f"{n}_mm", "mm") for n in _FIGURES),
            Column("status", text=True),
            Column("confidence", text=True),
            Column("evidence", text=True),
            Column("read_from", text=True),
        ]
        kinds = (("read", self.reading.points), ("refused", self.reading.partial))
        rows = [
            (p.name, *_figures(p), status, p.confidence, p.evidence, _origins(p))
            for status, points in kinds
            for p in points.values()
        ]
        return (Table.of("points", columns, rows, self.reading.source.name),)

    def notes(self) -> tuple[str, ...]:
        """The views as they were understood."""
        return tuple(f"view {_described(v)}" for v in self.reading.views)

    def plot(self, path: str | PathLike[str], measures: Sequence[str] | None = None) -> None:  # noqa: ARG002
        """Draw the drawing as it was understood: marks, names, views, residuals, what was refused."""
        check_place(Path(path), PICTURES, "plot")
        draw_reading(self.reading, Path(path))

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
        write_points_csv(self.reading.table(), Path(path))
        return len(self.reading.points)


def import_drawing(
    drawing: str | PathLike[str],
    *,
    units: str | None = None,
    axes: str | None = None,
    side: Side | None = None,
    names: str | PathLike[str] | Mapping[str, str] | None = None,
    views: str | PathLike[str] | Mapping[str, Any] | None = None,
    tolerance: float = 2.0,
    accept_spread: bool = False,
    fit_scales: bool = False,
    repair: bool = False,
    draft: str | PathLike[str] | None = None,
) -> ImportedDrawing:
    """Read the pickup points of a DXF drawing: in space, or of a sheet with two or more views.

    Every point is right within the drawing's tolerance, or refused with the reason.

    Parameters
    ----------
    drawing : path-like
        DXF file, R12 to R2018, ASCII or binary.
    units : str, optional
        ``"mm"``, ``"cm"``, ``"m"``, ``"in"``, ``"ft"``: of the drawing, where it says none.
    axes : str, optional
        Of a drawing in space, e.g. ``"x rearward, y right, z up"``.
    side : {"left", "right"}, optional
        Which corner, where both are drawn.
    names : path-like or mapping, optional
        Name table: label to point.
    views : path-like or mapping, optional
        What ``views.toml`` says; default the one beside the drawing.
    tolerance : float, mm
        Views that differ by so much contradict each other.
    accept_spread : bool
        Take the mean of views that contradict each other.
    fit_scales : bool
        Let the fit correct the views' scales.
    repair : bool
        Read what is left of a damaged file.
    draft : path-like, optional
        Folder for a draft of what is said beside the drawing: views, names, a numbered picture and a page to name
        places on. It is written always, also where nothing can be read.

    Returns
    -------
    ImportedDrawing
        Points in mm in the vehicle frame; ``save("points.csv")`` writes a point table.

    Raises
    ------
    ReadingError
        When nothing could be read, with every cause.
    RequestError
        When the draft cannot be written.
    """
    path = Path(drawing)
    files = None if draft is None else check_draft(path, Path(draft))
    job = look_at_drawing(
        path,
        units=units,
        axes=axes,
        side=side,
        names=_given(names),
        views=_given(views),
        tolerance_mm=tolerance,
        accept_spread=accept_spread,
        fit_scales=fit_scales,
        repair=repair,
    )
    if files is not None:
        write_draft(sketch(job), files)
        text = (
            f"a draft was written to {draft}: edit {files['views'].name} and {files['names'].name} beside the picture, "
            f"or save them from {files['page'].name}, and give them back (--views, --names)"
        )
        told = Finding("draft", text, path.name, Severity.NOTE)
        job.log.adopt([told])
        job.reading.findings.append(told)
    return ImportedDrawing(job.result())


def _given(said: str | PathLike[str] | Mapping[str, Any] | None) -> Path | Mapping[str, Any] | None:
    return Path(said) if isinstance(said, str | PathLike) else said


def _figures(point: DrawnPoint) -> tuple[float | None, ...]:
    """Coordinates, the largest deviation of those that are known, the residual; None where nothing is."""
    known = [s for s, c in zip(point.sigma_mm, point.xyz_mm, strict=True) if s == s and c == c]
    rest = (max(known), point.residual_mm) if known else (float("nan"),) * 2
    return tuple(float(v) if v == v else None for v in (*point.xyz_mm, *rest))


def _origins(point: DrawnPoint) -> str:
    """Entity, handle, layer and views of one point; what is alike for all views is said once."""
    same = {(s.origin.entity, s.origin.layer, s.how) for s in point.sources}
    if len(same) == 1:
        entity, layer, how = next(iter(same))
        handles = ", ".join(f"{s.view} {s.origin.handle}".strip() for s in point.sources)
        return f"{entity} {handles}, layer {layer}, by {how}"
    return "; ".join(f"{s.view} {s.origin}, by {s.how}".strip() for s in point.sources)


def _described(view: SheetView) -> str:
    """One line on a view as it was understood."""
    at = "" if view.origin is None else f", origin at ({view.origin[0]:.3f}, {view.origin[1]:.3f})"
    return f"{view.name}: {written(view.axes)} right and up, {view.mm_per_unit:g} mm per unit{at}"
