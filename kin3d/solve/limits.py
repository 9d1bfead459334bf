"""Why a position was not reached, in words: how far the linkage came, and which bodies are in line there."""

from __future__ import annotations

from dataclasses import dataclass

from kin3d.solve.kernel import Solved
from kin3d.solve.lanes import Lanes
from kin3d.solve.status import Status

# with travel and rack both driven there are many ways to a position; the one that was gone is told
STRAIGHT = " (both moved together from the design position)"


@dataclass(frozen=True, slots=True)
class Limit:
    """Sentence about one lane, and its cause alone (to tell equal ones)."""

    text: str
    cause: str


def limit_sentence(lanes: Lanes, solved: Solved, lane: int) -> Limit:
    """Say why a lane was not solved."""
    status = Status(int(solved.status[lane]))
    if lane not in solved.limits:
        return Limit(status.sentence, status.sentence)
    travel, rack = solved.limits[lane]
    # a rack that is not driven is not spoken of
    where = f"travel {travel:+.2f} mm" + (f" with rack {rack:+.2f} mm{STRAIGHT}" if lanes.rack[lane] else "")
    cause = f"{solved.in_line[lane]} are in line there"
    return Limit(f"{where} is the limit: {cause}", cause)
