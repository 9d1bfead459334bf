"""The reader's front: `read_drawing` for everything that is seen, `read_drawing_points` for a car file's table."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from kin3d.errors import ReadingError
from kin3d.frames import AxesError, parse_axes
from kin3d.linkage.car import PointTable
from kin3d.linkage.layout import Layout
from kin3d.reading.dxf.content import Content, DrawnMark, Stroke, Text, Vector
from kin3d.reading.dxf.declared import Declaration, find_views_file, read_names, read_views_file
from kin3d.reading.dxf.entities import MAX_ENTITIES, Flattener, TooManyEntitiesError
from kin3d.reading.dxf.in_space import read_space
from kin3d.reading.dxf.labels import pick_list, tie_all, tie_through
from kin3d.reading.dxf.matching import Tie, UntiedLabel, symbols
from kin3d.reading.dxf.plausible import is_level
from kin3d.reading.dxf.result import DrawingReading, Job, errors_first, places_told
from kin3d.reading.dxf.sheet import read_sheet
from kin3d.reading.dxf.tables import coordinate_rows, read_table
from kin3d.reading.dxf_file import open_drawing, uncollected
from kin3d.reading.text import FindingLog

if TYPE_CHECKING:
    from ezdxf.document import Drawing


def read_drawing(path: Path | str, **asked: Any) -> DrawingReading:
    """Read a drawing as `look_at_drawing` does, with the same parameters.

    Raises
    ------
    ReadingError
        With all findings, where no point at all can be read.
    """
    return look_at_drawing(path, **asked).result()


@uncollected()
def look_at_drawing(
    path: Path | str,
    *,
    units: str | None = None,
    axes: str | None = None,
    names: Path | Mapping[str, str] | None = None,
    views: Path | Mapping[str, Any] | None = None,
    layout_points: Iterable[str] | None = None,
    side: str | None = None,
    repair: bool = False,
    accept_spread: bool = False,
    tolerance_mm: float = 2.0,
    fit_scales: bool = False,
    datum_mm: Vector | None = None,
) -> Job:
    """Read the pickup points of a DXF drawing, in space or as a sheet of views, and keep all that was seen of it.

    Parameters
    ----------
    path : path-like
        DXF file, R12 to R2018, ASCII or binary.
    units : str, optional
        Unit of the drawing; must not contradict the header unless the sizes prove the header wrong.
    axes : str, optional
        What x, y, z of a drawing in space mean, see `kin3d.frames.parse_axes`; the vehicle frame if not given.
    names : path or mapping, optional
        Name table, see `kin3d.reading.dxf.declared`; else ``<drawing>.names.csv`` beside the drawing if it is there.
    views : path or mapping, optional
        See `kin3d.reading.dxf.declared`; else ``<drawing>.views.toml`` or ``views.toml`` beside the drawing.
    layout_points : iterable of str, optional
        Names that count as points; those of all built-in layouts if not given.
    side : {"left", "right"}, optional
        Which corner, where both are drawn with the same labels.
    repair : bool
        Read what is left of a damaged or cut file.
    accept_spread : bool
        Take the mean where views contradict each other, with a warning and half the spread as sigma.
    tolerance_mm : float
        Views that differ by this much or more contradict each other; also the largest gap between links.
    fit_scales : bool
        Let the fusion correct the views' scales.
    datum_mm : ndarray, shape (3,), optional
        Where the car's origin lies in the points as read, mm, where the caller moves them there afterwards.

    Returns
    -------
    Job
        `reading.points` are right within their tolerance; what was refused stands in `partial`, as errors in `log`.

    Raises
    ------
    ReadingError
        The file cannot be opened.
    """
    path = Path(path)
    log = FindingLog(path.name)
    doc, unit_code = open_drawing(path, log, repair)
    declared = read_views_file(views if views is not None else find_views_file(path), log)
    table = path.with_name(f"{path.stem}.names.csv")
    given = names if names is not None else table if table.is_file() else None
    known = read_names(given, tuple(layout_points) if layout_points is not None else None, log)
    job = Job(
        log, DrawingReading(path, ""), Content("Model"), known, declared,
        units or declared.units, axes or declared.axes, side or declared.side, unit_code,
        tolerance_mm, accept_spread, fit_scales, np.zeros(3) if datum_mm is None else datum_mm,
    )  # fmt: skip
    _check_request(job)
    if not log.failed:
        _read(job, doc)
    _finish(job)
    return job


def read_drawing_points(
    path: Path | str,
    *,
    units: str | None = None,
    axes: str | None = None,
    layout: Layout | Iterable[str] | None = None,
    side: str | None = None,
    datum_mm: Vector | None = None,
) -> PointTable:
    """Read a drawing as a car file does: all points that are right, or a ReadingError with everything that is wrong.

    `layout` is the car's layout, or its point names; the other parameters are those of `read_drawing`.
    """
    points = layout.known_points() if isinstance(layout, Layout) else layout
    reading = read_drawing(path, units=units, axes=axes, layout_points=points, side=side, datum_mm=datum_mm)
    if reading.failed:
        raise ReadingError(errors_first(reading.findings))
    return reading.table()


def _check_request(job: Job) -> None:
    if job.axes is not None:
        try:
            parse_axes(job.axes)
        except AxesError as err:
            job.log.adopt(err.findings)
    if job.side not in (None, "left", "right"):
        job.log.error("side", f'side must be "left" or "right", found "{job.side}"')
    if not job.tolerance_mm > 0.0:
        job.log.error("tolerance", f"the tolerance must be positive, found {job.tolerance_mm}")


def _read(job: Job, doc: Drawing) -> None:
    contents = _contents(job, doc)
    if job.log.failed:
        return
    job.content, *papers = [_wanted(c, job.declared) for c in contents]
    if not job.content.marks and not job.content.texts and papers:
        job.content, *papers = sorted(papers, key=lambda c: -len(c.marks))
    job.reading.content = job.content
    told = (t.whole for t in job.content.texts if re.search(r"(?i)\b(mm|millim\w+|inch\w*|zoll)\b", t.whole))
    job.unit_hint = next((f'a text on it says "{text}"' for text in told), "")
    if not job.content.marks and not job.content.texts:
        _nothing(job, contents)
    elif job.declared.table:
        read_table(job)
    else:
        _read_marks(job, doc, papers)


def _contents(job: Job, doc: Drawing) -> list[Content]:
    """Flatten model space and every paper sheet that holds something."""
    out: list[Content] = []
    for layout in doc.layouts:
        try:
            content = Flattener(doc, layout.name, job.log).read(layout)
        except TooManyEntitiesError:
            text = f"has more than {MAX_ENTITIES} entities once its blocks are resolved; write out the linkage alone"
            job.log.error("file-size", text)
            continue
        if layout.name.lower() == "model":
            out.insert(0, content)
        elif content.marks or content.texts:
            out.append(content)
    for content in out:
        if content.hidden:
            listed = ", ".join(f"{layer}: {count}" for layer, count in sorted(content.hidden.items()))
            job.log.warn("hidden-ignored", f"entities on frozen or switched-off layers were left out: {listed}")
    return out or [Content("Model")]


def _wanted(content: Content, declared: Declaration) -> Content:
    """Return the content of the layers that the user wants."""
    only, never = ({n.lower() for n in names} for names in (declared.layers, declared.ignore_layers))

    def good(thing: DrawnMark | Text | Stroke) -> bool:
        layer = thing.origin.layer.lower()
        return layer not in never and (not only or layer in only or isinstance(thing, Stroke))

    kept: dict[str, Any] = {k: [x for x in getattr(content, k) if good(x)] for k in ("marks", "texts", "strokes")}
    return replace(content, **kept)


def _nothing(job: Job, contents: list[Content]) -> None:
    if references := [r for c in contents for r in c.references]:
        job.log.error("external-reference", f"holds nothing else: {_referred(references)}")
    elif any(c.hidden for c in contents):
        job.log.error("drawing-hidden", "everything in it is on frozen or switched-off layers; switch the layers on")
    else:
        job.log.error("drawing-empty", "has no points, circles, lines, blocks or texts: the export is empty")


def _referred(references: list[str]) -> str:
    return f"it refers to other files, which are not read: {', '.join(references)}; bind them, or read those files"


def _read_marks(job: Job, doc: Drawing, papers: list[Content]) -> None:
    ties, job.untied, spare = tie_all(job.content, job.names, job.log)
    if not ties and not job.names.links and (through := _from_paper(job, doc, papers)):
        ties, job.untied = through
        named = {id(t.mark) for t in ties}
        spare = [m for m in spare if id(m) not in named]
    job.ties = _one_side(job, ties)
    if not job.ties and not job.names.links:
        _no_names(job)
        return
    level = not job.names.links and is_level([t.mark.xyz for t in job.ties])
    job.reading.form = "sheet" if job.declared.views or level else "space"
    (read_sheet if job.reading.form == "sheet" else read_space)(job, job.ties)
    _tell_untied(job)
    if spare:
        job.log.warn("marks-unnamed", f"{len(spare)} marks have no name and were left out: {places_told(spare, 8)}")


def _one_side(job: Job, ties: list[Tie]) -> list[Tie]:
    """Drop the other corner where labels say which side they are of; refuse where both are there unasked."""
    if job.side is not None:
        job.untied = [u for u in job.untied if u.label.names[0].side in (None, job.side)]
        return [t for t in ties if t.name.side in (None, job.side)]
    if len({t.name.side for t in ties if t.name.side}) < 2:
        return ties
    job.log.error("side-missing", 'labels of both sides are there: say which corner to read, side = "left" or "right"')
    return []


def _from_paper(job: Job, doc: Drawing, papers: list[Content]) -> tuple[list[Tie], list[UntiedLabel]] | None:
    """Names that stand in paper space only: through the sheet's viewports, or refused."""
    for paper in papers:
        viewports = [v for v in doc.layout(paper.layout) if v.dxftype() == "VIEWPORT"]
        shown = [v for v in viewports if v.dxf.get("id", 2) != 1 and v.dxf.get("status", 1)]
        ties, untied = tie_through(shown, paper, job.content, job.names)
        only = f'the names stand on the paper sheet "{paper.layout}" only'
        if ties:
            job.log.warn("names-in-paper", f"{only}; they were tied to model space through its viewports")
            return ties, untied
        if any(job.names.find(t.lines[0]) for t in paper.texts):
            more = "and no viewport of it ties them to marks; name the marks in the name table"
            job.log.error("names-in-paper", f"{only}, {more}")
    return None


def _no_names(job: Job) -> None:
    if job.log.failed:
        return
    if len(coordinate_rows(job.content.texts, lettered=True)) >= 3:
        text = "coordinates stand in it as a table of texts; confirm that this table is the source"
        key = 'source = "text table" in views.toml (and name its rows in the name table)'
        job.log.error("table-unconfirmed", f"{text}: {key}")
        return
    _tell_untied(job, free=True)
    if job.content.references:
        job.log.error("external-reference", _referred(job.content.references))
    what = "no text in the file" if not job.content.texts else "no text, attribute or layer in the file names a point"
    what = "no label is surely a mark's" if any(not u.label.free for u in job.untied) else what
    where = pick_list(job.content)
    if not where:
        job.log.error("marks-missing", f"{what}, and there is no point, small circle, block or line to name")
        return
    layers = sorted({m.origin.layer for m in job.content.marks})
    hint = f"; or name the layers of links ({', '.join(layers[:20])})" if not symbols(job.content.marks) else ""
    job.log.error("names-missing", f"{what}: name the places in a name table (label,point){hint}. Places: {where}")


def _tell_untied(job: Job, free: bool = False) -> None:
    """Labels that could not be tied: an error if a point hangs on one, else a warning."""
    for untied in (u for u in job.untied if free or not u.label.free):
        name, text = untied.point, untied.label.text
        choices = f"it could belong to {places_told(untied.choices, 6)}" if untied.choices else "no mark is near enough"
        at, where = f"({text.anchor[0]:.2f}, {text.anchor[1]:.2f})", f"handle {text.origin.handle}"
        message = f'the label "{text.whole}" at {at} cannot be tied to one mark: {choices}'
        if name in job.reading.points:
            job.log.warn("label-doubt", f"{message}; {name} was read without it", where)
        else:
            job.refuse(name, "label-doubt", f"{message}; draw a leader, or name the mark in the name table", where)


def _finish(job: Job) -> None:
    """Put points in order of name table or layout, and say so where nothing at all was read."""
    reading = job.reading
    if not reading.points and not reading.partial and not job.log.failed:
        job.log.error("drawing-empty", "no point could be read from it")
    reading.findings = list(job.log.findings)
    order = {name: i for i, name in enumerate(job.names.known)}
    reading.points, reading.partial = (
        {name: points[name] for name in sorted(points, key=lambda n: (order.get(n, len(order)), n))}
        for points in (reading.points, reading.partial)
    )
