"""An axle whose sides are one system as a whole: its statics are those of all its bodies at once.

A corner shows one side's points by the names of the table. Here they have the names of the car: ``left_lower_outer``,
``left lower link``; what stands once has its own. A corner of independent wheels is what it is.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from kin3d.linkage.car import Axle
from kin3d.linkage.design import SIDES, side_sign
from kin3d.linkage.layout import CHASSIS, Linkage
from kin3d.linkage.names import Side
from kin3d.loads.joint_forces import Push
from kin3d.measures.corner import Corner

Array = NDArray[np.float64]


def whole_axle(corner: Corner) -> Corner:
    """All of the axle in the positions of a corner, where both sides are one system; else the corner itself."""
    model, system = corner.model, corner.linkage.system
    if system is None:
        return corner
    kernel = model.kernel
    variants = kernel.of_system(corner.variants)
    seen = replace(model, linkage=system, kernel=kernel.whole, variants=kernel.of_system(model.variants))
    where = corner.lanes, corner.solved
    return Corner(seen, corner.motion, corner.sign, corner.normal, variants, *where, corner.figures)


def body_on(linkage: Linkage, body: str, side: Side) -> str:
    """The name of a corner's body in the whole axle."""
    return body if linkage.system is None or body == CHASSIS else linkage.across.body(body, side)


def point_on(linkage: Linkage, point: str, side: Side) -> str:
    """The name of a corner's point in the whole axle."""
    return point if linkage.system is None else linkage.across.on(point, side)


def on_sides(corner: Corner, push: Push) -> Iterator[Push]:
    """A force on a body of a corner as one on a body of the whole axle, in the lanes of each side."""
    if not corner.joined:
        yield push
        return
    sign = np.broadcast_to(corner.sign, corner.lanes.count)
    for side in SIDES:
        mine = sign == side_sign(side)
        if mine.any():
            yield Push(body_on(corner.linkage, push.body, side), push.place, push.force * mine)


def lane_of(push: Push, linkage: Linkage, side: int) -> Push:
    """A force on one side (0 left, 1 right) in the lanes of both, which are the same positions of the whole axle."""
    count = push.place.shape[1] // 2
    place, force = (np.tile(v[:, side * count : (side + 1) * count], 2) for v in (push.place, push.force))
    return Push(body_on(linkage, push.body, SIDES[side]), place, force)


def names_of(axle: Axle, linkage: Linkage, name: str) -> tuple[str, ...]:
    """What a point or body that the car file names is called in a linkage: on both sides where that holds both."""
    across = axle.linkage.across
    if not linkage.both_sides or name in across.bodies:
        return (name,)
    if name in axle.linkage.bodies:
        return tuple(across.body(name, side) for side in SIDES)
    return across.both(name)


def side_of_file(axle: Axle, name: str, sign: Array) -> Array:
    """+1 where a direction that the car file gives for a point holds as it stands, −1 where its mirror image does.

    Parameters
    ----------
    sign : ndarray
        +1 on the left, −1 on the right: the side of each lane, for points without a side in their names.
    """
    across = axle.linkage.across
    side = across.side_of(name)
    if name in across.points:
        return np.ones_like(sign)
    own = sign if side is None else np.full_like(sign, side_sign(side))
    return own if axle.side == "left" else -own
