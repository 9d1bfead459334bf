"""Names: sides and axles, how a point's name is written inside the program, and what was probably meant."""

from __future__ import annotations

import difflib
import re
import unicodedata
from collections.abc import Iterable
from typing import Literal

Side = Literal["left", "right"]
AxleName = Literal["front", "rear"]

# Typographic dashes count as hyphens: word processors put them in unasked.
_BREAKS = re.compile(r"[\s._\-\u00ad\u2010-\u2015\u2212]+")


def normalise(name: str) -> str:
    """Return a name in lower case with one underscore for every run of blanks, dots, hyphens and underscores.

    Underscores at either end are dropped: ``" Lower-Front. "`` becomes ``"lower_front"``. Applying it twice
    changes nothing.
    """
    plain = unicodedata.normalize("NFKC", unicodedata.normalize("NFKC", name).lower())
    return _BREAKS.sub("_", plain).strip("_")


def did_you_mean(name: str, known: Iterable[str]) -> str:
    """Return a hint for an unknown name: the nearest known one, or the list of them all."""
    names = list(dict.fromkeys(known))
    if not names:
        return "there is none here"
    near = difflib.get_close_matches(name.lower(), names, 1)
    return f'did you mean "{near[0]}"?' if near else f"known here: {', '.join(names)}"
