"""A sheet of views: ties become readings of views, readings become points by fusion, contradictions are refused."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from kin3d.reading.dxf.agreement import assign_together
from kin3d.reading.dxf.content import grouped
from kin3d.reading.dxf.declared import DeclaredView
from kin3d.reading.dxf.fusion import SheetView
from kin3d.reading.dxf.matching import SNAP, Tie, extent_of, size_of
from kin3d.reading.dxf.plausible import check_points, out_of_order, out_of_place
from kin3d.reading.dxf.result import DrawnPoint, Job, Source, some
from kin3d.reading.dxf.scale import stated_scale, unit_factor
from kin3d.reading.dxf.sheet_points import blank_unsure, make_points
from kin3d.reading.dxf.view_axes import fuse_groups, settle
from kin3d.reading.dxf.view_marks import ViewMarks, find_views, group
from kin3d.reading.text import FindingLog


def read_sheet(job: Job, ties: list[Tie]) -> None:
    """Turn ties on a sheet into points; everything found goes to `job.reading`."""
    plans = find_views(ties, job.content, job.declared)
    if not plans:
        _no_views(job, ties)
        return
    settled = _settled(job, plans, ties)
    if not settled:
        return
    groups, views = [g for g, _ in settled], [v for _, v in settled]
    if job.declared.sigma_mm is not None:
        views = [replace(v, sigma_mm=job.declared.sigma_mm) if v.sigma_mm == 1.0 else v for v in views]
    for marks, view in settled:
        _keep_side(job, marks, view)
        _once_each(job, marks)
    known, limits = job.declared.known, (job.tolerance_mm, job.fit_scales)
    fit, names = fuse_groups(groups, views, known, *limits)
    if assign_together(job, groups, fit):
        fit, names = fuse_groups(groups, views, known, *limits)
    job.reading.views = fit.views
    job.reading.scatter_mm = fit.scatter_mm
    make_points(job, groups, fit, names)
    blank_unsure(job, groups, fit, {n: i for i, n in enumerate(names)})
    check_points(job)


def _settled(job: Job, plans: Sequence[DeclaredView], ties: list[Tie]) -> list[tuple[ViewMarks, SheetView]]:
    """Return the views with their marks and which way they look; empty where that cannot be told.

    Where nothing agrees, marks that a line joins are taken to be of one view: clusters alone part a large view.
    """
    corners, ordered = 1 if job.side is None else 2, "sense" not in job.declared.override
    told: list[FindingLog] = []
    for linked in (False, True):
        log = FindingLog(job.log.file)
        told.append(log)
        groups = group(plans, ties, job.content, log, corners, linked)
        if not job.declared.views:  # titles without a labelled mark are of no use
            groups = [g for g in groups if g.ties]
        if not linked:
            job.groups = {g.declared.name: g.ties for g in groups}
            _check_declared(job, [g for g in groups if g.ties])
            scale = _scales(job, groups)
            if job.log.failed or scale is None or not groups:
                job.log.adopt(log.findings)
                return []
        if log.failed and not linked:
            continue
        settled = settle(groups, scale or {}, job.declared.known, job.tolerance_mm, log, ordered)
        if settled and not log.failed:
            job.log.adopt(log.findings)
            job.groups = {g.declared.name: g.ties for g in groups}
            return settled
    job.log.adopt(told[0].findings)
    return []


def _no_views(job: Job, ties: Sequence[Tie]) -> None:
    """A flat drawing without views: a single plan view if every label stands once, else views to be declared."""
    level = "all z are equal, or nearly"
    if len({t.name.point for t in ties}) < len(ties):
        text = f"{level}, and labels stand at several places: this is a sheet of views"
        job.log.error("views-missing", f"{text}; {skeleton(('front', 'side', 'plan'))}")
        return
    text = f"{level}: this is one plan view, not a drawing in space; x and y can be read, z is missing. Take the 3D"
    job.log.error("drawing-flat", f"{text} original, or declare the view in views.toml together with others")
    factor = unit_factor(job, size_of([t.mark for t in ties]))
    for tie in ties:
        place = (float(tie.mark.xyz[0]), float(tie.mark.xyz[1]))
        xyz = np.array([*place, np.nan]) * (np.nan if factor is None else factor)
        source = Source(tie.mark.origin, tie.how, "plan", place)
        job.reading.partial[tie.name.point] = DrawnPoint(tie.name.point, xyz, np.full(3, np.nan), 0.0, (source,))
    seen = {n: p.xyz_mm for n, p in job.reading.partial.items()}
    if out_of_order(seen) or out_of_place(seen, None):  # it is another view than the plan: then nothing is sure of it
        for name in seen:
            job.blank(name)


def skeleton(names: Sequence[str]) -> str:
    """Return what to write into views.toml, as one line."""
    tables = "; ".join(f'[views.{n}] axes = ["?", "?"], origin = [?, ?]' for n in names)
    return f"say in views.toml how each view looks and where its datum is: {tables}"


def _check_declared(job: Job, groups: Sequence[ViewMarks]) -> None:
    """Refuse at once what is missing: axes and datum of the views."""
    if not groups:
        job.log.error("views-empty", "no view has a labelled mark; check regions, layers and titles in views.toml")
        return
    seen = {t.name.point for g in groups for t in g.ties}
    known = [n for n in job.declared.known if n in seen]
    for name in sorted(set(job.declared.known) - seen):
        job.log.warn("known-unseen", f"the known point {name} is not on the sheet")
    blind = [g.declared.name for g in groups if g.declared.axes is None]
    if blind and not known:
        called = (g.declared.title or g.declared.layer or g.declared.block or g.declared.name for g in groups)
        found = ", ".join(f'"{name}"' for name in called)
        text = "which way they look (first or third angle, from the front or the rear) the sheet does not say"
        job.log.error("view-axes", f"views found: {found}; {text}; {skeleton(blind)}")
    if all(g.declared.origin is None for g in groups) and not known:
        text = f"no view has a datum ({', '.join(g.declared.name for g in groups)}): give origin = [right, up] of each"
        job.log.error("datum-missing", f"{text} view, or a point whose place is known, [known] name = [x, y, z]")


def _scales(job: Job, groups: Sequence[ViewMarks]) -> dict[str, float] | None:
    """Return mm of the car per drawing unit of every view."""
    direct = {g.declared.name: g.declared.mm_per_unit or job.declared.mm_per_unit for g in groups}
    if all(direct.values()):
        return {k: float(v) for k, v in direct.items() if v is not None}
    others = [g.declared.scale for g in groups if g.declared.scale is not None]
    given = job.declared.scale or (others[0] if len(others) == len(groups) else None)
    stated = stated_scale(job, given, others)
    ratio = {g.declared.name: g.declared.scale or stated for g in groups}
    sizes = [size_of([t.mark for t in g.ties]) * (ratio[g.declared.name] or 1.0) for g in groups if g.ties]
    factor = unit_factor(job, max(sizes, default=0.0) if all(ratio.values()) else 0.0)
    if factor is None or not all(ratio.values()):
        return None
    return {k: direct[k] or factor * float(r) for k, r in ratio.items() if r is not None}


def _keep_side(job: Job, marks: ViewMarks, view: SheetView) -> None:
    """Keep the ties of the wanted side in a view that shows both corners with the same labels."""
    direction = [k for k, (axis, _) in enumerate(view.axes) if axis == 1]
    if job.side is None or view.origin is None or not direction:
        return
    k, wanted = direction[0], 1.0 if job.side == "left" else -1.0
    sides = {id(t): view.axes[k][1] * wanted * (t.mark.xyz[k] - view.origin[k]) >= 0.0 for t in marks.ties}
    here, there = ([t for t in marks.ties if sides[id(t)] == side] for side in (True, False))
    if {t.name.point for t in here} & {t.name.point for t in there}:
        marks.ties = here


def _once_each(job: Job, view: ViewMarks) -> None:
    """Refuse a label that stands twice in one view; the same place twice is once."""
    by_name = grouped((t.name.point, t) for t in view.ties)
    one_place = SNAP * extent_of([t.mark.xyz for t in view.ties]) + 1e-9
    for name, ties in by_name.items():
        ties[:] = [t for t in ties if t.how == "place"] or ties  # what a person says of a place beats every text
        places = np.array([t.mark.xyz for t in ties])
        if np.ptp(places, axis=0).max() > one_place:
            listed = some(f"({t.mark.xyz[0]:.3f}, {t.mark.xyz[1]:.3f}) {t.mark.origin}" for t in ties)
            text = f'the label {name} stands at {len(ties)} places of view "{view.declared.name}"'
            job.refuse(name, "label-twice", f"{text}: {listed}")
    refused = job.reading.partial
    view.ties = [ties[0] for name, ties in by_name.items() if name not in refused]
