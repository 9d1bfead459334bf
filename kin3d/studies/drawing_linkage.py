"""Which place may be which joint, by how a linkage hangs together: proposals for a person, never a reading.

Two arms are pairs of links that meet in one outer joint; the lower one is below. A single link between them in height
that lies about level is the tie link; a steep one is the rod; what meets the rod's upper end is the rocker, and the
link from there inboard the spring. Where a sheet shows both corners, they are each other's mirror images.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from kin3d.reading.dxf.content import DrawnMark
from kin3d.reading.dxf.labels import ON_RIM
from kin3d.reading.dxf.result import Job
from kin3d.studies.drawing_places import Axes, SheetPlace, SketchedView

Array = NDArray[np.float64]
INBOARD = 0.6  # of the arms' reach; a link whose outer end is nearer to the middle is none of the upright's
STEEP = 0.5  # rise over length of a link that is no tie link
SNAP = 1e-3  # share of the extent within which a link ends on a place
MIRRORED = 0.9  # share of the places that must have a mirror image for both corners to be drawn


def guess_by_linkage(
    job: Job, places: Sequence[SheetPlace], views: Sequence[SketchedView], ways: Sequence[Sequence[Axes | None]]
) -> dict[int, tuple[str, str]]:
    """Return a name and the reason for places, by number, of every view that shows height and of a drawing in space."""
    out: dict[int, tuple[str, str]] = {}
    if not views:
        out |= _joints(job, places, np.array([p.mark.xyz for p in places]).reshape(-1, 3))
    for k, view in enumerate(views):
        axes = ways[0][k] if ways else None
        inside = [p for p in places if p.view == view.name]
        if axes is None or 2 not in (axes[0][0], axes[1][0]) or len(inside) < 4:
            continue
        xyz = np.full((len(inside), 3), np.nan)
        for direction, (axis, sign) in enumerate(axes):
            xyz[:, axis] = [sign * p.mark.xyz[direction] for p in inside]
        out |= _joints(job, inside, xyz)
    return out


def outer_step(job: Job, box: tuple[float, float, float, float]) -> Array:
    """Return which way outer joints lie from inner ones in a view, right and up: from where two links meet; else 0."""
    left, bottom, right, top = box
    ends: dict[tuple[float, float], list[Array]] = {}
    for s in job.content.strokes:
        if not s.leader and all(left <= e[0] <= right and bottom <= e[1] <= top for e in (s.start, s.end)):
            for a, b in ((s.start, s.end), (s.end, s.start)):
                ends.setdefault((round(float(a[0]), 4), round(float(a[1]), 4)), []).append(a[:2] - b[:2])
    steps = [np.mean(others, axis=0) for others in ends.values() if len(others) == 2]
    total: Array = np.sum(steps, axis=0) if steps else np.zeros(2)
    return total


def _joints(job: Job, places: Sequence[SheetPlace], xyz: Array) -> dict[int, tuple[str, str]]:
    """Return names by the graph of links among places with coordinates in the car's axes, NaN where not shown."""
    if len(places) < 4:
        return {}
    links = links_of(job, [p.mark for p in places])
    meets: dict[int, set[int]] = {}
    for a, b in links:
        meets.setdefault(a, set()).add(b)
        meets.setdefault(b, set()).add(a)
    outboard = np.abs(xyz[:, 1] - _middle(xyz[:, 1])) if np.isfinite(xyz[:, 1]).all() else None
    arms = sorted((i for i, others in meets.items() if len(others) == 2), key=lambda i: xyz[i, 2])
    arms = [i for i in arms if outboard is None or all(outboard[i] > outboard[j] for j in meets[i])]
    found: dict[int, tuple[str, str]] = {}
    used: set[int] = set()
    for level, joint in (("lower", arms[0]), ("upper", arms[-1])) if len(arms) > 1 else ():
        used |= {joint, *meets[joint]}
        found[joint] = (f"{level}_outer", "two links meet there")
        inner = sorted(meets[joint], key=lambda i: -xyz[i, 0])
        if np.isfinite(xyz[:, 0]).all() and len(inner) == 2:
            found[inner[0]] = (f"{level}_front", f"the front joint of the {level} arm")
            found[inner[1]] = (f"{level}_rear", f"the rear joint of the {level} arm")
    if len(arms) > 1 and outboard is not None:
        _single(found, used, links, xyz, outboard, float(outboard[[arms[0], arms[-1]]].mean()))
    return {places[i].number: guess for i, guess in found.items()}


def _single(
    found: dict[int, tuple[str, str]], used: set[int], links: Sequence[tuple[int, int]], xyz: Array, outboard: Array,
    reach: float,
) -> None:  # fmt: skip
    """Name the ends of single links; `reach` is how far outboard the arms' outer joints are.

    A link from the upright is the tie link where it is level, the rod where it is steep; one that stays inboard the
    spring.
    """
    for a, b in links:
        across, rise = abs(float(outboard[a] - outboard[b])), abs(float(xyz[a, 2] - xyz[b, 2]))
        if {a, b} & used or across == 0.0:
            continue
        outer, inner = (a, b) if outboard[a] > outboard[b] else (b, a)
        steep = rise / float(np.hypot(across, rise)) >= STEEP
        if outboard[outer] < INBOARD * reach:
            kind, what = "spring", "a link that stays inboard"
        else:
            kind, what = ("rod", "a single steep link") if steep else ("tie", "a single level link")
        if f"{kind}_outer" not in {name for name, _ in found.values()}:
            found[outer] = (f"{kind}_outer", f"outer end of {what}")
            found[inner] = (f"{kind}_inner", f"inner end of {what}")


def links_of(job: Job, marks: Sequence[DrawnMark]) -> list[tuple[int, int]]:
    """Return the pairs of marks that a line joins, at the centre or at the rim of their symbols."""
    from scipy.spatial import cKDTree

    drawn = np.array([m.xyz for m in marks])
    tree = cKDTree(drawn)
    least = SNAP * (float(np.linalg.norm(np.ptp(drawn, axis=0))) or 1.0)
    limit = np.array([max(least, ON_RIM * m.reach) for m in marks])
    found = set()
    for stroke in job.content.strokes:
        far, near = tree.query(np.array([stroke.start, stroke.end]))
        a, b = (int(k) for k in near)
        if not stroke.leader and (far <= limit[near]).all() and a != b:
            found.add((min(a, b), max(a, b)))
    return sorted(found)


def _middle(y: Array) -> float:
    """Return the car's middle along y: where both corners are drawn, between them, else the inner end."""
    for about in (float((y.min() + y.max()) / 2.0),):
        mirrored = np.abs((2.0 * about - y)[:, None] - y).min(axis=1) <= 1e-3 * float(np.ptp(y) or 1.0)
        if mirrored.mean() >= MIRRORED and len(y) >= 8:
            return about
    return float(y.min())
