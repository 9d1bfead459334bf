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


def did_you_mean(name: str, known: Iterable[str], otherwise: str | None = None, lead: str = "") -> str:
    """Return a hint for an unknown name: the nearest known one, after a lead, or the list of them all.

    Parameters
    ----------
    otherwise : str, optional
        What is said in place of the list.
    """
    names = list(dict.fromkeys(known))
    near = difflib.get_close_matches(name.lower(), names, 1)
    if near:
        return f'{lead}did you mean "{near[0]}"?'
    return (f"known here: {', '.join(names)}" if names else "there is none here") if otherwise is None else otherwise
