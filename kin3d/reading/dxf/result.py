"""What the reading of a drawing gives, and the state of a reading under way."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np

from kin3d.errors import Finding, ReadingError, Severity
from kin3d.linkage.car import PointTable
from kin3d.reading.dxf.content import Content, DrawnMark, Origin, Vector
from kin3d.reading.dxf.declared import Declaration
from kin3d.reading.dxf.fusion import SheetView
from kin3d.reading.dxf.matching import Tie, UntiedLabel
from kin3d.reading.dxf.wording import Names
from kin3d.reading.text import FindingLog


@dataclass(frozen=True, slots=True)
class Source:
    """Where one point was read: one entry a view, or one for a drawing in space, where `view` is empty.

    `how` is how its label came to it, see `matching`; `place` on the sheet or in space, drawing units; `residual_mm`
    what this view says less what was taken, mm of the car, along the sheet's right and up.
    """

    origin: Origin
    how: str
    view: str
    place: tuple[float, ...]
    residual_mm: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True)
class DrawnPoint:
    """One point as read: place and standard deviation in the vehicle frame, shape (3,); NaN where one is missing.

    `residual_mm` is the largest difference between what one view says and what was taken, 0 with nothing to compare;
    `checked`, how many of its coordinates two views show.
    """

    name: str
    xyz_mm: Vector
    sigma_mm: Vector
    residual_mm: float
    sources: tuple[Source, ...]
    checked: int = 0

    @property
    def evidence(self) -> str:
        """What ties the point to its name, and how far another view checks it."""
        ways = " and ".join(dict.fromkeys(s.how for s in self.sources)) or "nothing"
        return ways + (f", {self.checked} of 3 coordinates in two views" if any(s.view for s in self.sources) else "")

    @property
    def confidence(self) -> str:
        """How sure the name is its place's: high, fair, or low; none where no coordinate stands."""
        ways = {s.how for s in self.sources}
        if not ways or np.isnan(self.xyz_mm).all():
            return "none"
        if "near" in ways:
            return "fair" if self.checked == 3 else "low"
        return "fair" if ways & {"offset", "agreement"} and self.checked < 2 else "high"


@dataclass(slots=True)
class DrawingReading:
    """A drawing as it was understood: a ``"sheet"`` of views, a drawing in ``"space"``, a ``"table"`` of text.

    `points` were read in full, nothing doubtful among them; `partial` were refused, with NaN for what is not sure of
    them, and the findings of severity ERROR say why. `content` is for the picture of what was understood.
    """

    source: Path
    form: str
    points: dict[str, DrawnPoint] = field(default_factory=dict)
    partial: dict[str, DrawnPoint] = field(default_factory=dict)
    findings: list[Finding] = field(default_factory=list)
    views: list[SheetView] = field(default_factory=list)
    content: Content = field(default_factory=lambda: Content("Model"))
    scatter_mm: float = 0.0

    @property
    def failed(self) -> bool:
        """Whether anything was refused."""
        return any(f.severity is Severity.ERROR for f in self.findings)

    def table(self) -> PointTable:
        """Return the points read in full as a point table in the vehicle frame, mm."""
        found = list(self.points.values())
        xyz, sigma = (np.array([getattr(p, k) for p in found]).reshape(-1, 3) for k in ("xyz_mm", "sigma_mm"))
        rows = tuple(f"{self.source.name}, {p.sources[0].origin}" for p in found)
        notes, findings = ("",) * len(found), tuple(self.findings)
        return PointTable(self.source, tuple(self.points), xyz, np.nan_to_num(sigma), rows, notes, findings)


@dataclass(slots=True)
class Job:
    """State of one reading: what is asked, what is on the drawing, and what was made of it.

    `units`, `axes` and `side` are the user's or those of views.toml; `unit_code` is the header's $INSUNITS, None where
    it says nothing; `datum_mm`, shape (3,), where the car's origin lies in the points as read, for whoever moves them
    later; `unit_hint` what the words on the sheet say of the unit; `both_corners` that some name stands on both sides
    of the car; `groups` holds the ties of each view of a sheet, `doubted` the code by which a point was refused.
    """

    log: FindingLog
    reading: DrawingReading
    content: Content
    names: Names
    declared: Declaration
    units: str | None
    axes: str | None
    side: str | None
    unit_code: int | None
    tolerance_mm: float
    accept_spread: bool = False
    fit_scales: bool = False
    datum_mm: Vector = field(default_factory=lambda: np.zeros(3))
    unit_hint: str = ""
    both_corners: bool = False
    ties: list[Tie] = field(default_factory=list)
    untied: list[UntiedLabel] = field(default_factory=list)
    groups: dict[str, list[Tie]] = field(default_factory=dict)
    doubted: dict[str, str] = field(default_factory=dict)

    def result(self) -> DrawingReading:
        """Return the reading.

        Raises
        ------
        ReadingError
            With all findings, where no point at all was read.
        """
        if not self.reading.points and not self.reading.partial:
            raise ReadingError(errors_first(self.log.findings))
        return self.reading

    def refuse(self, name: str, code: str, text: str, where: str = "") -> None:
        """Refuse one point: an error, and what was read of it is kept apart from the good points."""
        self.log.error(code, text, where)
        self.doubted[name] = code
        read = self.reading
        unread = DrawnPoint(name, np.full(3, np.nan), np.full(3, np.nan), 0.0, ())
        read.partial[name] = read.points.pop(name, read.partial.get(name, unread))

    def refuse_all(self) -> None:
        """Refuse every point: the error is told already, and no coordinate stands."""
        for name in list(self.reading.points):
            self.reading.partial[name] = self.reading.points.pop(name)
            self.blank(name)

    def blank(self, name: str) -> None:
        """Take back all coordinates of a refused point: what they rest on is in doubt."""
        point = self.reading.partial[name]
        self.reading.partial[name] = replace(point, xyz_mm=np.full(3, np.nan), sigma_mm=np.full(3, np.nan))


def errors_first(findings: Iterable[Finding]) -> list[Finding]:
    """Return findings with the errors before the others."""
    return sorted(findings, key=lambda f: f.severity is not Severity.ERROR)


def places_told(marks: Iterable[DrawnMark], most: int = 20) -> str:
    """Return places and what stands there as one list."""
    return some((f"({', '.join(f'{c:g}' for c in np.round(m.xyz, 3))}) {m.origin}" for m in marks), most)


def some(told: Iterable[str], most: int = 20) -> str:
    """Return what is told as one list; of many only the first, and how many more there are."""
    said = list(told)
    more = f"; and {len(said) - most} more" if len(said) > most else ""
    return "; ".join(said[:most]) + more
