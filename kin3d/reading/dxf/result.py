"""What the reading of a drawing gives: points with their origin, what was refused, the views understood."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from kin3d.errors import Finding, Severity
from kin3d.linkage.car import PointTable
from kin3d.reading.dxf.fusion import View
from kin3d.reading.dxf.marks import Content, Origin, Vector


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


@dataclass(slots=True)
class DrawingReading:
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
