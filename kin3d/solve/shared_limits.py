"""Many lanes out of reach at once: lanes on one ray from the design position share its limit.

A ray is a variant, a direction of travel and the rack in the middle. The farthest lane of each ray is stepped first;
when it runs into a limit, every lane of the ray beyond that limit has the same answer and need not be stepped.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from kin3d.solve.continuation import Continuation, continue_along_branch
from kin3d.solve.lanes import Lanes, Status, Variants
from kin3d.solve.system import System


def continue_sharing_limits(system: System, variants: Variants, lanes: Lanes) -> Continuation:
    """Step every lane as `continue_along_branch` does, the limit of each ray found once."""
    first = _farthest(lanes)
    ahead = continue_along_branch(system, variants, lanes.take(first))
    q = np.full((ahead.q.shape[0], lanes.count), np.nan)
    error, reached = np.full(lanes.count, np.nan), np.zeros(lanes.count)
    status = np.full(lanes.count, Status.UNSOLVED, dtype=np.int8)
    names: dict[int, str] = {}
    done = np.zeros(lanes.count, dtype=bool)
    done[first] = True
    q[:, first], error[first], status[first], reached[first] = ahead.q, ahead.error_mm, ahead.status, ahead.reached
    names |= {int(first[k]): said for k, said in ahead.in_line.items()}
    for k, said in ahead.in_line.items():
        for lane in np.flatnonzero(_beyond(lanes, int(first[k]), float(ahead.reached[k])) & ~done):
            status[lane], names[int(lane)], done[lane] = Status.LIMIT, said, True
            reached[lane] = ahead.reached[k] * lanes.travel[first[k]] / lanes.travel[lane]
    rest = np.flatnonzero(~done)
    if rest.size:
        last = continue_along_branch(system, variants, lanes.take(rest))
        q[:, rest], error[rest], status[rest], reached[rest] = last.q, last.error_mm, last.status, last.reached
        names |= {int(rest[k]): said for k, said in last.in_line.items()}
    return Continuation(q, error, status, reached, names)


def _farthest(lanes: Lanes) -> NDArray[np.intp]:
    """The farthest lane of each ray; lanes with another drive moved are rays of their own, for later."""
    found: dict[tuple[int, bool], int] = {}
    for lane in np.flatnonzero(lanes.straight):
        ray = (int(lanes.variant[lane]), bool(lanes.travel[lane] > 0.0))
        if ray not in found or abs(lanes.travel[lane]) > abs(lanes.travel[found[ray]]):
            found[ray] = int(lane)
    return np.array(sorted(found.values()), dtype=np.intp)


def _beyond(lanes: Lanes, farthest: int, reached: float) -> NDArray[np.bool_]:
    """Lanes on the ray of the farthest one that lie beyond the share of its way that was reached."""
    travel = lanes.travel[farthest]
    same = (lanes.variant == lanes.variant[farthest]) & lanes.straight & (lanes.travel * travel > 0.0)
    return np.asarray(same & (np.abs(lanes.travel) > abs(travel) * reached), dtype=np.bool_)
