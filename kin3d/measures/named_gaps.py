"""The gap of one pair of solids as a measure, by a name that the car makes: ``gap_tie_link_rim_mm``."""

from __future__ import annotations

from functools import partial

import numpy as np

from kin3d.linkage.names import did_you_mean, normalise
from kin3d.measures.corner import Corner
from kin3d.measures.entry import Measure
from kin3d.measures.gaps import ShapePair, is_simple, nearest, pairs_of, shapes_of
from kin3d.measures.least_gap import USES, no_pairs
from kin3d.spatial.vectors import Number

PREFIX, UNIT = "gap_", "_mm"


def is_gap(name: str) -> bool:
    """Whether a measure's name is that of the gap of one pair."""
    return name.startswith(PREFIX) and name.endswith(UNIT)


def gap_name(pair: ShapePair) -> str:
    """The measure's name of a pair."""
    return f"{PREFIX}{normalise(pair[0].name)}_{normalise(pair[1].name)}{UNIT}"


def gap_measure(name: str) -> Measure:
    """The measure of a name; whether a car has that pair, its `lacks` says."""
    return Measure(
        name=name,
        label=f"Gap, {name.removeprefix(PREFIX).removesuffix(UNIT).replace('_', ' ')}",
        unit="mm",
        sign="room left positive",
        definition="least distance of the two surfaces; negative: one is in the other",
        source="geometry",
        function=partial(_gap, name=name),
        group="solids",
        uses=USES,
        unless=partial(_no_gap, name=name),
        by_lanes=True,
    )


def _simple_pairs(corner: Corner) -> dict[str, ShapePair]:
    return {gap_name(p): p for p in pairs_of(shapes_of(corner.axle)) if is_simple(p)}


def _gap(corner: Corner, *, name: str) -> Number:
    pair = _simple_pairs(corner).get(name)
    return np.array(np.nan) if pair is None else nearest(pair, corner.motion.at).distance


def _no_gap(corner: Corner, *, name: str) -> str:
    there = _simple_pairs(corner)
    if corner.joined or not there:
        return no_pairs(corner)
    return "" if name in there else f"there is no such pair without a mesh; {did_you_mean(name, there)}"
