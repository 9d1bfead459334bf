"""What became of each position, as a value with a sentence."""

from __future__ import annotations

from enum import IntEnum


class Status(IntEnum):
    """Outcome of one position; everything but OK leaves the position without values (NaN)."""

    OK = 0
    LIMIT = 1
    UNSOLVED = 2

    @property
    def sentence(self) -> str:
        """What it means and what to do."""
        return _SENTENCES[self]


_SENTENCES = {
    Status.OK: "solved",
    Status.LIMIT: "out of reach: the linkage comes to the end of its travel before this position",
    Status.UNSOLVED: "the iteration did not close the linkage here; ask for smaller steps or look at the points",
}
