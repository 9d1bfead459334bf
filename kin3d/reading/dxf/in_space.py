"""A drawing in space: ties become points of the car. Units, axes, datum, two corners, gaps between links."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from kin3d.frames import VEHICLE_AXES, parse_axes
from kin3d.reading.dxf.content import DrawnMark, Stroke, Vector, grouped
from kin3d.reading.dxf.declared import ENDS
from kin3d.reading.dxf.matching import SNAP, Tie, farthest_apart, size_of
from kin3d.reading.dxf.plausible import check_points
from kin3d.reading.dxf.result import DrawnPoint, Job, Source, some
from kin3d.reading.dxf.scale import unit_factor
from kin3d.reading.dxf.wording import LinkLayer, PointName, fold

GAP_NOTE_MM = 0.01  # ends of links that meet better than this are one place


def read_space(job: Job, ties: list[Tie]) -> None:
    """Turn ties in space into points; everything found goes to `job.reading`."""
    ties = ties + _link_ties(job)
    if not ties and not job.log.failed:
        drawn = ", ".join(sorted({s.origin.layer for s in job.content.strokes})) or "none"
        job.log.error("links-missing", f"no line is on a layer that the name table names; layers with lines: {drawn}")
    factor = unit_factor(job, size_of([t.mark for t in ties]))
    if job.axes is None:
        job.log.note("axes-assumed", "no axes are given for the drawing", VEHICLE_AXES)
    _check_moved(job, ties)
    if factor is not None and not job.log.failed:
        origin = np.array(job.declared.origin or (0.0, 0.0, 0.0))
        take_points(job, ties, factor * parse_axes(job.axes or VEHICLE_AXES), origin)


def take_points(job: Job, ties: Sequence[Tie], turn_mm: Vector, origin: Vector) -> None:
    """Put the points of ties among those read, or refuse them.

    `turn_mm`, shape (3, 3), takes drawing units from `origin`, shape (3,), to mm of the vehicle frame.
    """
    for name, placed in grouped((t.name.point, (t, turn_mm @ (t.mark.xyz - origin))) for t in ties).items():
        _one_point(job, name, placed)
    sign = 1.0 if job.side == "left" else -1.0
    for name, point in list(job.reading.points.items()):
        if job.both_corners and sign * point.xyz_mm[1] < 0.0:
            text = f"{name} is only there at y = {point.xyz_mm[1]:g} mm, on the other corner than the one asked for"
            job.refuse(name, "side-wrong", text, str(point.sources[0].origin))
    check_points(job)


def _check_moved(job: Job, ties: Sequence[Tie]) -> None:
    """A whole assembly in a block that is moved or turned has two origins: its own and the drawing's.

    A block with one point in it is that point's symbol and may stand anywhere.
    """
    held = grouped((t.mark.origin.handle, t.name.point) for t in ties)
    places = [t.mark.origin for t in ties if t.mark.origin.moved is not None]
    origins = [o for o in places if len(set(held[o.handle])) > 1]
    if not origins or job.declared.origin is not None:
        return
    at, block = ", ".join(f"{c:g}" for c in origins[0].moved or ()), "/".join(origins[0].blocks)
    text = f"the points stand in the block {block}, which is put in moved or turned, at ({at}): say where the car's"
    more = "origin stands in the drawing, origin = [x, y, z] (drawing units; [0, 0, 0] if it is the drawing's own)"
    job.log.error("datum-missing", f"{text} {more}", f"handle {origins[0].handle}")


def _one_point(job: Job, name: str, placed: list[tuple[Tie, Vector]]) -> None:
    placed = [(t, p) for t, p in placed if t.how == "place"] or placed  # a person's word beats every text
    placed = _on_side(job, placed)
    xyz = np.array([p for _, p in placed])
    spread = farthest_apart(xyz)
    links = all(t.how == "link" for t, _ in placed)
    snap = max(GAP_NOTE_MM, SNAP * float(np.abs(xyz).max(initial=0.0)))
    if spread > (job.tolerance_mm if links else snap):
        _refuse_double(job, name, placed, spread, links)
        return
    mean = xyz.mean(axis=0)
    if spread > GAP_NOTE_MM:
        text = f"the ends of the links at {name} do not meet: gap {spread:.3f} mm; their mean is taken"
        job.log.warn("joint-gap", text, some(str(t.mark.origin) for t, _ in placed))
    sigma = np.full(3, max(job.declared.sigma_mm or 0.0, spread / 2.0))
    sources = tuple(
        Source(t.mark.origin, t.how, "", tuple(float(c) for c in t.mark.xyz), tuple(float(c) for c in p - mean))
        for t, p in placed
    )
    residual = float(np.linalg.norm(xyz - mean, axis=1).max())
    job.reading.points[name] = DrawnPoint(name, mean, sigma, residual, sources)
    for tie in (t for t, _ in placed if t.how == "near"):
        text = f"{name} was tied to its mark by nearness alone; check it in the picture (--plot)"
        job.log.warn("label-near", text, str(tie.mark.origin))


def _on_side(job: Job, placed: list[tuple[Tie, Vector]]) -> list[tuple[Tie, Vector]]:
    """Keep the ties of the wanted side where a name stands on both."""
    side = job.side
    if side is None or len(placed) < 2:
        return placed
    sign = 1.0 if side == "left" else -1.0
    kept = [(t, p) for t, p in placed if (t.name.side or side) == side and sign * p[1] >= 0.0]
    job.both_corners = job.both_corners or 0 < len(kept) < len(placed)
    return kept or placed


def _refuse_double(job: Job, name: str, placed: list[tuple[Tie, Vector]], spread: float, links: bool) -> None:
    listed = some(f"({p[0]:.3f}, {p[1]:.3f}, {p[2]:.3f}) {t.mark.origin}" for t, p in placed)
    if links:
        text = f"the ends of the links at {name} are {spread:.3f} mm apart"
        job.refuse(name, "joint-gap", f"{text}, more than the tolerance of {job.tolerance_mm:g} mm: {listed}")
        return
    sides = {bool(p[1] > 0.0) for _, p in placed}
    what = 'say which side, side = "left" or "right"' if len(sides) == 2 else "say which layers hold, layers = [...]"
    job.refuse(name, "label-twice", f"the label {name} stands at {len(placed)} places: {listed}; {what}")


# --- links: lines on layers that the name table names ----------------------------------------------------------------


def _link_ties(job: Job) -> list[Tie]:
    """Return ties for lines on layers that name a link: both ends, told apart by the rule that the user gives."""
    ties = []
    for stroke in job.content.strokes:
        link = job.names.links.get(fold(stroke.origin.layer))
        ends = () if link is None else _ends(job, stroke, link)
        ties += [Tie(PointName(p), DrawnMark(xyz, 0.0, "end", stroke.origin), "link") for p, xyz in ends]
    return ties


def _ends(job: Job, stroke: Stroke, link: LinkLayer) -> list[tuple[str, Vector]]:
    axis, which = ENDS[link.ends]
    ends = np.array([stroke.start, stroke.end])
    a, b = ((ends - np.array(job.declared.origin or (0, 0, 0))) @ parse_axes(job.axes or VEHICLE_AXES).T)[:, axis]
    a, b = (abs(a), abs(b)) if axis == 1 else (a, b)
    if abs(a - b) < 0.02 * float(np.linalg.norm(stroke.end - stroke.start)):
        rule = link.ends.removesuffix(" first")
        text = f'both ends of the link are as much {rule} as the other, so "{link.ends}" does not tell'
        more = f"{link.first} from {link.second}; choose another rule in the name table"
        job.log.error("link-ends", f"{text} {more}", str(stroke.origin))
        return []
    start_first = (a < b) if which in ("small", "low") else (a > b)
    return list(zip((link.first, link.second), ends if start_first else ends[::-1], strict=True))
