"""Which way the views of a sheet look, and which cluster is which view, where that is not declared.

What it cannot know: where several ways of looking agree with everything that is known, none is taken: they are listed.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import permutations, product

import numpy as np

from kin3d.reading.dxf.declared import Axis, DeclaredView, written
from kin3d.reading.dxf.fusion import Fusion, SheetView, fuse
from kin3d.reading.dxf.matching import Tie
from kin3d.reading.dxf.plausible import out_of_order
from kin3d.reading.dxf.view_marks import ViewMarks, spaced
from kin3d.reading.dxf.wording import view_kind
from kin3d.reading.text import FindingLog

AGREED = 0.75  # share of the coordinates seen twice that must agree where views are told apart by agreement
LEAST_TWICE = 4  # fewest coordinates seen twice that can tell views apart
MAX_WAYS = 4096  # combinations of viewing directions that are tried
AxisPair = tuple[Axis, Axis]
Trial = tuple[tuple[ViewMarks, AxisPair], ...]  # one way to understand the sheet: of every view its marks and its axes
_WAYS: dict[str, tuple[tuple[int, int], ...]] = {
    "front": ((1, 2),), "rear": ((1, 2),), "side": ((0, 2),), "plan": ((0, 1), (1, 0)),
}  # fmt: skip


def ways(view: DeclaredView) -> list[AxisPair]:
    """Return the ways in which a view of undeclared axes may look: two signs, and for a plan two turns."""
    if view.axes is not None:
        return [view.axes]
    kind = view_kind(spaced(view.title or view.name)) or ""
    pairs = _WAYS.get(kind) or tuple(permutations(range(3), 2))
    up = [(a, b, (1.0,) if b == 2 and kind in ("front", "rear", "side") else (1.0, -1.0)) for a, b in pairs]
    return [((a, s), (b, t)) for a, b, upward in up for s in (1.0, -1.0) for t in upward]


def settle(
    groups: list[ViewMarks], scale: Mapping[str, float], known: Mapping[str, Sequence[float]], tolerance_mm: float,
    log: FindingLog, ordered: bool = True,
) -> list[tuple[ViewMarks, SheetView]]:  # fmt: skip
    """Decide which cluster is which view and how each looks, or refuse with the choices that agree listed.

    `ordered` says that the joints must lie as in any suspension, which tells views apart that agree both ways.
    """

    def fitted(trial: Trial) -> tuple[Fusion, list[str], list[int]]:
        views = [_view(g.declared, a, scale) for g, a in trial]
        fit, names = fuse_groups([g for g, _ in trial], views, known, tolerance_mm)
        return fit, names, [names.index(n) for n in known if n in names]

    def agrees(trial: Trial) -> bool:
        fit, _, datum = fitted(trial)
        twice = np.array([fit.spread_mm[key] < tolerance_mm for key, seen in fit.values.items() if len(seen) > 1])
        enough = len(twice) >= LEAST_TWICE and twice.sum() >= AGREED * len(twice)
        return bool(enough and (fit.spread_mm[datum] < tolerance_mm).all())

    def in_order(trial: Trial) -> bool:
        fit, names, _ = fitted(trial)  # out of order: a cluster is taken for another view than it is
        return not out_of_order(dict(zip(names, fit.xyz_mm, strict=True)))

    trials = _trials(groups, log)
    first = [t for t in trials if [g for g, _ in t] == groups] if all(g.sure for g in groups) else []
    if len(trials) == 1 and first:
        good = first
    else:
        good = [t for t in trials if agrees(t)]
        if len(good) > 1 and all(g.declared.axes for g in groups):
            sane = [t for t in good if not ordered or in_order(t)] or good
            good = [t for t in sane if t in first] or sane  # else agreement does not tell the clusters apart
        elif not good and len(first) == 1:
            good = first  # whatever contradicts it is told point by point
    if len(good) != 1:
        _refuse(good, log)
        return []
    _tell(good[0], groups, log)
    return [(g, _view(g.declared, a, scale)) for g, a in good[0] if g.ties]


def fuse_groups(
    groups: Sequence[ViewMarks], views: Sequence[SheetView], known: Mapping[str, Sequence[float]], tolerance_mm: float,
    fit_scales: bool = False,
) -> tuple[Fusion, list[str]]:  # fmt: skip
    """Return the fusion of what views show, and the names of its points."""
    names = sorted({t.name.point for g in groups for t in g.ties})
    index = {n: i for i, n in enumerate(names)}
    places = [(index[t.name.point], v, (float(t.mark.xyz[0]), float(t.mark.xyz[1])))
              for v, g in enumerate(groups) for t in g.ties]  # fmt: skip
    datum = {index[n]: xyz for n, xyz in known.items() if n in index}
    return fuse(len(names), views, places, datum, tolerance_mm, fit_scales), names


def _trials(groups: list[ViewMarks], log: FindingLog) -> list[Trial]:
    movable = [i for i, g in enumerate(groups) if g.declared.movable]
    axes = list(product(*(ways(g.declared) if g.ties else ways(g.declared)[:1] for g in groups)))
    if len(axes) * max(1, len(movable)) > MAX_WAYS or len(movable) > 5:
        log.error("view-axes", "too many views without axes: give axes for each view in views.toml")
        return []
    trials: dict[tuple[int, ...], list[Trial]] = {}
    for order in permutations(movable):
        ties = {i: groups[j].ties for i, j in zip(movable, order, strict=True)}
        marked = [g if ties.get(i, g.ties) is g.ties else ViewMarks(g.declared, ties[i]) for i, g in enumerate(groups)]
        key = tuple(id(g.ties) if g.ties else 0 for g in marked)
        trials.setdefault(key, [tuple(zip(marked, a, strict=True)) for a in axes])
    return [t for found in trials.values() for t in found]


def _view(declared: DeclaredView, axes: AxisPair, scale: Mapping[str, float]) -> SheetView:
    return SheetView(declared.name, axes, scale[declared.name], declared.origin, declared.sigma_mm or 1.0)


def _tell(trial: Trial, groups: list[ViewMarks], log: FindingLog) -> None:
    for (view, axes), before in zip(trial, groups, strict=True):
        if view.declared.axes is None:
            only = "are the only axes that agree with the known points and the other views"
            log.warn("view-axes-assumed", f'view "{view.declared.name}": {written(axes)} {only}')
        if view.ties is not before.ties and view.ties and before.sure:
            text = f'the title of view "{view.declared.name}" stands at another view: by the coordinates the views'
            log.warn("view-title", f"{text} share, it is the one at {_middle(view.ties)}")


def _middle(ties: Sequence[Tie]) -> str:
    x, y = np.mean([t.mark.xyz[:2] for t in ties], axis=0)
    return f"({x:.1f}, {y:.1f})"


def _refuse(good: list[Trial], log: FindingLog) -> None:
    if not good:
        text = "no way of looking makes the views agree with each other; give axes, origin and region of each view"
        log.error("view-axes", text)
        return
    told = (", ".join(f"{g.declared.name} at {_middle(g.ties)} {written(a)}" for g, a in t if g.ties) for t in good[:6])
    more = f" and {len(good) - 6} more" if len(good) > 6 else ""
    text = f"the views fit in {len(good)} ways: {'; '.join(told)}{more}"
    log.error("view-ambiguous", f"{text}. Give axes and region of each view in views.toml")
