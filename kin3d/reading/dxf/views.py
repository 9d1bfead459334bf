"""Which marks belong to which view of a sheet, and which way an undeclared view looks.

Terms
-----
group : the labelled marks that stand together on the sheet: those of a declared region, layer or block, else a
    cluster (marks joined by gaps smaller than those between clusters).
agreement : coordinates that two views both show are the same within the tolerance.

What it cannot know
-------------------
A sheet whose views are so close together that a cluster would hold one label twice is not parted by guess: regions
are asked for. Where several ways of looking agree with everything that is known, none is taken: they are listed.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import permutations, product

import numpy as np

from kin3d.reading.dxf.dealing import deal_by_agreement, parts_alike
from kin3d.reading.dxf.fusion import Fit, Reading, View, fuse
from kin3d.reading.dxf.marks import Content, Text, Vector
from kin3d.reading.dxf.plan import Axis, Plan, ViewPlan, written
from kin3d.reading.dxf.search import Tie
from kin3d.reading.dxf.solid import out_of_order
from kin3d.reading.dxf.wording import fold, view_kind
from kin3d.reading.text import FindingLog

AGREED = 0.75  # share of the coordinates seen twice that must agree where views are told apart by agreement
LEAST_TWICE = 4  # fewest coordinates seen twice that can tell views apart
MAX_CLUSTERED = 3000  # labelled marks; more need declared regions
MAX_STRAYS = 6  # clusters beyond the number of views that may be points drawn far from the rest of their view
MAX_WAYS = 4096  # combinations of viewing directions that are tried
Axes = tuple[Axis, Axis]
_WAYS: dict[str, tuple[tuple[int, int], ...]] = {
    "front": ((1, 2),), "rear": ((1, 2),), "side": ((0, 2),), "plan": ((0, 1), (1, 0)),
}  # fmt: skip


@dataclass(slots=True, eq=False)
class Grouped:
    """One view with the ties that belong to it."""

    plan: ViewPlan
    ties: list[Tie]
    sure: bool = True  # dealt by region, layer, block or title, and not only by the order of the views


def titles(content: Content) -> list[tuple[str, Text]]:
    """Return the texts that are titles of views, with the kind of view."""
    found = [(view_kind(t.whole), t) for t in content.texts]
    return [(kind, text) for kind, text in found if kind is not None]


def find_views(ties: Sequence[Tie], content: Content, plan: Plan) -> list[ViewPlan]:
    """Return the declared views, or those that titles, layers or blocks show, without axes and origin."""
    if plan.views:
        return _with_layers(plan.views, ties)
    layers = {t.mark.origin.layer for t in ties}
    if len(layers) > 1 and all(view_kind(_spaced(name)) for name in layers):
        return [ViewPlan(str(view_kind(_spaced(n))), layer=n) for n in sorted(layers)]
    blocks = {t.mark.origin.blocks[0] for t in ties if t.mark.origin.blocks}
    if len(blocks) > 1 and all(t.mark.origin.blocks for t in ties):
        return [ViewPlan(view_kind(_spaced(n)) or n, block=n) for n in sorted(blocks)]
    return [ViewPlan(kind, title=text.whole) for kind, text in titles(content)]


def _with_layers(views: Sequence[ViewPlan], ties: Sequence[Tie]) -> list[ViewPlan]:
    """Give views their layer or block where all of them are named for one."""
    layers = {fold(t.mark.origin.layer): t.mark.origin.layer for t in ties}
    blocks = {fold(t.mark.origin.blocks[0]): t.mark.origin.blocks[0] for t in ties if t.mark.origin.blocks}
    bare = all(v.region is None and v.layer is None and v.block is None and v.title is None for v in views)
    for field, names in (("layer", layers), ("block", blocks)):
        if bare and all(fold(v.name) in names for v in views):
            return [replace(v, **{field: names[fold(v.name)]}) for v in views]  # type: ignore[arg-type]
    return list(views)


def _spaced(name: str) -> str:
    """Return a layer's or block's name so that ``FRONT`` and ``FrontView`` both read as a view's title."""
    import re

    words = re.sub(r"(?<=[a-z])(?=[A-Z])", " ", name).replace("_", " ").replace("-", " ")
    return words if "view" in words.lower() else f"{words} view"


def group(views: Sequence[ViewPlan], ties: Sequence[Tie], content: Content, log: FindingLog) -> list[Grouped]:
    """Deal the ties out to the views by region, layer or block; return them, with the rest dealt out by cluster."""
    placed = [Grouped(v, []) for v in views]
    open_ = [g for g in placed if g.plan.region is None and g.plan.layer is None and g.plan.block is None]
    rest = []
    for tie in ties:
        homes = [g for g in placed if g not in open_ and _holds(g.plan, tie)]
        if len(homes) > 1:
            names = " and ".join(f'"{g.plan.name}"' for g in homes)
            log.error(
                "view-overlap",
                f"the mark of {tie.name.point} belongs to the views {names}: make the regions apart",
                str(tie.mark.origin),
            )
        elif homes:
            homes[0].ties.append(tie)
        else:
            rest.append(tie)
    if open_ and rest:
        trouble = FindingLog(log.file)
        clusters = cluster(rest, len(open_), trouble)
        dealt = deal_by_agreement([g.plan for g in open_], rest)
        if dealt is None or parts_alike(dealt, clusters):
            dealt = None
            log.adopt(trouble.findings)
            _deal(open_, clusters, content)
        for grouped, ties_ in zip(open_, dealt or (), strict=False):
            grouped.ties = ties_
    return placed


def _holds(view: ViewPlan, tie: Tie) -> bool:
    x, y = tie.mark.xyz[:2]
    if view.region is not None:
        left, bottom, right, top = view.region
        return bool(left <= x <= right and bottom <= y <= top)
    if view.layer is not None:
        return fold(tie.mark.origin.layer) == fold(view.layer)
    return view.block is not None and fold(view.block) in [fold(b) for b in tie.mark.origin.blocks]


def cluster(ties: Sequence[Tie], most: int, log: FindingLog) -> list[list[Tie]]:
    """Part labelled marks into at most `most` clusters, as few as keep every label once in each."""
    from scipy.cluster.hierarchy import fcluster, linkage

    places = np.array([t.mark.xyz[:2] for t in ties])
    if len(ties) < 2 or most < 2:
        return [list(ties)]
    if len(ties) > MAX_CLUSTERED:
        log.error("view-regions", f"the sheet has {len(ties)} labelled marks: give each view a region in views.toml")
        return []
    tree = linkage(places, "single")
    for count in range(1, most + 1):
        numbers = fcluster(tree, count, "maxclust")
        parts = [[t for t, n in zip(ties, numbers, strict=True) if n == k] for k in range(1, int(numbers.max()) + 1)]
        if len(parts) == count and not any(_doubled(part) for part in parts):
            return parts
    for count in range(most + 1, most + MAX_STRAYS + 1):
        numbers = fcluster(tree, count, "maxclust")
        parts = [[t for t, n in zip(ties, numbers, strict=True) if n == k] for k in range(1, int(numbers.max()) + 1)]
        gathered = _gathered(parts, most)
        if gathered is not None:
            return gathered
    log.error(
        "view-regions",
        f"the labelled marks do not fall apart into {most} views with every label once in each; "
        "give each view a region in views.toml",
    )
    return []


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


def _doubled(part: Sequence[Tie]) -> bool:
    seen: dict[str, Vector] = {}
    for tie in part:
        before = seen.setdefault(tie.name.point, tie.mark.xyz)
        if not np.allclose(before, tie.mark.xyz):
            return True
    return False


def _deal(open_: list[Grouped], clusters: list[list[Tie]], content: Content) -> None:
    """Match clusters to views: by titles where they stand out; agreement is checked by the caller's `settle`."""
    if not clusters:
        return
    chosen = by_title([g.plan for g in open_], clusters, content)
    order = chosen if chosen is not None else list(range(len(clusters)))
    for view, part in zip(order, clusters, strict=True):
        open_[view].ties = list(part)
        open_[view].sure = chosen is not None or len(open_) == 1


def by_title(views: Sequence[ViewPlan], clusters: Sequence[Sequence[Tie]], content: Content) -> list[int] | None:
    """Return for each cluster the view whose title stands nearest, or None where that is not one-to-one."""
    if len(clusters) > len(views):
        return None
    far = np.full((len(clusters), len(views)), np.inf)
    for j, view in enumerate(views):
        wanted = fold(view.title or "")
        for kind, text in titles(content):
            if (wanted and fold(text.whole) == wanted) or (
                not wanted and kind == (view_kind(_spaced(view.name)) or "")
            ):
                for i, part in enumerate(clusters):
                    box = np.array([t.mark.xyz[:2] for t in part])
                    gap = np.maximum(
                        np.maximum(box.min(axis=0) - text.anchor[:2], text.anchor[:2] - box.max(axis=0)), 0.0
                    )
                    far[i, j] = min(far[i, j], float(np.hypot(*gap)))
    nearest = [int(j) for j in far.argmin(axis=1)]
    if not np.isfinite(far.min(axis=1)).all() or len(set(nearest)) < len(clusters):
        return None
    return nearest


# --- which way the views look ------------------------------------------------------------------------------------


def readings_of(groups: Sequence[Grouped], index: dict[str, int]) -> list[Reading]:
    """Return the readings of all groups; `index` numbers the points."""
    return [
        Reading(index[t.name.point], v, (float(t.mark.xyz[0]), float(t.mark.xyz[1])))
        for v, g in enumerate(groups)
        for t in g.ties
    ]


def agreement(fit: Fit, tolerance_mm: float) -> tuple[int, int]:
    """Return how many coordinates are seen twice, and how many of them agree."""
    twice = [key for key, seen in fit.values.items() if len(seen) > 1]
    return len(twice), sum(1 for key in twice if fit.spread_mm[key] < tolerance_mm)


def ways(view: ViewPlan) -> list[Axes]:
    """Return the ways in which a view of undeclared axes may look: two signs, and for a plan two turns."""
    if view.axes is not None:
        return [view.axes]
    kind = view_kind(_spaced(view.title or view.name)) or ""
    pairs = _WAYS.get(kind) or tuple((a, b) for a in range(3) for b in range(3) if a != b)
    signs = (1.0, -1.0)
    out = []
    for a, b in pairs:
        upward = (1.0,) if b == 2 and kind in ("front", "rear", "side") else signs
        out += [((a, s), (b, t)) for s in signs for t in upward]
    return out


@dataclass(frozen=True, slots=True, eq=False)
class Trial:
    """One way to understand the sheet: ties by view, axes by view."""

    groups: tuple[Grouped, ...]
    axes: tuple[Axes, ...]


def settle(
    groups: list[Grouped],
    scale: dict[str, float],
    known: dict[str, tuple[float, float, float]],
    tolerance_mm: float,
    log: FindingLog,
    ordered: bool = True,
) -> list[tuple[Grouped, View]]:
    """Decide which cluster is which view and how each looks, or refuse with the choices that agree listed.

    `ordered` says that the joints must lie as in any suspension, which tells views apart that agree both ways.
    """
    trials = _trials(groups, log)
    first = [t for t in trials if t.groups == tuple(groups)] if all(g.sure for g in groups) else []
    if len(trials) == 1 and first:
        good = first
    else:
        good = [t for t in trials if _agrees(t, scale, known, tolerance_mm)]
        if len(good) > 1 and all(g.plan.axes for g in groups):
            sane = [t for t in good if not (ordered and _upset(t, scale, known, tolerance_mm))] or good
            good = [t for t in sane if t in first] or sane  # else agreement does not tell the clusters apart
        elif not good and len(first) == 1:
            good = first  # whatever contradicts it is told point by point
    if len(good) != 1:
        _refuse(good, log)
        return []
    _tell(good[0], groups, log)
    return [(g, _view(g.plan, a, scale)) for g, a in zip(good[0].groups, good[0].axes, strict=True) if g.ties]


def _trials(groups: list[Grouped], log: FindingLog) -> list[Trial]:
    fixed = [g.plan.region is not None or g.plan.layer is not None or g.plan.block is not None for g in groups]
    movable = [i for i, f in enumerate(fixed) if not f]
    axes = list(product(*(ways(g.plan) if g.ties else ways(g.plan)[:1] for g in groups)))
    trials: list[Trial] = []
    if len(axes) * max(1, len(movable)) > MAX_WAYS or len(movable) > 5:
        log.error("view-axes", "too many views without axes: give axes for each view in views.toml")
        return []
    seen = set()
    for order in permutations(movable):
        ties = {i: groups[j].ties for i, j in zip(movable, order, strict=True)}
        if (key := tuple(id(t) if (t := ties.get(i)) else 0 for i in range(len(groups)))) in seen:
            continue
        seen.add(key)
        same = list(order) == movable
        dealt = tuple(groups) if same else tuple(Grouped(g.plan, ties.get(i, g.ties)) for i, g in enumerate(groups))
        trials += [Trial(dealt, a) for a in axes]
    return trials


def _agrees(
    trial: Trial, scale: dict[str, float], known: dict[str, tuple[float, float, float]], tolerance_mm: float
) -> bool:
    fit, _, datum = _fitted(trial, scale, known, tolerance_mm)
    twice, agreed = agreement(fit, tolerance_mm)
    if twice < LEAST_TWICE or agreed < AGREED * twice:
        return False
    return all(fit.spread_mm[i, k] < tolerance_mm for i in datum for k in range(3))


def _upset(
    trial: Trial, scale: dict[str, float], known: dict[str, tuple[float, float, float]], tolerance_mm: float
) -> bool:
    """Whether joints would lie the wrong way round: a cluster taken for another view than it is."""
    fit, names, _ = _fitted(trial, scale, known, tolerance_mm)
    return bool(out_of_order(dict(zip(names, fit.xyz_mm, strict=True))))


def _fitted(
    trial: Trial, scale: dict[str, float], known: dict[str, tuple[float, float, float]], tolerance_mm: float
) -> tuple[Fit, list[str], dict[int, tuple[float, float, float]]]:
    """Return the fusion of one trial, the names of its points and the numbers of those that are known."""
    names = sorted({t.name.point for g in trial.groups for t in g.ties})
    index = {n: i for i, n in enumerate(names)}
    views = [_view(g.plan, a, scale) for g, a in zip(trial.groups, trial.axes, strict=True)]
    datum = {index[n]: xyz for n, xyz in known.items() if n in index}
    fit = fuse(len(names), views, readings_of(trial.groups, index), datum, tolerance_mm)
    return fit, names, datum


def _view(plan: ViewPlan, axes: Axes, scale: dict[str, float]) -> View:
    return View(plan.name, axes, scale[plan.name], plan.origin, plan.sigma_mm or 1.0)


def _tell(trial: Trial, groups: list[Grouped], log: FindingLog) -> None:
    for view, axes, before in zip(trial.groups, trial.axes, groups, strict=True):
        if view.plan.axes is None:
            log.warn(
                "view-axes-assumed",
                f'view "{view.plan.name}": {written(axes)} are the only axes that agree with the known points and '
                "the other views",
            )
        if view.ties is not before.ties and view.ties and before.sure:
            log.warn(
                "view-title",
                f'the title of view "{view.plan.name}" stands at another view: by the coordinates the views share, '
                f"it is the one at {_middle(view.ties)}",
            )


def _middle(ties: Sequence[Tie]) -> str:
    x, y = np.mean([t.mark.xyz[:2] for t in ties], axis=0)
    return f"({x:.1f}, {y:.1f})"


def _refuse(good: list[Trial], log: FindingLog) -> None:
    if not good:
        log.error(
            "view-axes",
            "no way of looking makes the views agree with each other; give axes, origin and region of each view",
        )
        return
    listed = []
    for trial in good[:6]:
        listed.append(
            ", ".join(
                f"{g.plan.name} at {_middle(g.ties)} {written(a)}"
                for g, a in zip(trial.groups, trial.axes, strict=True)
                if g.ties
            )
        )
    more = f" and {len(good) - 6} more" if len(good) > 6 else ""
    log.error(
        "view-ambiguous",
        f"the views fit in {len(good)} ways: {'; '.join(listed)}{more}. Give axes and region of each view in "
        "views.toml",
    )
