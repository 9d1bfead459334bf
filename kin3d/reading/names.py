"""Names as people write them: how the program writes a point's name, and what was probably meant."""

from __future__ import annotations

import difflib
from collections.abc import Iterable

from kin3d.linkage.names import normalise

__all__ = ["did_you_mean", "normalise"]


def did_you_mean(name: str, known: Iterable[str]) -> str:
    """Return a hint for an unknown name: the nearest known one, or the list of them all."""
    names = list(dict.fromkeys(known))
    near = difflib.get_close_matches(name.lower(), names, 1)
    return f'did you mean "{near[0]}"?' if near else f"known here: {', '.join(names)}"
