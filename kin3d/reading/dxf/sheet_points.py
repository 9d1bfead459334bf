"""From the fusion of a sheet's views to its points: what contradicts itself or rests on a doubtful view is refused."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations
from typing import Any

import numpy as np

from kin3d.reading.dxf.content import Vector, grouped, tree_of
from kin3d.reading.dxf.fusion import Fusion
from kin3d.reading.dxf.matching import FIRM, Tie, symbols
from kin3d.reading.dxf.result import DrawnPoint, Job, Source
from kin3d.reading.dxf.scale import paper_mm
from kin3d.reading.dxf.view_marks import ViewMarks

CROWDED = 3.0  # text heights; marks so near to each other may be taken for one another
MISFIT_SHARE = 0.6  # share of a coordinate's points that contradict before the views themselves are blamed
LETTERS = "xyz"


def make_points(job: Job, groups: Sequence[ViewMarks], fit: Fusion, names: list[str]) -> None:
    """Put every point of the fusion among those read, or refuse it; everything found goes to `job`."""
    loose_axes = [k for k in range(3) if fit.loose[:, k].any()]
    for k in loose_axes:
        text = f"nothing on the sheet says where {LETTERS[k]} = 0 of the car is"
        job.log.error("datum-missing", f"{text}: give the origin of a view that shows {LETTERS[k]}, or a known point")
    misfit = _misfit(job, fit)
    said = all(v.sigma_mm != 1.0 for v in fit.views)
    floor_mm = None if said else paper_mm(job, fit.views)
    of_name = grouped((t.name.point, (v, t)) for v, g in enumerate(groups) for t in g.ties)
    for i, name in enumerate(names):
        point = _point(fit, of_name.get(name, ()), i, name, floor_mm)
        if misfit and not job.accept_spread:
            job.reading.partial[name] = point
            job.blank(name)
            continue
        job.reading.points[name] = point
        _judge(job, fit, i, point, loose_axes)
    spread = np.nan_to_num(fit.kept_mm)
    if (worst := float(spread.max(initial=0.0))) > 1e-6:
        letter = LETTERS[int(spread.max(axis=0).argmax())]
        text = f"views agree within {worst:.3f} mm (worst: {letter}); scatter of one reading {fit.scatter_mm:.3f} mm"
        job.log.note("views-agree", text, "the weighted mean")


def _misfit(job: Job, fit: Fusion) -> bool:
    """Say it once where two views contradict each other nearly everywhere: then the views are wrong, not a point."""
    pairs = grouped(
        ((k, v, w), (a, b)) for (_, k), said in fit.values.items() for (v, a), (w, b) in combinations(said, 2)
    )
    found = False
    for (k, v, w), values in pairs.items():
        a, b = np.array(values).T
        if len(a) >= 4 and (np.abs(a - b) >= job.tolerance_mm).mean() > MISFIT_SHARE:
            names = f'"{fit.views[v].name}" and "{fit.views[w].name}"'
            text = f"views {names} contradict each other on {LETTERS[k]} nearly everywhere"
            cause = _cause(a, b, job.tolerance_mm)
            job.log.error("views-misfit", f"{text}; {cause}; no point can be trusted")
            found = True
    return found


def _cause(a: Vector, b: Vector, tolerance_mm: float) -> str:
    """Return what kind of mistake two views' values of one coordinate look like."""
    if np.abs((a - b) - np.median(a - b)).max() < tolerance_mm:
        return f"they differ by {np.median(a - b):.3f} mm throughout: one origin is wrong"
    if np.abs((a + b) - np.median(a + b)).max() < tolerance_mm:
        return "one is the mirror image of the other: one axis runs the other way"
    slope, offset = np.polyfit(b, a, 1)
    if np.abs(a - slope * b - offset).max() < tolerance_mm:
        return f"one is {slope:.4f} times the other: one scale is wrong (the fit can correct small errors, fit_scales)"
    return "they have nothing to do with each other: axes, regions or titles of the views are wrong"


def _point(fit: Fusion, ties: Sequence[tuple[int, Tie]], i: int, name: str, floor_mm: float | None) -> DrawnPoint:
    sources, worst = [], 0.0
    for v, tie in ties:
        view, place = fit.views[v], (float(tie.mark.xyz[0]), float(tie.mark.xyz[1]))
        said = zip(view.axes, view.says(place), strict=True)
        residual = tuple(float(sign * (value - fit.xyz_mm[i, k])) for (_, sign), (k, value) in said)
        worst = max([worst, *(abs(r) for r in residual if np.isfinite(r))])
        sources.append(Source(tie.mark.origin, tie.how, view.name, place, residual))
    sigma = fit.sigma_mm[i].copy() if floor_mm is None else np.maximum(fit.sigma_mm[i], floor_mm)
    checked = sum(len(fit.values.get((i, k), ())) > 1 for k in range(3))
    return DrawnPoint(name, fit.xyz_mm[i].copy(), sigma, worst, tuple(sources), checked)


def _judge(job: Job, fit: Fusion, i: int, point: DrawnPoint, loose: Sequence[int]) -> None:
    name, views = point.name, [s.view for s in point.sources]
    clash = [k for k in range(3) if fit.spread_mm[i, k] >= job.tolerance_mm * (1.0 - 1e-9)]
    for k in clash:
        _clash(job, fit, i, k, point)
    missing = [k for k in range(3) if (i, k) not in fit.values and k not in loose and np.isnan(point.xyz_mm[k])]
    if missing:
        letters = " and ".join(LETTERS[k] for k in missing)
        text = f"{name} is labelled in view {' and '.join(views)} only: {letters} is missing"
        more = "label it in another view, or name its place there in the name table"
        job.refuse(name, "coordinate-missing", f"{text}; {more}", str(point.sources[0].origin))
    doubtful = {s.view for s in point.sources if s.how not in FIRM}
    shown = {k for v in fit.views if v.name in doubtful for k, _ in v.axes}
    weak = [k for k in sorted(shown) if len(fit.values.get((i, k), [])) == 1]
    if weak:
        letters = " and ".join(LETTERS[k] for k in weak)
        text = f"{name} has {letters} from one view only, where the label is not surely the mark's"
        more = "label it with a leader, or name the mark in the name table"
        job.refuse(name, "label-near", f"{text}; {more}", str(point.sources[0].origin))
    if np.isnan(point.xyz_mm).any() and name in job.reading.points:
        job.reading.partial[name] = job.reading.points.pop(name)


def _clash(job: Job, fit: Fusion, i: int, k: int, point: DrawnPoint) -> None:
    said = ", ".join(f'{v:.3f} in view "{fit.views[view].name}"' for view, v in fit.values[i, k])
    handles = ", ".join(f"{s.view}: handle {s.origin.handle}" for s in point.sources)
    text = f"the views contradict each other on {LETTERS[k]} of {point.name}: {said} ({fit.spread_mm[i, k]:.3f} mm"
    text += f" apart, tolerance {job.tolerance_mm:g} mm; {handles})"
    if job.accept_spread:
        point.sigma_mm[k] = max(point.sigma_mm[k], fit.spread_mm[i, k] / 2.0)
        point.xyz_mm[k] = float(np.mean([v for _, v in fit.values[i, k]]))
        job.log.warn("views-disagree", f"{text}; their mean is taken, as asked")
    else:
        point.xyz_mm[k] = np.nan
        job.refuse(point.name, "views-disagree", f"{text}; correct the drawing, or accept the spread")


def blank_unsure(job: Job, groups: Sequence[ViewMarks], fit: Fusion, index: dict[str, int]) -> None:
    """Take back what is not sure of refused points: a coordinate stands if views agree on it, or one says it firmly.

    Where the views contradict each other a label may be tied to a mark beside its own: then what one view says alone
    stands only if no other mark is near.
    """
    marks = tree_of(m.xyz for m in symbols(job.content.marks))
    for name, point in job.reading.partial.items():
        if name not in index or not point.sources:
            continue
        i = index[name]
        clash = bool((fit.spread_mm[i] >= job.tolerance_mm * (1.0 - 1e-9)).any())
        firm = {v for v, g in enumerate(groups) for t in g.ties if t.name.point == name and _firm(t, clash, marks)}
        for k in range(3):
            views = [v for v, _ in fit.values.get((i, k), [])]
            if not (set(views) & firm) or (len(views) > 1 and not set(views) <= firm and clash):
                point.xyz_mm[k] = point.sigma_mm[k] = np.nan


def _firm(tie: Tie, clash: bool, marks: Any) -> bool:
    height = tie.text.height if tie.text is not None else 0.0
    crowded = len(marks.query_ball_point(tie.mark.xyz, CROWDED * height)) > 1
    return tie.how in FIRM and not (clash and crowded)
