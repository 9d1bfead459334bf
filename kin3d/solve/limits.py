"""Why a position was not reached, in words: how far the linkage came, and which bodies are in line there."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from kin3d.solve.march import march, numbers
from kin3d.solve.status import Status
from kin3d.solve.system import bodies_in_line

if TYPE_CHECKING:
    from kin3d.solve.kernel import Kernel, Solved
    from kin3d.solve.lanes import Lanes, Variants


@dataclass(frozen=True, slots=True)
class Limit:
    """Sentence about one lane, and its cause alone (to tell equal ones)."""

    text: str
    cause: str


def limit_sentence(kernel: Kernel, variants: Variants, lanes: Lanes, solved: Solved, lane: int) -> Limit:
    """Say why a lane was not solved.

    The lane is stepped to where it stops; the left null vector of the Jacobian there names the members in line.
    """
    status = Status(int(solved.status[lane]))
    if lane not in solved.limits:
        return Limit(status.sentence, status.sentence)
    travel, rack = solved.limits[lane]
    bodies = _in_line(kernel, variants, lanes, lane, (travel, rack))
    # a rack that is not driven is not spoken of
    where = f"travel {travel:+.2f} mm" + (f" with rack {rack:+.2f} mm" if lanes.rack[lane] else "")
    cause = f"{bodies} are in line there"
    return Limit(f"{where} is the limit: {cause}", cause)


def _in_line(kernel: Kernel, variants: Variants, lanes: Lanes, lane: int, reached: tuple[float, float]) -> str:
    one = lanes.take(np.array([lane]))
    share = 1.0 - 1e-4  # a little short of the limit, where the lane still closes
    short = type(one)(one.variant, np.array([reached[0] * share]), np.array([reached[1] * share]))
    there = march(kernel.system, variants, short)
    system = kernel.system
    dense = system.dense(numbers(system, variants, short, there.q), 1)[0]
    scale = np.broadcast_to(variants.per_lane(variants.inverse_lengths, short), (len(dense), 1))
    dense = dense * scale
    # the block that has become singular speaks alone: what stands before it in the order of solving is not to blame
    found = []
    for plan in system.blocks:
        u, s, _ = np.linalg.svd(dense[plan.slice, plan.slice])
        found.append((float(s[-1] / s[0]), u[:, -1], system.row_order[plan.slice]))
    _, null, rows = min(found, key=lambda f: f[0])
    return bodies_in_line(null, [system.equations.rows[r] for r in rows])
