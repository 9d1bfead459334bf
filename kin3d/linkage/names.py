"""How a point's name is written inside the program, whatever hand wrote it."""

from __future__ import annotations

import re
import unicodedata

# Typographic dashes count as hyphens: word processors put them in unasked.
_BREAKS = re.compile(r"[\s._\-\u00ad\u2010-\u2015\u2212]+")


def normalise(name: str) -> str:
    """Return a name in lower case with one underscore for every run of blanks, dots, hyphens and underscores.

    Underscores at either end are dropped: ``" Lower-Front. "`` becomes ``"lower_front"``. Applying it twice
    changes nothing.
    """
    plain = unicodedata.normalize("NFKC", unicodedata.normalize("NFKC", name).lower())
    return _BREAKS.sub("_", plain).strip("_")
