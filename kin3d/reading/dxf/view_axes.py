"""Which way the views of a sheet look, and which cluster is which view, where that is not declared.

What it cannot know: where several ways of looking agree with everything that is known, none is taken: they are listed.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import permutations, product

import numpy as np

from kin3d.reading.dxf.declared import Axis, DeclaredView, written
from kin3d.reading.dxf.fusion import Fusion, SheetView, Sighting, fuse
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


def places_of(groups: Sequence[ViewMarks], index: dict[str, int]) -> list[Sighting]:
    """Return where the points stand in the views; `index` numbers the points."""
    return [
        (index[t.name.point], v, (float(t.mark.xyz[0]), float(t.mark.xyz[1])))
        for v, g in enumerate(groups)
        for t in g.ties
    ]


def agreement(fit: Fusion, tolerance_mm: float) -> tuple[int, int]:
    """Return how many coordinates are seen twice, and how many of them agree."""
    twice = [key for key, seen in fit.values.items() if len(seen) > 1]
    return len(twice), sum(1 for key in twice if fit.spread_mm[key] < tolerance_mm)


def ways(view: DeclaredView) -> list[AxisPair]:
    """Return the ways in which a view of undeclared axes may look: two signs, and for a plan two turns."""
    if view.axes is not None:
        return [view.axes]
    kind = view_kind(spaced(view.title or view.name)) or ""
    pairs = _WAYS.get(kind) or tuple((a, b) for a in range(3) for b in range(3) if a != b)
    signs = (1.0, -1.0)
    out = []
    for a, b in pairs:
        upward = (1.0,) if b == 2 and kind in ("front", "rear", "side") else signs
        out += [((a, s), (b, t)) for s in signs for t in upward]
    return out


def settle(
    groups: list[ViewMarks],
    scale: dict[str, float],
    known: dict[str, tuple[float, float, float]],
    tolerance_mm: float,
    log: FindingLog,
    ordered: bool = True,
) -> list[tuple[ViewMarks, SheetView]]:
    """Decide which cluster is which view and how each looks, or refuse with the choices that agree listed.

    `ordered` says that the joints must lie as in any suspension, which tells views apart that agree both ways.
    """
    trials = _trials(groups, log)
    first = [t for t in trials if [g for g, _ in t] == groups] if all(g.sure for g in groups) else []
    if len(trials) == 1 and first:
        good = first
    else:
        good = [t for t in trials if _agrees(t, scale, known, tolerance_mm)]
        if len(good) > 1 and all(g.declared.axes for g in groups):
            sane = [t for t in good if not (ordered and _upset(t, scale, known, tolerance_mm))] or good
            good = [t for t in sane if t in first] or sane  # else agreement does not tell the clusters apart
        elif not good and len(first) == 1:
            good = first  # whatever contradicts it is told point by point
    if len(good) != 1:
        _refuse(good, log)
        return []
    _tell(good[0], groups, log)
    return [(g, _view(g.declared, a, scale)) for g, a in good[0] if g.ties]


def _trials(groups: list[ViewMarks], log: FindingLog) -> list[Trial]:
    movable = [i for i, g in enumerate(groups) if g.declared.movable]
    axes = list(product(*(ways(g.declared) if g.ties else ways(g.declared)[:1] for g in groups)))
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
        marked = (
            tuple(groups) if same else tuple(ViewMarks(g.declared, ties.get(i, g.ties)) for i, g in enumerate(groups))
        )
        trials += [tuple(zip(marked, a, strict=True)) for a in axes]
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
) -> tuple[Fusion, list[str], dict[int, tuple[float, float, float]]]:
    """Return the fusion of one trial, the names of its points and the numbers of those that are known."""
    groups = [g for g, _ in trial]
    names = sorted({t.name.point for g in groups for t in g.ties})
    index = {n: i for i, n in enumerate(names)}
    views = [_view(g.declared, a, scale) for g, a in trial]
    datum = {index[n]: xyz for n, xyz in known.items() if n in index}
    fit = fuse(len(names), views, places_of(groups, index), datum, tolerance_mm)
    return fit, names, datum


def _view(declared: DeclaredView, axes: AxisPair, scale: dict[str, float]) -> SheetView:
    return SheetView(declared.name, axes, scale[declared.name], declared.origin, declared.sigma_mm or 1.0)


def _tell(trial: Trial, groups: list[ViewMarks], log: FindingLog) -> None:
    for (view, axes), before in zip(trial, groups, strict=True):
        if view.declared.axes is None:
            log.warn(
                "view-axes-assumed",
                f'view "{view.declared.name}": {written(axes)} are the only axes that agree with the known points and '
                "the other views",
            )
        if view.ties is not before.ties and view.ties and before.sure:
            log.warn(
                "view-title",
                f'the title of view "{view.declared.name}" stands at another view: by the coordinates the views share, '
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
        listed.append(", ".join(f"{g.declared.name} at {_middle(g.ties)} {written(a)}" for g, a in trial if g.ties))
    more = f" and {len(good) - 6} more" if len(good) > 6 else ""
    log.error(
        "view-ambiguous",
        f"the views fit in {len(good)} ways: {'; '.join(listed)}{more}. Give axes and region of each view in "
        "views.toml",
    )
