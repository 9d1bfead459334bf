"""The least gap of many pairs of solids over many lanes alike: pairs that cannot be the least are left out.

Lanes at one travel differ by little where cars are sampled. A gap changes by no more than its solids have moved, so
that the gaps of one lane of each travel say which pairs can be the least in all others.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from kin3d.linkage.layout import WHEEL_AXIS, WHEEL_CENTRE
from kin3d.measures.corner import Corner
from kin3d.measures.entry import Measure
from kin3d.measures.gaps import (
    ShapePair,
    SolidShape,
    TubeSolid,
    TurnedSolid,
    moving_pairs,
    nearest,
    pairs_of,
    shapes_of,
)
from kin3d.solve.model import AxleModel
from kin3d.spatial.jets import choose, value
from kin3d.spatial.vectors import Number, Vec

Array = NDArray[np.float64]
_asked: deque[tuple[AxleModel, int, tuple[ShapePair, ...]]] = deque(maxlen=8)
ALIKE = 8  # lanes of a travel from which looking at one of them first pays


def least_gap(pairs: Sequence[ShapePair], at: Mapping[str, Array], alike: Array) -> Array:
    """The least gap of each lane, mm, shape (lanes,); NaN in lanes without places.

    Parameters
    ----------
    pairs : sequence of pairs
        Without a mesh.
    at : mapping of point to ndarray, shape (3, lanes)
        Present places, mm.
    alike : ndarray, shape (lanes,)
        Lanes with the same number are alike; what is found does not depend on it.
    """
    _, first, where = np.unique(alike, return_index=True, return_inverse=True)
    if len(first) * ALIKE > len(alike):
        return np.asarray(np.stack([_gap(pair, at) for pair in pairs]).min(axis=0), dtype=np.float64)
    chosen = {p: x[:, first] for p, x in at.items()}
    known = np.stack([_gap(pair, chosen) for pair in pairs])
    moved = _SolidShifts(at, {p: x[:, where] for p, x in chosen.items()})
    out = np.full(len(alike), np.inf)
    for k in np.argsort(np.where(np.isnan(known), np.inf, known).min(axis=1)):
        bound = known[k][where] - moved.of(pairs[k][0]) - moved.of(pairs[k][1])
        may = np.flatnonzero(~(bound > out))  # also where there is no number
        if may.size:
            out[may] = np.minimum(out[may], _gap(pairs[k], {p: x[:, may] for p, x in at.items()}))
    return out


def _gap(pair: ShapePair, at: Mapping[str, Array]) -> Array:
    places: dict[str, Vec] = {p: (x[0], x[1], x[2]) for p, x in at.items()}
    return np.asarray(nearest(pair, places).distance, dtype=np.float64)


class _SolidShifts:
    """How far solids of some lanes are from where they are in others, at most, mm."""

    def __init__(self, at: Mapping[str, Array], other: Mapping[str, Array]) -> None:
        self.points = {p: np.linalg.norm(x - other[p], axis=0) for p, x in at.items()}
        axes = [x[WHEEL_AXIS] - x[WHEEL_CENTRE] for x in (at, other)]
        units = [x / np.linalg.norm(x, axis=0) for x in axes]
        self.axis = np.linalg.norm(units[0] - units[1], axis=0)

    def of(self, shape: SolidShape) -> Array:
        if isinstance(shape, TubeSolid):
            first, second = shape.points
            return np.asarray(np.maximum(self.points[first], self.points[second]))
        if isinstance(shape, TurnedSolid):
            reach = float(np.hypot(*shape.profile.corners.T).max())
            return np.asarray(self.points[WHEEL_CENTRE] + self.axis * reach)
        raise TypeError(f"no formula for {shape.name}")


def _pairs(model: AxleModel, side: int) -> tuple[ShapePair, ...]:
    """Pairs that do not touch in the design position; those asked for last are kept."""
    for whose, which, pairs in _asked:
        if whose is model and which == side:
            return pairs
    _asked.append((model, side, moving_pairs(model.axle, model.variants.design[side])))
    return _asked[-1][-1]


def _of_corner(corner: Corner) -> Number:
    """The least gap of all pairs over lanes."""
    side = int(np.flatnonzero(np.array([1.0, -1.0]) == np.ravel(corner.sign)[0])[0])
    pairs = _pairs(corner.model, side)
    if not pairs:  # on the way from a car with solids to one without
        return np.array(np.nan)
    if not corner.motion.algebra.degree:
        count = corner.lanes.count
        places = {
            p: np.stack([np.broadcast_to(np.asarray(value(c), dtype=float), count) for c in v])
            for p, v in corner.motion.at.items()
        }
        return least_gap(pairs, places, corner.lanes.travel)
    gaps: list[Number] = [nearest(p, corner.motion.at).distance for p in pairs]
    least = gaps[0]
    for gap in gaps[1:]:
        least = choose(np.asarray(value(gap)) < np.asarray(value(least)), gap, least)
    return least


def _no_pairs(corner: Corner) -> str:
    if corner.joined:
        return "both sides of this axle are one system ([across]), of which it is not computed"
    if len(pairs_of(shapes_of(corner.axle))) and moving_pairs(corner.axle, corner.model.variants.design[0]):
        return ""
    return f"no two solids without a mesh are given in [{corner.axle.name}.solids] that can move against each other"


MEASURES = (
    Measure(
        name="least_gap_mm",
        label="least gap between solids",
        unit="mm",
        sign="room left positive",
        definition=(
            "least distance of all tubes and solids of revolution that can move against each other and do not touch in "
            "the design position; negative: one is in the other"
        ),
        source="geometry",
        function=_of_corner,
        group="solids",
        uses=("axle.solids", "axle.links", "axle.rod_part"),
        unless=_no_pairs,
        silent=True,
        by_lanes=True,
    ),
)
