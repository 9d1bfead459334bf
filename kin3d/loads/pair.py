"""Both corners of an axle over the same lanes, each wheel's travel a generator of its own."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from kin3d.measures.corner import Corner
from kin3d.solve.kernel import Solved
from kin3d.solve.lanes import Lanes
from kin3d.solve.status import Status
from kin3d.spatial.jets import total_degree

if TYPE_CHECKING:
    from kin3d.loads.elements import AxleParts

LEFT, RIGHT = (1, 0), (0, 1)  # monomials of the two travels


@dataclass(frozen=True, slots=True)
class Pair:
    """Both corners of an axle.

    Attributes
    ----------
    left, right : Corner
        Over the same lanes; travel of the left wheel is generator 0, of the right wheel generator 1.
    ok : ndarray of bool, shape (lanes,)
        Where both corners were solved.
    lanes : Lanes
        Of the left corners, then of the right ones.
    solved : Solved
        In the same order.
    """

    left: Corner
    right: Corner
    ok: NDArray[np.bool_]
    lanes: Lanes
    solved: Solved


def corners(model: AxleParts, travel_left: Any, travel_right: Any, rack: Any = 0.0, degree: int = 2) -> Pair:
    """Solve both corners of an axle, variant 0 on the left and 1 on the right.

    Parameters
    ----------
    travel_left, travel_right, rack : float or ndarray, mm
        Broadcast with one another and flattened to lanes.
    degree : int
        Total degree of derivatives along the two travels.
    """
    t0, t1, r = (np.asarray(x, float).ravel() for x in np.broadcast_arrays(travel_left, travel_right, rack))
    count = len(r)
    lanes = Lanes(np.repeat([0, 1], count), np.concatenate([t0, t1]), np.concatenate([r, r]))
    solved = model.kernel.solve(model.variants, lanes)
    made = [_corner(model, lanes, solved, slice(k * count, (k + 1) * count), k, degree) for k in (0, 1)]
    ok = (solved.status == Status.OK).reshape(2, count).all(axis=0)
    return Pair(made[0], made[1], ok, lanes, solved)


def _corner(model: AxleParts, lanes: Lanes, solved: Solved, which: slice, side: int, degree: int) -> Corner:
    algebra = total_degree(2, degree)
    motion = model.kernel.motion(model.variants, lanes.take(which), solved.take(which), algebra, {"travel": side})
    base = model.kernel.system.equations.unknowns.bases[model.linkage.wheel_body]
    return Corner(model.linkage, base, motion, 1.0 - 2.0 * side, model.axle, model.car)
