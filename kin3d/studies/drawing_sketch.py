"""A drawing as far as it was understood, also where it was refused: views, numbered places, texts, and best guesses.

A guess is a proposal for a person who looks at the picture; nothing here becomes a point by itself. *Sure* is only what
the reader itself took for sure.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from kin3d.errors import Finding, Severity
from kin3d.reading.dxf.content import DrawnMark
from kin3d.reading.dxf.labels import at_place, places_of
from kin3d.reading.dxf.matching import FIRM
from kin3d.reading.dxf.plausible import is_flat
from kin3d.reading.dxf.result import Job
from kin3d.reading.dxf.view_marks import spaced, titles
from kin3d.reading.dxf.wording import view_kind
from kin3d.studies.drawing_linkage import guess_by_linkage, links_of
from kin3d.studies.drawing_places import Axes, SheetPlace, SheetWords, SketchedView, gap
from kin3d.studies.drawing_ways import ways_of
from kin3d.studies.drawing_words import point_meant

Array = NDArray[np.float64]
MOST_PLACES = 2000  # that are numbered; of a drawing with more it is said
GAP = 1.6  # how many times wider the gap between two views is than those within them


@dataclass(frozen=True, slots=True)
class Sketch:
    """All of a drawing that a person needs to name its places.

    Attributes
    ----------
    form : str
        ``"sheet"`` or ``"space"``.
    ways : tuple of tuple of (Axes or None)
        Consistent ways in which the views may look, the likeliest first: the axes of every view.
    scale, unit : str
        What the drawing says; empty where it says nothing.
    """

    job: Job
    form: str
    places: tuple[SheetPlace, ...]
    words: tuple[SheetWords, ...]
    views: tuple[SketchedView, ...]
    ways: tuple[tuple[Axes | None, ...], ...]
    scale: str
    unit: str

    @property
    def findings(self) -> tuple[Finding, ...]:
        """Everything that the reader said."""
        return tuple(self.job.reading.findings)


def sketch(job: Job) -> Sketch:
    """Make a sketch of a drawing that was looked at."""
    marks = places_of(job.content)
    if len(marks) > MOST_PLACES:
        text = f"has {len(marks)} places; the draft numbers {MOST_PLACES}: say in views.toml which layers hold"
        told = Finding("draft-cut", text, job.log.place(), Severity.WARNING)
        job.log.adopt([told])
        job.reading.findings.append(told)
    marks = marks[:MOST_PLACES]
    flat = len(marks) < 2 or is_flat([m.xyz for m in marks])
    form = "sheet" if job.declared.views or flat else "space"
    views = _views(job, marks) if form == "sheet" else ()
    places = [SheetPlace(0, m, at_place(m, form == "sheet"), _view_of(m, views)) for m in marks]
    places = [p for p in places if p.view or p.mark.kind != "end" or not views]  # frames and title blocks
    places.sort(key=lambda p: (p.mark.kind == "end", [v.name for v in views].index(p.view) if p.view else -1,
                               -round(float(p.mark.xyz[1]), 6), float(p.mark.xyz[0])))  # fmt: skip
    numbered = [replace(p, number=k) for k, p in enumerate(places, 1)]
    ways = ways_of(views, [p.mark for p in numbered], job)
    guessed = _guessed(job, numbered, views, ways)
    return Sketch(job, form, tuple(guessed), tuple(_words(job)), views, ways, _scale(job), _unit(job))


# --- views -----------------------------------------------------------------------------------------------------------


def _views(job: Job, marks: Sequence[DrawnMark]) -> tuple[SketchedView, ...]:
    """Return the views as declared, else as clusters of places with the titles that stand nearest."""
    declared = {v.name: v for v in job.declared.views}
    if declared and job.groups:
        fitted = {v.name: v for v in job.reading.views}
        out = []
        for name, ties in job.groups.items():
            if ties and name in declared:
                box = _box(np.array([t.mark.xyz[:2] for t in ties]))
                origin = fitted[name].origin if name in fitted else declared[name].origin
                axes = fitted[name].axes if name in fitted else declared[name].axes
                out.append(SketchedView(name, declared[name].region or box, declared[name].title or "", axes, origin))
        if out:
            return tuple(out)
    symbols = [m for m in marks if m.kind != "end"] or list(marks)
    if len(symbols) < 2:
        return ()
    named = _by_layer(symbols)
    if named:
        return named
    found = titles(job.content)
    groups = _clusters(job, symbols, len(found))
    boxes = [_box(np.array([symbols[i].xyz[:2] for i in g])) for g in groups]
    out, used = [], set()
    for k, box in enumerate(boxes):
        gaps = [(gap(box, t.anchor), n) for n, (_, t) in enumerate(found) if n not in used]
        if gaps and min(gaps)[0] == min(gap(b, found[min(gaps)[1]][1].anchor) for b in boxes):
            used.add(min(gaps)[1])
            kind, title = found[min(gaps)[1]]
            out.append(SketchedView(kind, box, title.whole))
        else:
            out.append(SketchedView(f"view{k + 1}", box))
    names: dict[str, int] = {}
    for k, view in enumerate(out):
        names[view.name] = names.get(view.name, 0) + 1
        if names[view.name] > 1:
            out[k] = replace(view, name=f"{view.name}{names[view.name]}")
    return tuple(out)


def _by_layer(marks: Sequence[DrawnMark]) -> tuple[SketchedView, ...]:
    """Return the views that layers are named for; none where not all places are on such layers."""
    layers: dict[str, list[Array]] = {}
    for mark in marks:
        layers.setdefault(mark.origin.layer, []).append(mark.xyz[:2])
    kinds = {layer: view_kind(spaced(layer)) for layer in layers}
    if len(layers) < 2 or not all(kinds.values()) or len(set(kinds.values())) < len(kinds):
        return ()
    return tuple(SketchedView(str(kinds[n]), _box(np.array(p))) for n, p in sorted(layers.items()))


def _clusters(job: Job, marks: Sequence[DrawnMark], told: int) -> list[list[int]]:
    """Part places into views by the widest gaps: as many as titles tell, else where the gaps are clearly wider.

    Places that a line joins are of one view.
    """
    from scipy.cluster.hierarchy import fcluster, linkage
    from scipy.spatial.distance import squareform

    places = np.array([m.xyz[:2] for m in marks])
    far = np.linalg.norm(places[:, None] - places, axis=2)
    for a, b in links_of(job, marks):
        far[a, b] = far[b, a] = 0.0
    tree = linkage(squareform(far, checks=False), "single")
    gaps = np.sort(tree[:, 2])[::-1]
    count = told if 2 <= told <= 4 else 1
    if count == 1:
        ratios = [gaps[k - 1] / max(gaps[k], 1e-9 * gaps[0], 1e-12) if k < len(gaps) else 0.0 for k in (1, 2, 3)]
        best = int(np.argmax(ratios))
        count = best + 2 if ratios[best] >= GAP else 1
    number = fcluster(tree, count, "maxclust")
    return [[int(i) for i in np.flatnonzero(number == k)] for k in range(1, int(number.max()) + 1)]


def _box(places: Array) -> tuple[float, float, float, float]:
    """Return the box around places with a margin, drawing units."""
    low, high = places.min(axis=0), places.max(axis=0)
    pad = 0.06 * float(np.max(high - low)) or 1.0
    left, bottom, right, top = (float(c) for c in np.round([*(low - pad), *(high + pad)], 4))
    return left, bottom, right, top


def _view_of(mark: DrawnMark, views: Sequence[SketchedView]) -> str:
    inside = [v.name for v in views if gap(v.box, mark.xyz) == 0.0]
    return inside[0] if inside else ""


# --- guesses ---------------------------------------------------------------------------------------------------------


def _guessed(
    job: Job, places: Sequence[SheetPlace], views: Sequence[SketchedView], ways: Sequence[Sequence[Axes | None]]
) -> list[SheetPlace]:
    """Return the places with the best guess each: ties of the reader, doubtful labels, words, the linkage."""
    found: dict[int, tuple[str, str, str]] = {}
    at = {tuple(np.round(p.mark.xyz, 6)): p.number for p in places}
    for tie in job.ties:
        number = at.get(tuple(np.round(tie.mark.xyz, 6)))
        if number is None:
            continue
        sure = tie.how in FIRM and tie.name.point not in job.doubted
        reason = f"by {tie.how}" + ("" if tie.text is None else f' of "{tie.text.whole}"')
        doubt = "" if tie.name.point not in job.doubted else f", but refused ({job.doubted[tie.name.point]})"
        found.setdefault(number, (tie.name.point, "sure" if sure else "likely", reason + doubt))
    for untied in job.untied:
        for rank, mark in enumerate(untied.choices):
            number = at.get(tuple(np.round(mark.xyz, 6)))
            if number is not None and number not in found:
                alone = len(untied.choices) == 1
                reason = f'the label "{untied.label.text.whole}" is near' + ("" if alone else f" ({rank + 1}. choice)")
                found[number] = (untied.label.names[0].point, "likely" if alone else "guess", reason)
                break
    taken = {name for name, how, _ in found.values() if how == "sure"}
    for number, (name, reason) in guess_by_linkage(job, places, views, ways).items():
        if number not in found and name not in taken:
            found[number] = (name, "guess", reason)
    return [
        replace(p, guess=g, confidence=c, reason=r) for p in places for g, c, r in [found.get(p.number, ("", "", ""))]
    ]


def _words(job: Job) -> list[SheetWords]:
    """Return every text with what it may mean."""
    out = []
    for text in job.content.texts[:MOST_PLACES]:
        name = job.names.find(text.lines[0])
        if name is not None:
            out.append(SheetWords(text, name.point, "sure", "a known name"))
        else:
            meant = point_meant(text.whole, job.names.known)
            out.append(SheetWords(text, meant or "", "guess" if meant else "", "by its words" if meant else ""))
    return out


def _scale(job: Job) -> str:
    from kin3d.reading.dxf.wording import scales

    found = {s: t for t in job.content.texts for line in t.lines for s in scales(line)}
    ratios = sorted({round(d.shown / d.drawn, 3) for d in job.content.dimensions if abs(d.shown / d.drawn - 1) > 0.01})
    if len(found) == 1:
        return f"1:{float(next(iter(found))):g}"
    return f"1:{ratios[0]:g}" if not found and len(ratios) == 1 else ""


def _unit(job: Job) -> str:
    from kin3d.reading.dxf.scale import HEADER_UNITS

    short = {"inch": "in", "foot": "ft", "mm": "mm", "cm": "cm", "m": "m"}
    return job.units or short.get(HEADER_UNITS.get(job.unit_code or 0, ("", 0.0))[0], "")
