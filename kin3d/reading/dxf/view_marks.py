"""Which marks belong to which view of a sheet.

A group is the labelled marks of a declared region, layer or block, else a cluster: marks joined by gaps smaller than
those between clusters. Views that stand too close together for clusters are parted by agreement (coordinates that two
views both show are the same): where axes, origin and scale of every view are declared, the places of one label belong
to the views in the way that makes the coordinates seen twice agree best.

What it cannot know: a sheet whose views are so close together that a cluster would hold one label twice, and that
agreement does not part, is not parted by guess: regions are asked for. A label with one place, or with places that fit
both ways, goes to the view of the nearest marks that were told, and nowhere if these are of different views.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import permutations, product

import numpy as np

from kin3d.reading.dxf.content import Content, Stroke, Text, grouped, tree_of
from kin3d.reading.dxf.declared import Declaration, DeclaredView
from kin3d.reading.dxf.fusion import SheetView
from kin3d.reading.dxf.matching import Tie
from kin3d.reading.dxf.wording import fold, view_kind
from kin3d.reading.text import FindingLog

MAX_CLUSTERED = 3000  # labelled marks; more need declared regions
MAX_STRAYS = 6  # clusters beyond the number of views that may be points drawn far from the rest of their view
AHEAD = 4.0  # how many times worse the second best way of giving one label's places to views must be
TELLING = 0.004  # share of the sheet's extent by which it must be worse at least
FAR = 0.05  # share of the extent by which the best way may miss; more, and a view is declared wrongly
ENOUGH = 0.6  # share of the labels with several places that must be told by agreement alone
NEIGHBOURS = 3
MAX_VIEWS = 4


@dataclass(slots=True, eq=False)
class ViewMarks:
    """One view with the ties that belong to it."""

    declared: DeclaredView
    ties: list[Tie]
    sure: bool = True  # told by region, layer, block or title, and not only by the order of the views


def titles(content: Content) -> list[tuple[str, Text]]:
    """Return the texts that are titles of views, with the kind of view."""
    found = [(view_kind(t.whole), t) for t in content.texts]
    return [(kind, text) for kind, text in found if kind is not None]


def find_views(ties: Sequence[Tie], content: Content, declared: Declaration) -> list[DeclaredView]:
    """Return the declared views, or those that titles, layers or blocks show, without axes and origin."""
    layers = sorted({t.mark.origin.layer for t in ties})
    blocks = sorted({t.mark.origin.blocks[0] for t in ties if t.mark.origin.blocks})
    if declared.views:
        bare = all(v.movable and v.title is None for v in declared.views)
        for key, names in (("layer", layers), ("block", blocks)):
            home = {fold(n): n for n in names}
            if bare and all(fold(v.name) in home for v in declared.views):
                return [replace(v, **{key: home[fold(v.name)]}) for v in declared.views]  # type: ignore[arg-type]
        return list(declared.views)
    if len(layers) > 1 and all(view_kind(spaced(name)) for name in layers):
        return [DeclaredView(str(view_kind(spaced(n))), layer=n) for n in layers]
    if len(blocks) > 1 and all(t.mark.origin.blocks for t in ties):
        return [DeclaredView(view_kind(spaced(n)) or n, block=n) for n in blocks]
    return [DeclaredView(kind, title=text.whole) for kind, text in titles(content)]


def spaced(name: str) -> str:
    """Return a layer's or block's name so that ``FRONT`` and ``FrontView`` both read as a view's title."""
    words = re.sub(r"(?<=[a-z])(?=[A-Z])", " ", name).replace("_", " ").replace("-", " ")
    return words if "view" in words.lower() else f"{words} view"


def group(
    views: Sequence[DeclaredView], ties: Sequence[Tie], content: Content, log: FindingLog, corners: int, linked: bool
) -> list[ViewMarks]:
    """Give each tie to the view of its region, layer or block, the rest by cluster; return all views.

    `corners` is 2 where a view may show both corners with the same labels; `linked` takes marks that a line joins for
    one cluster.
    """
    placed = [ViewMarks(v, []) for v in views]
    open_ = [g for g in placed if g.declared.movable]
    rest: list[Tie] = []
    for tie in ties:
        homes = [g for g in placed if g not in open_ and _holds(g.declared, tie)]
        if len(homes) > 1:
            names = " and ".join(f'"{g.declared.name}"' for g in homes)
            text = f"the mark of {tie.name.point} belongs to the views {names}: make the regions apart"
            log.error("view-overlap", text, str(tie.mark.origin))
        else:
            (homes[0].ties if homes else rest).append(tie)
    if not open_ or not rest:
        return placed
    tries = (cluster(rest, len(open_), n, content.strokes if linked else ()) for n in range(1, corners + 1))
    clusters = next((c for c in tries if c is not None), None)
    parted = part_by_agreement([g.declared for g in open_], rest)
    sets = [{frozenset(map(id, part)) for part in parts or () if part} for parts in (parted, clusters)]
    if parted is not None and sets[0] != sets[1]:
        for view, ties_ in zip(open_, parted, strict=True):
            view.ties = ties_
    elif clusters is None:
        what = f"the labelled marks do not fall apart into {len(open_)} views with every label once in each"
        what = f"the sheet has {len(rest)} labelled marks" if len(rest) > MAX_CLUSTERED else what
        log.error("view-regions", f"{what}; give each view a region in views.toml")
    else:
        chosen = by_title([g.declared for g in open_], clusters, content)
        for k, part in zip(chosen or range(len(clusters)), clusters, strict=chosen is not None):
            open_[k].ties = list(part)
            open_[k].sure = chosen is not None or len(open_) == 1
    return placed


def _holds(view: DeclaredView, tie: Tie) -> bool:
    x, y = tie.mark.xyz[:2]
    if view.region is not None:
        left, bottom, right, top = view.region
        return bool(left <= x <= right and bottom <= y <= top)
    if view.layer is not None:
        return fold(tie.mark.origin.layer) == fold(view.layer)
    return view.block is not None and fold(view.block) in [fold(b) for b in tie.mark.origin.blocks]


def cluster(ties: Sequence[Tie], most: int, corners: int = 1, links: Sequence[Stroke] = ()) -> list[list[Tie]] | None:
    """Part labelled marks into at most `most` clusters, as few as keep every label once in each; None where none do.

    With two `corners`, into as many, with every label at most twice in each. Marks that `links` join stay together.
    Small clusters beyond that number are strays: each belongs to the only large one that has not its labels yet.
    """
    from scipy.cluster.hierarchy import fcluster, linkage
    from scipy.spatial.distance import pdist, squareform

    places = np.array([t.mark.xyz[:2] for t in ties])
    if len(ties) < 2 or most < 2:
        return [list(ties)]
    if len(ties) > MAX_CLUSTERED:
        return None
    far = pdist(places)
    if links:
        ends, near = tree_of(places).query(np.array([[s.start[:2], s.end[:2]] for s in links]))
        limit = 1e-3 * (float(np.linalg.norm(np.ptp(places, axis=0))) or 1.0)
        first, second = near[ends.max(axis=1) <= limit].T
        whole = squareform(far)
        whole[first, second] = whole[second, first] = 0.0
        far = squareform(whole)
    tree = linkage(far, "single")
    for count in range(1 if corners == 1 else most, most + MAX_STRAYS + 1):
        numbers = fcluster(tree, count, "maxclust")
        parts = [[t for t, n in zip(ties, numbers, strict=True) if n == k] for k in range(1, int(numbers.max()) + 1)]
        if count > most:
            found = _gathered(parts, most)
        else:
            found = parts if len(parts) == count and not any(_doubled(part, corners) for part in parts) else None
        if found is not None:
            return found
    return None


def _gathered(parts: list[list[Tie]], most: int) -> list[list[Tie]] | None:
    """Add small clusters to the only large one that does not hold their labels yet; None where that is not unique."""
    parts = sorted(parts, key=len, reverse=True)
    cores = [list(p) for p in parts[:most]]
    if any(_doubled(c) for c in cores):
        return None
    for stray in parts[most:]:
        homes = [c for c in cores if not _doubled([*c, *stray])]
        if len(homes) != 1:
            return None
        homes[0].extend(stray)
    return cores


def _doubled(part: Sequence[Tie], corners: int = 1) -> bool:
    """Whether a label stands at more places than there are corners."""
    return any(len(places) > corners for places in by_place(part).values())


def by_place(ties: Sequence[Tie]) -> dict[str, list[list[Tie]]]:
    """Return the ties of every name, those at one place together."""
    found: dict[str, list[list[Tie]]] = {}
    for tie in ties:
        groups = found.setdefault(tie.name.point, [])
        same = next((g for g in groups if np.allclose(g[0].mark.xyz, tie.mark.xyz)), None)
        if same is None:
            groups.append(same := [])
        same.append(tie)
    return found


def by_title(views: Sequence[DeclaredView], clusters: Sequence[Sequence[Tie]], content: Content) -> list[int] | None:
    """Return for each cluster the view whose title stands nearest, or None where that is not one-to-one."""
    if len(clusters) > len(views):
        return None
    far = np.full((len(clusters), len(views)), np.inf)
    for i, part in enumerate(clusters):
        places = np.array([t.mark.xyz[:2] for t in part])
        low, high = places.min(axis=0), places.max(axis=0)
        for (j, view), (kind, text) in product(enumerate(views), titles(content)):
            wanted = fold(view.title or "")
            if (fold(text.whole) == wanted) if wanted else (kind == view_kind(spaced(view.name))):
                gap = np.maximum(np.maximum(low - text.anchor[:2], text.anchor[:2] - high), 0.0)
                far[i, j] = min(far[i, j], float(np.hypot(*gap)))
    nearest = [int(j) for j in far.argmin(axis=1)]
    return nearest if np.isfinite(far.min(axis=1)).all() and len(set(nearest)) == len(clusters) else None


# --- views that stand too close together for clusters ----------------------------------------------------------------


def part_by_agreement(views: Sequence[DeclaredView], ties: Sequence[Tie]) -> list[list[Tie]] | None:
    """Return the ties of each view, in the order of `views`; None where agreement does not part the sheet."""
    given = next((g for g in ([v.mm_per_unit for v in views], [v.scale for v in views]) if any(g)), [1.0] * len(views))
    seen = [
        SheetView(v.name, v.axes, m, v.origin)
        for v, m in zip(views, given, strict=True) if v.axes is not None and v.origin is not None and m is not None
    ]  # fmt: skip
    if not 2 <= len(views) == len(seen) <= MAX_VIEWS or len(ties) > MAX_CLUSTERED:
        return None
    places = by_place(ties)
    told: dict[int, int] = {}
    several = [group for group in places.values() if len(group) > 1]
    extent = float(np.ptp(np.array([t.mark.xyz[:2] for t in ties]), axis=0).max()) * max(v.mm_per_unit for v in seen)
    for group in several:
        told |= _best(seen, group, extent)
    enough = len(several) >= 3 and sum(id(g[0][0]) in told for g in several) >= ENOUGH * len(several)
    if not (enough and _rest(told, places)):
        return None
    return [[t for t in ties if told[id(t)] == v] for v in range(len(views))]


def _best(views: Sequence[SheetView], group: list[list[Tie]], extent: float) -> dict[int, int]:
    """Return the view of every tie of one label; empty where no way of dealing them out stands out."""
    ways = []
    for way in permutations(range(len(views)), len(group)):
        said = grouped(s for v, ties in zip(way, group, strict=True) for s in views[v].says(ties[0].mark.xyz))
        ways.append((max((max(v) - min(v) for v in said.values() if len(v) > 1), default=np.inf), way))
    ways.sort()
    next_best = ways[1][0] if len(ways) > 1 else np.inf
    if not ways or ways[0][0] > FAR * extent or next_best < AHEAD * ways[0][0] + TELLING * extent:
        return {}
    return {id(t): v for v, g in zip(ways[0][1], group, strict=True) for t in g}


def _rest(told: dict[int, int], places: dict[str, list[list[Tie]]]) -> bool:
    """Give what was not told to the view of its neighbours; False where a place has none, or a view gets two."""
    known = [(g[0].mark.xyz[:2], told[id(g[0])]) for gs in places.values() for g in gs if id(g[0]) in told]
    tree = tree_of(p for p, _ in known)
    for groups in places.values():
        for group in (g for g in groups if id(g[0]) not in told):
            _, near = tree.query(group[0].mark.xyz[:2], min(NEIGHBOURS, len(known)))
            homes = {known[int(k)][1] for k in np.atleast_1d(near)}
            if len(homes) != 1:
                return False
            told |= {id(t): next(iter(homes)) for t in group}
        if len({told[id(g[0])] for g in groups}) < len(groups):
            return False
    return True
