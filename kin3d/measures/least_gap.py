"""The least gap of many pairs of solids over many lanes alike: pairs that cannot be the least are left out.

Lanes at one travel differ by little where cars are sampled. A gap changes by no more than its solids have moved, so
that the gaps of one lane of each travel say which pairs can be the least in all others.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Mapping, Sequence
from dataclasses import replace
from itertools import pairwise

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
from kin3d.spatial.distances import Profile
from kin3d.spatial.jets import choose, over_lanes, value
from kin3d.spatial.vectors import Number, Vec

Array = NDArray[np.float64]
USES = ("axle.solids", "axle.links", "axle.rod_part")
ALIKE = 8  # lanes of a travel from which looking at one of them first pays


def least_gap(pairs: Sequence[ShapePair], at: Mapping[str, Array], alike: Array, seen: GapsSeen | None = None) -> Array:
    """The least gap of each lane, mm, shape (lanes,); NaN in lanes without places.

    Parameters
    ----------
    pairs : sequence of pairs
        Without a mesh.
    at : mapping of point to ndarray, shape (3, lanes)
        Present places, mm.
    alike : ndarray, shape (lanes,)
        Lanes with the same number are alike; what is found does not depend on it.
    seen : GapsSeen, optional
        What was looked at for earlier lanes; it is looked at anew where these are at other numbers.
    """
    numbers, first, where = np.unique(alike, return_index=True, return_inverse=True)
    seen = seen or GapsSeen()
    if not np.array_equal(numbers, seen.numbers):
        if len(first) * ALIKE > len(alike):
            return np.asarray(np.stack([_gap(pair, at) for pair in pairs]).min(axis=0), dtype=np.float64)
        seen.look(pairs, numbers, {p: x[:, first] for p, x in at.items()})
    moved = _SolidShifts(at, {p: x[:, where] for p, x in seen.at.items()})
    out = np.full(len(alike), np.inf)
    for pair, known in zip(seen.pairs, seen.gaps, strict=True):
        bound = known[where] - moved.of(pair[0]) - moved.of(pair[1])
        may = np.flatnonzero(~(bound > out))  # also where there is no number
        if may.size:
            out[may] = np.minimum(out[may], _gap(pair, {p: at[p][:, may] for p in _points(pair)}))
    return out


class GapsSeen:
    """Pairs and their gaps in one lane of each number, that with the least gap first; thin shells edge by edge."""

    def __init__(self) -> None:
        self.numbers: Array = np.zeros(0)
        self.at: dict[str, Array] = {}
        self.pairs: list[ShapePair] = []
        self.gaps: list[Array] = []

    def look(self, pairs: Sequence[ShapePair], numbers: Array, at: Mapping[str, Array]) -> None:
        """Look at these lanes."""
        parts = [(a, b) for pair in pairs for a in _edges(pair[0]) for b in _edges(pair[1])]
        gaps = [_gap(pair, at) for pair in parts]
        order = np.argsort([np.where(np.isnan(gap), np.inf, gap).min() for gap in gaps])
        self.numbers, self.at = numbers, dict(at)
        self.pairs, self.gaps = [parts[k] for k in order], [gaps[k] for k in order]


def _edges(shape: SolidShape) -> list[SolidShape]:
    """A thin shell as its edges: its distance is the least of theirs. A solid has an inside and stays whole."""
    if not isinstance(shape, TurnedSolid) or shape.profile.closed:
        return [shape]
    return [replace(shape, profile=Profile(np.array(edge))) for edge in pairwise(shape.profile.corners)]


def _points(pair: ShapePair) -> tuple[str, ...]:
    """Points that say where a pair is."""
    return tuple(p for s in pair for p in (s.points if isinstance(s, TubeSolid) else (WHEEL_CENTRE, WHEEL_AXIS)))


def _gap(pair: ShapePair, at: Mapping[str, Array]) -> Array:
    places: dict[str, Vec] = {p: (x[0], x[1], x[2]) for p, x in at.items()}
    return np.asarray(nearest(pair, places).distance, dtype=np.float64)


class _SolidShifts:
    """How far solids of some lanes are from where they are in others, at most, mm."""

    def __init__(self, at: Mapping[str, Array], other: Mapping[str, Array]) -> None:
        self.points = {p: np.linalg.norm(x - other[p], axis=0) for p, x in at.items()}
        self.axis: Array = np.zeros(())
        if WHEEL_AXIS in at:
            first, second = ((x[WHEEL_AXIS] - x[WHEEL_CENTRE]) for x in (at, other))
            self.axis = np.linalg.norm(
                first / np.linalg.norm(first, axis=0) - second / np.linalg.norm(second, axis=0), axis=0
            )

    def of(self, shape: SolidShape) -> Array:
        if isinstance(shape, TubeSolid):
            first, second = shape.points
            return np.asarray(np.maximum(self.points[first], self.points[second]))
        if isinstance(shape, TurnedSolid):
            reach = float(np.hypot(*shape.profile.corners.T).max())
            return np.asarray(self.points[WHEEL_CENTRE] + self.axis * reach)
        raise TypeError(f"no formula for {shape.name}")


_asked: deque[tuple[AxleModel, int, tuple[ShapePair, ...], GapsSeen]] = deque(maxlen=8)


def _pairs(model: AxleModel, side: int) -> tuple[tuple[ShapePair, ...], GapsSeen]:
    """Pairs that do not touch in the design position, and what was seen of them; those asked for last are kept."""
    for whose, which, pairs, seen in _asked:
        if whose is model and which == side:
            return pairs, seen
    _asked.append((model, side, moving_pairs(model.axle, model.variants.design[side]), GapsSeen()))
    return _asked[-1][2:]


def _of_corner(corner: Corner) -> Number:
    """The least gap of all pairs over lanes."""
    side = int(np.flatnonzero(np.array([1.0, -1.0]) == np.ravel(corner.sign)[0])[0])
    pairs, seen = _pairs(corner.model, side)
    if not pairs:  # on the way from a car with solids to one without
        return np.array(np.nan)
    if not corner.motion.algebra.degree:
        count = corner.lanes.count
        places = {p: over_lanes(corner.motion.at[p], count) for p in {p for pair in pairs for p in _points(pair)}}
        return least_gap(pairs, places, corner.lanes.travel, seen)
    gaps: list[Number] = [nearest(p, corner.motion.at).distance for p in pairs]
    least = gaps[0]
    for gap in gaps[1:]:
        least = choose(np.asarray(value(gap)) < np.asarray(value(least)), gap, least)
    return least


def no_pairs(corner: Corner) -> str:
    """A sentence where a corner has no pair of which a gap is a formula; empty where it has."""
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
        uses=USES,
        unless=no_pairs,
        silent=True,
        by_lanes=True,
        named=True,
    ),
)
