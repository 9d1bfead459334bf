"""Tables of marks in photographs (CSV): ``photo,kind,name,side,u,v,sigma_px,note``."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import cast

from kin3d.linkage.names import Side, did_you_mean, normalise
from kin3d.reading.cells import read_number
from kin3d.reading.photo_records import KINDS, Mark, MarkKind
from kin3d.reading.rows import DecimalMark, split_rows
from kin3d.reading.text import FindingLog, read_text

COLUMNS = ("photo", "kind", "name", "side", "u", "v", "sigma_px", "note")
NEEDED = COLUMNS[:6]
WHEELS = ("front", "rear")


@dataclass(frozen=True, slots=True)
class Naming:
    """Names that marks may use.

    Attributes
    ----------
    photos : mapping of str to (float, float) or None
        Names of the photographs and their size, px; None where it is not known.
    sigma_px : mapping of str to mapping
        The deviation of each kind, photograph by photograph.
    points, legs : tuple of str
        Points of the layout, and inboard ends of its links.
    absent : mapping of str to str
        Points of parts that are not looked for, and what would have them looked for.
    """

    photos: Mapping[str, tuple[float, float] | None]
    sigma_px: Mapping[str, Mapping[MarkKind, float]]
    points: tuple[str, ...]
    legs: tuple[str, ...]
    absent: Mapping[str, str] = field(default_factory=dict)


def read_marks(path: Path, naming: Naming, log: FindingLog, *, unmarked: bool = False) -> tuple[Mark, ...]:
    """Read a table of marks; all that is wrong with it goes to `log`, that it has none only if not `unmarked`."""
    text = read_text(path, log, f"a table with the header {','.join(COLUMNS)} is expected")
    if text is None:
        return ()
    table = split_rows(text, log, f"the header {','.join(COLUMNS)} is expected", COLUMNS)
    columns = None if table is None else _columns(table.header.line, table.header.cells, log)
    if table is None or columns is None:
        return ()
    if table.alone and not unmarked:
        log.error("table-empty", "has a header and no rows; one row for each mark is expected")
    found = [_mark(row.line, row.cells, columns, naming, table.mark, log) for row in table.fitting(log)]
    marks = tuple(m for m in found if m is not None)
    _tell_twice(marks, log)
    return marks


def _columns(line: int, head: Sequence[str], log: FindingLog) -> dict[str, int] | None:
    names = [normalise(c) for c in head]
    for name, cell in zip(names, head, strict=True):
        if name not in COLUMNS:
            log.error("column-unknown", f'column "{cell}" is not known; {did_you_mean(name, COLUMNS)}', line)
        elif names.count(name) > 1:
            log.error("column-twice", f'column "{name}" stands twice', line)
    missing = [c for c in NEEDED if c not in names]
    if missing:
        log.error(
            "column-missing", f"the header has no column {', '.join(missing)}; {','.join(COLUMNS)} is expected", line
        )
    return None if missing else {n: k for k, n in enumerate(names) if n in COLUMNS}


def _mark(
    line: int,
    cells: Sequence[str],
    columns: dict[str, int],
    naming: Naming,
    decimal: DecimalMark,
    log: FindingLog,
) -> Mark | None:
    def cell(name: str) -> str:
        return cells[columns[name]] if name in columns else ""

    photo, kind, side = cell("photo"), normalise(cell("kind")), normalise(cell("side"))
    name = normalise(cell("name"))
    good = True
    if photo not in naming.photos:
        log.error(
            "photo-unknown", f'photo "{photo}" is not one of the file\'s; {did_you_mean(photo, naming.photos)}', line
        )
        good = False
    if kind not in KINDS:
        log.error("kind-unknown", f'kind is "{cell("kind")}"; {did_you_mean(kind, KINDS)}', line)
        good = False
    elif not _name_fits(name, kind, naming, line, log):
        good = False
    if side not in ("left", "right"):
        log.error("side-unknown", f'side is "{cell("side")}"; "left" or "right" of the car is expected', line)
        good = False
    values = {c: read_number(cell(c), decimal, c, line, log) for c in ("u", "v")}
    sigma: float | None = None
    if good:
        sigma = naming.sigma_px[photo][cast(MarkKind, kind)]
    if cell("sigma_px"):
        sigma = read_number(cell("sigma_px"), decimal, "sigma_px", line, log)
        if sigma is not None and sigma <= 0.0:
            log.error("sigma-range", f"sigma_px is {sigma:g}; a deviation over 0 in px is expected", line)
            sigma = None
    if not good or sigma is None or values["u"] is None or values["v"] is None:
        return None
    size = naming.photos[photo]
    if size is not None and not (0.0 <= values["u"] <= size[0] and 0.0 <= values["v"] <= size[1]):
        text = (
            f"is at ({values['u']:g}, {values['v']:g}) px, outside of {photo} with its {size[0]:g} × {size[1]:g} px; "
            "u runs to the right and v down from the upper left corner of the picture as shown"
        )
        log.error("mark-outside", text, line)
        return None
    u, v, note = values["u"], values["v"], cell("note")
    return Mark(photo, cast(MarkKind, kind), name, cast(Side, side), u, v, sigma, line, note)


def _name_fits(name: str, kind: MarkKind, naming: Naming, line: int, log: FindingLog) -> bool:
    known = {"point": naming.points, "leg": naming.legs, "rim": WHEELS, "contact": WHEELS}[kind]
    if name in known:
        return True
    what = {"point": "point", "leg": "inboard end of a leg", "rim": "wheel", "contact": "wheel"}[kind]
    hint = naming.absent.get(name) or did_you_mean(name, known)
    if kind == "leg" and name in naming.points:
        hint = f"a leg is named by its inboard end, the rod by its outer one: {', '.join(naming.legs)}"
    log.error("name-unknown", f'"{name}" is not the {what} of a {kind}; {hint}', line)
    return False



def _tell_twice(marks: tuple[Mark, ...], log: FindingLog) -> None:
    """A point or a contact has one place in a picture; so does a mark of a curve that is copied by mistake."""
    seen: dict[tuple[object, ...], Mark] = {}
    for mark in marks:
        key: tuple[object, ...] = (mark.photo, mark.kind, mark.name, mark.side)
        if mark.kind in ("leg", "rim"):
            key += (mark.u, mark.v)
        if key in seen:
            log.error("mark-twice", f"the {mark} is marked in row {seen[key].row} already; keep one", mark.row)
        seen.setdefault(key, mark)
