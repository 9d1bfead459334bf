"""Why a position was not reached, in words: how far the linkage came, and which bodies are in line there."""

from __future__ import annotations

from dataclasses import dataclass
from math import degrees

from kin3d.solve.drives import RIGHT
from kin3d.solve.lanes import Lanes, Solved, Status

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
    travel, *others = (f"{name} {x:+.2f} {unit}" for name, (x, unit) in drives_reached(lanes, solved, lane).items())
    where = f"{travel} with {' and '.join(others)}{STRAIGHT}" if others else travel
    cause = f"{solved.in_line[lane]} are in line there"
    return Limit(f"{where} is the limit: {cause}", cause)


def drives_reached(lanes: Lanes, solved: Solved, lane: int) -> dict[str, tuple[float, str]]:
    """To where a lane that ran into a limit came: travel, and every other drive that was to move, with its unit."""
    travel, rack, *more = solved.limits[lane]
    out = {"travel": (travel, "mm")}
    if lanes.rack[lane]:  # a rack that is not driven is not spoken of
        out["rack"] = (rack, "mm")
    for name, x in zip(lanes.more, more, strict=True):
        if name == RIGHT:
            if x != travel:
                out = {"left travel": (travel, "mm"), "right travel": (x, "mm")} | out
                del out["travel"]
        elif lanes.more[name][lane]:
            turns = solved.units.get(name) == "deg"
            out[name] = (degrees(x), "deg") if turns else (x, "mm")
    return out
