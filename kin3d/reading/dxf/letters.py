"""How wide words are, where their font is not at hand.

Terms
-----
even : every letter is as wide as the next, as with most fonts of drawing programs.
printed : letters have widths of their own, as with the sans-serif fonts that printers use.

What it cannot know: which of the two a drawing was written in, and how wide its letters are over all. Both are tried
against the ends of the pointers (see `search`).
"""

from __future__ import annotations

from kin3d.reading.dxf.marks import Text

_MEAN = 556  # thousandths of the font's size
_GROUPS = {
    222: "ijl", 278: "ft I./,:;!|", 333: "r-()", 500: "ckxsvyzJ", 611: "FTZ", 667: "ABEKPSVXY", 722: "wCDHNRU",
    778: "GOQ", 833: "mM", 944: "W",
}  # fmt: skip
_WIDTHS = {letter: width for width, group in _GROUPS.items() for letter in group}


def evenness(text: Text) -> float:
    """Return the width of a text in a printer's sans-serif font, as a multiple of that with even letters."""
    words = max(text.lines, key=len)
    return sum(_WIDTHS.get(c, _MEAN) for c in words) / (_MEAN * len(words))
