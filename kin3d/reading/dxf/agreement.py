"""One assignment of all labels of a sheet: what each view shows by itself, and how well the views agree.

What a view shows by itself (`matching`) serves to find which marks are in which view and how the views look. Then the
labels of all views make one table. A label costs at a mark what it costs there by itself; and for every other view with
a label of the same point, the least that the other one costs at a mark of its own with what the two marks disagree. So
a view's doubtful label votes with all of its marks, each at its price, and never as if it were sure: what two views say
only because both may choose stands out against nothing. Labels that are sure have one mark, and no other may take it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from kin3d.reading.dxf.assignment import assign
from kin3d.reading.dxf.content import DrawnMark, Text, Vector, grouped, tree_of
from kin3d.reading.dxf.fusion import Fusion
from kin3d.reading.dxf.matching import FIRM, PointLabel, Tie, UntiedLabel, box_distances, extent_of, symbols
from kin3d.reading.dxf.result import Job
from kin3d.reading.dxf.scale import paper_mm
from kin3d.reading.dxf.view_marks import ViewMarks

AGREES = 2.0  # how many times more than views of this sheet disagree at all a mark may disagree with the other views
STANDS_OUT = 3.0  # how many times worse the next assignment must be
LABEL_REACH = 40.0  # text heights; a label without a pointer is nearer to its mark
WORDS = 0.2  # text heights; a mark nearer to the words than that is as good as at them
UNMATCHED = 1e3
ViewSays = dict[int, float]  # axis and coordinate, mm, right and up


@dataclass(slots=True, eq=False)
class _Row:
    """A label in its view, the marks that it may have with what each costs, and its ties so far."""

    label: UntiedLabel
    view: int
    costs: dict[int, float]
    sure: bool
    ties: list[Tie]


def assign_together(job: Job, groups: Sequence[ViewMarks], fit: Fusion) -> bool:
    """Assign the labels of all views at once; True if a tie of any view is another than before."""
    marks, rows = _rows(job, groups)
    said = [{c: dict(fit.views[r.view].says(marks[c].xyz)) for c in r.costs} for r in rows]
    fine = min(max(3.0 * fit.scatter_mm, paper_mm(job, fit.views)), job.tolerance_mm / 2.0)  # views disagree so anyhow
    same = grouped((row.label.point, n) for n, row in enumerate(rows))
    table, misses = {}, {}
    for n, row in enumerate(rows):
        others = [(rows[m], said[m]) for m in same[row.label.point] if rows[m].view != row.view]
        for c, own in row.costs.items():
            heard = None if row.sure else _heard(said[n][c], others, fine, job.tolerance_mm)
            if row.sure or heard is not None:
                more, misses[n, c] = heard or (0.0, 0.0)
                table[n, c] = own + more
    found = assign(table, UNMATCHED)
    limit = float(np.log(STANDS_OUT))
    changed = False
    for n, row in enumerate(rows):
        if row.sure or n not in found:
            continue
        column, margin = found[n]
        stands = margin >= limit and misses[n, column] <= AGREES * fine
        changed |= _settle(job, groups[row.view], row, marks[column] if stands else None)
    return changed


def _settle(job: Job, group: ViewMarks, row: _Row, mark: DrawnMark | None) -> bool:
    """Give a label its mark, or none; True if that is news."""
    if mark is not None and row.ties and np.allclose(mark.xyz, row.ties[0].mark.xyz):
        return False
    gone = {id(t) for t in row.ties}
    group.ties = [t for t in group.ties if id(t) not in gone]
    job.ties = [t for t in job.ties if id(t) not in gone]
    job.untied = [u for u in job.untied if u is not row.label]
    if mark is None:
        job.untied.append(row.label)
        return bool(gone)
    label = row.label.label
    new = [Tie(name, mark, "leader" if row.label.sure else "agreement", label.text) for name in label.names]
    group.ties += new
    job.ties += new
    return True


def _rows(job: Job, groups: Sequence[ViewMarks]) -> tuple[list[DrawnMark], list[_Row]]:
    """Return the marks of the sheet, and a row for every label that other views can speak of or that is sure."""
    marks = symbols(job.content.marks)
    marks += [t.mark for g in groups for t in g.ties if t.mark.kind == "end"]
    xyz = np.array([m.xyz for m in marks]).reshape(-1, 3)
    near, tree = 1e-6 * extent_of([m.xyz for m in marks]), tree_of(xyz)
    places = [np.array([t.mark.xyz for t in g.ties]).reshape(-1, 3) for g in groups]
    rows = []
    for view, group in enumerate(groups):
        for ties in grouped((id(t.text or t), t) for t in group.ties).values():
            first = ties[0]
            if first.how in FIRM or first.text is None:
                columns = tree.query_ball_point(first.mark.xyz, near)
                label = UntiedLabel(PointLabel(first.text, (first.name,)), ())  # type: ignore[arg-type]
                rows.append(_Row(label, view, dict.fromkeys(columns[:1], 0.0), True, ties))
            else:
                label = UntiedLabel(PointLabel(first.text, tuple(t.name for t in ties)), (first.mark,))
                rows.append(_Row(label, view, _own(label, xyz), False, ties))
        tied = {t.name.point for t in group.ties}
        for untied in job.untied:
            if _home(untied.label.text, places) == view and untied.point not in tied:
                rows.append(_Row(untied, view, _own(untied, xyz), False, []))
    return marks, rows


def _own(untied: UntiedLabel, xyz: Vector) -> dict[int, float]:
    """Return the marks that a label may have with what each costs by itself: those pointed at, else those near."""
    if untied.pointed:
        heads = np.array([m.xyz for m in untied.pointed])
        return {int(c): 0.0 for c in np.flatnonzero(np.isclose(xyz[:, None], heads).all(axis=2).any(axis=1))}
    text = untied.label.text
    near = np.flatnonzero(np.linalg.norm(xyz - text.anchor, axis=1) <= LABEL_REACH * text.height)
    far = box_distances(text, xyz[near]) / (WORDS * text.height)
    return {int(c): float(np.log(max(f, 1.0))) for c, f in zip(near, far, strict=True)}


def _heard(
    here: ViewSays, others: Sequence[tuple[_Row, dict[int, ViewSays]]], fine: float, tolerance_mm: float
) -> tuple[float, float] | None:
    """Return what the other views add to the cost of a mark, and by how much it disagrees with them; None for none.

    A sure label of another view that contradicts the mark rules it out; a doubtful one costs as much, and no more.
    """
    cost, worst, heard = 0.0, 0.0, False
    for row, said in others:
        least = min(row.costs.values(), default=0.0)
        ways = []
        for c, own in row.costs.items():
            miss = max((abs(here[k] - v) for k, v in said[c].items() if k in here), default=np.inf)
            ways.append((float(np.log(1.0 + miss / fine)) + own - least, miss))
        best, miss = min(ways, default=(np.inf, np.inf))
        if np.isfinite(best) and miss < tolerance_mm:
            cost, worst, heard = cost + best, max(worst, miss), True
        elif np.isfinite(best) and row.sure:
            return None
        elif np.isfinite(best):
            cost += float(np.log(1.0 + tolerance_mm / fine))
    return (cost, worst) if heard else None


def _home(text: Text, places: Sequence[Vector]) -> int | None:
    """Return the view in which a text stands: that of the nearest of the labelled marks, shape (n, 3) a view."""
    far = [float(np.linalg.norm(p - text.anchor, axis=1).min(initial=np.inf)) for p in places]
    return int(np.argmin(far)) if far and np.isfinite(min(far)) else None
