"""All measures of an axle on the ground: of its corners, of each wheel to it, of both wheels together."""

from __future__ import annotations

from kin3d.linkage.names import AxleName
from kin3d.measures import ackermann, ground, roll_centre
from kin3d.measures.compute import corner_measures
from kin3d.measures.table import Measure


def axle_measures(axle: AxleName) -> tuple[Measure, ...]:
    """Every measure of an axle, in the order of tables.

    Those of one corner come first; where the axle has one of the same name (the roll centre), that stands in its place.
    Figures of the whole axle stand in the rows of both wheels. Anti values and support angles are taken along the
    ground.
    """
    own = (
        *ground.MEASURES,
        *roll_centre.MEASURES,
        *ground.support_angles(axle),
        *(ackermann.MEASURES if axle == "front" else ()),
    )
    names = {m.name for m in own}
    return (*(m for m in corner_measures(axle) if m.name not in names), *own)
