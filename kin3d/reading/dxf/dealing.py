"""Deals labelled marks out to views that stand too close together for clusters, by what the views themselves say.

Where axes, origin and scale of every view are declared, each place of a label can be read in each view. The places of
one label belong to the views in the way that makes the coordinates seen twice agree best.

Tolerances
----------
AHEAD : how many times worse the second best way of dealing one label's places out must be.
TELLING : share of the sheet's extent by which it must be worse at least.
FAR : share of the sheet's extent by which the best way may miss; more, and a view is declared wrongly.
ENOUGH : share of the labels with several places that must be told by agreement alone.

What it cannot know: where a label with one place, or with places that fit both ways, belongs. It goes to the view of
the nearest marks that were told, and nowhere if these are of different views.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import permutations

import numpy as np

from kin3d.reading.dxf.marks import Vector
from kin3d.reading.dxf.plan import ViewPlan
from kin3d.reading.dxf.search import Tie

AHEAD = 4.0
TELLING = 0.004
FAR = 0.05
ENOUGH = 0.6
NEIGHBOURS = 3
MAX_VIEWS = 4


def deal_by_agreement(views: Sequence[ViewPlan], ties: Sequence[Tie]) -> list[list[Tie]] | None:
    """Return the ties of each view, in the order of `views`; None where agreement does not part the sheet."""
    scale = _scales(views)
    if scale is None or not 2 <= len(views) <= MAX_VIEWS:
        return None
    places = _places(ties)
    told: dict[int, int] = {}
    several = [group for group in places.values() if len(group) > 1]
    extent = float(np.ptp(np.array([t.mark.xyz[:2] for t in ties]), axis=0).max()) * max(scale)
    for group in several:
        told |= _best(views, scale, group, extent)
    if len(several) < 3 or sum(id(g[0][0]) in told for g in several) < ENOUGH * len(several):
        return None
    if not _rest(told, places):
        return None
    return [[t for t in ties if told[id(t)] == v] for v in range(len(views))]


def parts_alike(one: Sequence[Sequence[Tie]], other: Sequence[Sequence[Tie]]) -> bool:
    """Whether two ways of parting ties are the same but for the order of the parts."""
    first, second = ({frozenset(id(t) for t in part) for part in parts if part} for parts in (one, other))
    return first == second


def _scales(views: Sequence[ViewPlan]) -> list[float] | None:
    """Return what one drawing unit of each view is worth, up to a common factor."""
    if any(v.axes is None or v.origin is None for v in views):
        return None
    for given in ([v.mm_per_unit for v in views], [v.scale for v in views]):
        if all(g is not None for g in given):
            return [float(g) for g in given if g is not None]
        if any(g is not None for g in given):
            return None
    return [1.0] * len(views)


def _places(ties: Sequence[Tie]) -> dict[str, list[list[Tie]]]:
    """Return the ties of every label, those at one place together."""
    found: dict[str, list[list[Tie]]] = {}
    for tie in ties:
        group = found.setdefault(tie.name.point, [])
        same = [g for g in group if np.allclose(g[0].mark.xyz, tie.mark.xyz)]
        same[0].append(tie) if same else group.append([tie])
    return found


def _best(views: Sequence[ViewPlan], scale: list[float], group: list[list[Tie]], extent: float) -> dict[int, int]:
    """Return the view of every tie of one label; empty where no way of dealing them out stands out."""
    if len(group) > len(views):
        return {}
    ways = []
    for way in permutations(range(len(views)), len(group)):
        worst = _disagreement([(views[v], scale[v], g[0].mark.xyz) for v, g in zip(way, group, strict=True)])
        ways.append((worst, way))
    ways.sort()
    if ways[0][0] > FAR * extent or (len(ways) > 1 and ways[1][0] < AHEAD * ways[0][0] + TELLING * extent):
        return {}
    return {id(t): v for v, g in zip(ways[0][1], group, strict=True) for t in g}


def _disagreement(seen: list[tuple[ViewPlan, float, Vector]]) -> float:
    """Return by how much the views' values of one coordinate differ at most; infinite where none is seen twice."""
    said: dict[int, list[float]] = {}
    for view, scale, place in seen:
        for direction in (0, 1):
            if view.axes is not None and view.origin is not None:
                axis, sign = view.axes[direction]
                said.setdefault(axis, []).append(sign * scale * float(place[direction] - view.origin[direction]))
    return max((max(v) - min(v) for v in said.values() if len(v) > 1), default=float("inf"))


def _rest(told: dict[int, int], places: dict[str, list[list[Tie]]]) -> bool:
    """Deal out what was not told to the view of its neighbours; False where a place has none, or a view gets two."""
    from scipy.spatial import cKDTree

    known = [(g[0].mark.xyz[:2], told[id(g[0])]) for gs in places.values() for g in gs if id(g[0]) in told]
    tree = cKDTree(np.array([p for p, _ in known]))
    for groups in places.values():
        for group in groups:
            if id(group[0]) not in told:
                _, near = tree.query(group[0].mark.xyz[:2], min(NEIGHBOURS, len(known)))
                homes = {known[int(k)][1] for k in np.atleast_1d(near)}
                if len(homes) != 1:
                    return False
                told |= {id(t): next(iter(homes)) for t in group}
        if len({told[id(g[0])] for g in groups}) < len(groups):
            return False
    return True
