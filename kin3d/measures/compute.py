"""All measures of a corner: which there are, which the car file allows, and their values."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np
from numpy.typing import NDArray

from kin3d.linkage.names import AxleName
from kin3d.measures import anti, instant_centres, rod, screw, springs, steering, wheel
from kin3d.measures.corner import Corner
from kin3d.measures.table import Measure
from kin3d.spatial.jets import value

Array = NDArray[np.float64]


def corner_measures(axle: AxleName) -> tuple[Measure, ...]:
    """Every measure that a corner of that axle can have, in the order of tables."""
    own = anti.FRONT if axle == "front" else anti.REAR
    return (
        *wheel.MEASURES,
        *steering.MEASURES,
        *screw.MEASURES,
        *instant_centres.MEASURES,
        *own,
        *springs.MEASURES,
        *rod.MEASURES,
    )


def available(corner: Corner, wanted: Sequence[Measure]) -> tuple[tuple[Measure, ...], dict[str, str]]:
    """Measures that the corner has the data for, and for each of the others the reason why it is left out."""
    reasons = {m.name: m.lacks(corner) for m in wanted}
    return tuple(m for m in wanted if not reasons[m.name]), {n: r for n, r in reasons.items() if r}


def values(corner: Corner, wanted: Iterable[Measure], shape: tuple[int, ...]) -> dict[str, Array]:
    """Values of measures over lanes, by name, in each measure's unit."""
    with np.errstate(all="ignore"):
        return {m.name: np.array(np.broadcast_to(value(m.compute(corner)), shape), dtype=float) for m in wanted}
