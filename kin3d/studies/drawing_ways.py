"""Which way the views of a sheet may look: the two or three consistent answers that are offered to a person.

Views that show the same car axis have the same coordinates along it. Points that have names in two views say so at
once; else the places of both are laid onto each other.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import permutations, product

import numpy as np
from numpy.typing import NDArray

from kin3d.reading.dxf.content import DrawnMark
from kin3d.reading.dxf.result import Job
from kin3d.studies.drawing_linkage import outer_step
from kin3d.studies.drawing_places import Axes, SketchedView, gap

Array = NDArray[np.float64]
ALIKE = 0.004  # share of a view's extent within which two coordinates are the same
MOST_WAYS = 3  # ways of looking that are offered
SHARED = 3  # names in both of two views that tell how one lies to the other
# of two joints the first has more of a car axis (0 to 2; of y: is farther out): how suspensions are built, no source
ORDERED = (
    ("lower_front", "lower_rear", 0), ("upper_front", "upper_rear", 0), ("lower_outer", "lower_rear", 0),
    ("upper_outer", "upper_rear", 0), ("lower_front", "lower_outer", 0), ("upper_front", "upper_outer", 0),
    ("lower_outer", "lower_front", 1), ("upper_outer", "upper_front", 1), ("lower_outer", "lower_rear", 1),
    ("upper_outer", "upper_rear", 1), ("tie_outer", "tie_inner", 1), ("rod_outer", "rod_inner", 1),
    ("upper_outer", "lower_outer", 2),
)  # fmt: skip
_ROLES: dict[str, tuple[tuple[int, int], ...]] = {"front": ((1, 2),), "side": ((0, 2),), "plan": ((0, 1), (1, 0))}


def ways_of(views: Sequence[SketchedView], marks: Sequence[DrawnMark], job: Job) -> tuple[tuple[Axes | None, ...], ...]:
    """Return the ways of looking that fit best: the axes of every view, the likeliest way first."""
    if not views:
        return ()
    if all(v.axes for v in views):
        return (tuple(v.axes for v in views),)
    seen = [np.array([m.xyz[:2] for m in marks if gap(v.box, m.xyz) == 0.0]).reshape(-1, 2) for v in views]
    named = [{t.name.point: t.mark.xyz[:2] for t in job.ties if gap(v.box, t.mark.xyz) == 0.0} for v in views]
    ranked: list[tuple[float, tuple[Axes, ...]]] = []
    for roles in permutations(_ROLES, min(len(views), 3)):
        told = [v.name.rstrip("0123456789").replace("rear", "front") for v in views[: len(roles)]]
        if not any(t in _ROLES and t != r for t, r in zip(told, roles, strict=True)):
            for pairs in product(*(_ROLES[r] for r in roles)):
                ranked += _signed(pairs, seen, named)
    ranked = sorted(((score - _upset(job, views, axes, named), axes) for score, axes in ranked), key=lambda r: -r[0])
    best = ranked[0][0] if ranked else 0.0
    rest: tuple[Axes | None, ...] = (None,) * (len(views) - min(len(views), 3))
    kept = dict.fromkeys(axes for score, axes in ranked if score >= best - 0.3)
    return tuple((*axes, *rest) for axes in list(kept)[:MOST_WAYS])


def _upset(job: Job, views: Sequence[SketchedView], axes: Sequence[Axes], named: Sequence[dict[str, Array]]) -> float:
    """Return how far a way of looking is against the order of the joints: outer ones outboard, front ones ahead.

    Where no name tells what is outboard, the links do.
    """
    wheel = 1.0 if job.side in (None, "left") else -1.0
    wrong = 0.0
    for view, pair, at in zip(views, axes, named, strict=False):
        step = outer_step(job, view.box)
        for direction, (axis, sign) in enumerate(pair):
            away = sign * (wheel if axis == 1 else 1.0)
            gaps = [away * float(at[a][direction] - at[b][direction]) for a, b, k in ORDERED
                    if k == axis and a in at and b in at]  # fmt: skip
            if gaps:
                wrong += 0.1 * sum(g < 0.0 for g in gaps)
            elif axis == 1:
                wrong += 0.2 * (away * step[direction] < 0.0)
    return wrong


def _signed(
    pairs: Sequence[tuple[int, int]], seen: Sequence[Array], named: Sequence[dict[str, Array]]
) -> list[tuple[float, tuple[Axes, ...]]]:
    """Return the signs of the views' axes that agree with each other, with the share of coordinates that agree.

    Up is up where z is shown upward; the signs of x and of y are free in the first view that shows them.
    """
    out = []
    for nose, lateral in product((-1.0, 1.0), (1.0, -1.0)):
        first: dict[int, tuple[int, int, float]] = {}
        axes: list[Axes] = []
        scores = []
        for v, pair in enumerate(pairs):
            signs = []
            for direction, axis in enumerate(pair):
                sign = 1.0 if axis == 2 else (nose if axis == 0 else lateral)
                if axis in first:
                    other, way, before = first[axis]
                    both = sorted(named[v].keys() & named[other].keys())
                    if len(both) >= SHARED:
                        a, b = (np.array([named[k][n][d] for n in both]) for k, d in ((v, direction), (other, way)))
                        along, against = _in_order(a, b), _in_order(a, -b)
                    else:
                        a, b = seen[v][:, direction], seen[other][:, way]
                        along, against = _matched(a, b), _matched(a, -b)
                    upright = axis == 2
                    sign = before if along >= against or upright else -before
                    scores.append(along if upright else max(along, against))
                else:
                    first[axis] = (v, direction, sign)
                signs.append((axis, sign))
            axes.append((signs[0], signs[1]))
        out.append((float(np.mean(scores or [0.0])), tuple(axes)))
    return out


def _in_order(a: Array, b: Array) -> float:
    """Return the share of named coordinates that agree once one view is shifted and scaled onto the other."""
    spread = float(np.ptp(a))
    if spread == 0.0 or np.ptp(b) == 0.0:
        return 0.0
    far = np.abs((a - np.median(a)) / spread - (b - np.median(b)) / float(np.ptp(b)))
    return float((far <= ALIKE).mean())


def _matched(a: Array, b: Array) -> float:
    """Return the share of coordinates that agree once the views are shifted and scaled onto each other."""
    if min(len(a), len(b)) < 2 or np.ptp(a) == 0.0 or np.ptp(b) == 0.0:
        return 0.0
    u, v = (np.sort((c - c.min()) / np.ptp(c)) for c in (a, b))
    far = np.abs(u[:, None] - v).min(axis=1)
    return float((far <= ALIKE).mean())
