"""What the words on a drawing say: scales, view titles, numbers, coordinates, keys of a legend, names of points.

Nothing here knows where a text stands; it only reads what is written. No expression here goes back over what it has
read, so that time grows with the length of a text and no faster.
"""

from __future__ import annotations

import difflib
import re
import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass, field
from fractions import Fraction
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from kin3d.linkage.names import did_you_mean, normalise
from kin3d.reading.dxf.content import grouped

LONGEST_NUMBER = 40  # characters; more is no coordinate
NEAR = 0.8  # share of the letters that a slip of the pen leaves as they are
NUMBER = re.compile(r"[-+−]?\d+(?:[.,]\d+)*")
_SCALE = re.compile(r"(?<![\d.,:])(\d{1,9}(?:[.,]\d{1,9})?)\s*[:/]\s*(\d{1,9}(?:[.,]\d{1,9})?)(?![\d.,:])")
_SCALE_WORD = re.compile(
    r"scale|ma(?:ss|ß|sss)stab|\bmst\b|echelle|échelle|escala|scala|m\s*(?:=\s*)?1\s*:", re.IGNORECASE
)
KEY = r"\d{1,3}|[A-Z]|[A-Z]{1,3}[-.]?\d{1,3}"  # "12", "B", "HP12"
_FIGURE = r"\s{0,3}[=:]?\s{0,3}([-+−]?\d[\d.,]{0,12})"
LETTERED = re.compile(rf"\bx{_FIGURE}\W{{1,3}}y{_FIGURE}\W{{1,3}}z{_FIGURE}", re.IGNORECASE)
_KEY = re.compile(rf"^\(?#?({KEY})\)?\s*[.):=–-]?\s+(\D.*)$")
_VIEWS = {
    "front": ("front", "vorderansicht", "vorne", "frontansicht", "face"),
    "rear": ("rear", "back", "rückansicht", "rueckansicht", "hinten", "heckansicht"),
    "side": ("side", "seitenansicht", "seite", "elevation"),
    "plan": ("plan", "top", "draufsicht", "oben", "dessus"),
}
_VIEW_WORD = re.compile(r"view|ansicht|sicht|vue|elevation|plan\b", re.IGNORECASE)
_SIDES = {
    "left": "left", "lh": "left", "l": "left", "lhs": "left", "links": "left", "li": "left",
    "right": "right", "rh": "right", "r": "right", "rhs": "right", "rechts": "right", "re": "right",
    "fl": "left", "fr": "right", "rl": "left", "rr": "right", "lf": "left", "rf": "right", "lr": "left",
}  # fmt: skip
_IDLE = ("hp", "pt", "pkt", "point", "punkt", "hardpoint", "joint")
_LETTERS = str.maketrans({"ä": "ae", "ö": "oe", "ü": "ue", "ß": "ss", "æ": "ae", "ø": "o", "å": "a"})


@lru_cache(maxsize=10_000)
def fold(label: str) -> str:
    """Return a label so that spellings of one name compare equal: case, blanks, hyphens, brackets, umlauts."""
    plain = normalise(label).translate(_LETTERS)
    plain = "".join(c for c in unicodedata.normalize("NFKD", plain) if not unicodedata.combining(c))
    return normalise(re.sub(r"[()\[\]{}'\"`´:;,/]+", " ", plain))


def split_side(folded: str) -> tuple[str, str | None]:
    """Part a side's word from a folded name: ``"lower_front_lh"`` gives ``("lower_front", "left")``."""
    words = folded.split("_")
    for word, rest in ((words[-1], words[:-1]), (words[0], words[1:])):
        if rest and word in _SIDES:
            return "_".join(rest), _SIDES[word]
    return folded, None


def scales(text: str) -> list[Fraction]:
    """Return the scales that a text states, as car : sheet (5 for "SCALE 1:5"); empty where it states none."""
    if not _SCALE_WORD.search(text) and not re.fullmatch(r"\s*1\s*:\s*\d+(?:[.,]\d+)?(\s+\w+)?\s*", text):
        return []
    found = []
    for sheet, car in _SCALE.findall(text):
        a, b = (Fraction(t.replace(",", ".")) for t in (sheet, car))
        if a > 0 and b > 0:
            found.append(b / a)
    return found


def view_kind(text: str) -> str | None:
    """Return front, rear, side or plan where a text is the title of such a view, else None."""
    if _VIEW_WORD.search(text) is None:
        return None
    words = set(re.findall(r"[^\W\d_]+", re.sub(r"(?<=[a-z])(?=[A-Z])", " ", text).lower()))
    kinds = [k for k, names in _VIEWS.items() if words & set(names)]
    return kinds[0] if len(kinds) == 1 and len(words) <= 6 else None


def key_entry(text: str) -> tuple[str, str] | None:
    """Return key and meaning of a line of a legend such as ``"12  lower front"``, else None."""
    found = _KEY.match(text.strip()) if "\n" not in text else None
    return (found.group(1), found.group(2)) if found else None


def is_number(text: str) -> bool:
    """Whether a text is nothing but one number."""
    return len(text) <= LONGEST_NUMBER and NUMBER.fullmatch(_closed_up(text)) is not None


def _closed_up(text: str) -> str:
    """Take out the blank after a sign and those that part thousands, and the unit mm."""
    plain = re.sub(r"^([-+−])\s+|(?:(?<!\s)\s+)?mm$", r"\1", text.strip())
    return re.sub(r"(?<=\d)\s(?=\d{3}(?!\d))", "", plain)


def decimal_mark(written: list[str]) -> str | None:
    """Return the decimal mark, comma or dot, that a set of numbers has in common; None where it cannot be told.

    A number with three digits after its only mark may be thousands, so it shows nothing by itself; unless more than
    three digits, or a nought, stand before the mark.
    """
    votes = set()
    for number in written:
        marks = re.findall(r"[.,]", number)
        if not marks:
            continue
        first, *_, last = re.split(r"[.,]", _closed_up(number).lstrip("+-−"))
        no_group = len(last) != 3 or len(first) > 3 or first.startswith("0")
        if len(set(marks)) == 2 or (len(marks) == 1 and no_group):
            votes.add(marks[-1])
        elif len(marks) > 1:
            votes.add("," if marks[0] == "." else ".")
    if not votes and not any(re.search(r"[.,]", n) for n in written):
        return "."
    return votes.pop() if len(votes) == 1 else None


def value(written: str, mark: str) -> float:
    """Return the value of a written number whose decimal mark is known."""
    other = "." if mark == "," else ","
    return float(_closed_up(written).replace("−", "-").replace(other, "").replace(mark, "."))


def coordinates(text: str) -> tuple[float, float, float] | None:
    """Return three coordinates written in one text, ``"(150; 255; 190)"`` or ``"x=1,5 y=2,0 z=3,5"``; else None."""
    marked = LETTERED.search(text)
    body = " ".join(marked.groups()) if marked else re.sub(r"\b[xyz]\s*[=:]", " ", text, flags=re.I).strip(" ()[]{}")
    parts = [p for p in re.split(r"[;/|]|\s+|,\s+", body) if p and p.lower() not in ("mm", "/")]
    if len(parts) == 1 and body.count(",") == 2 and "." in body:
        parts = body.split(",")
    if len(parts) != 3 or not all(is_number(p) for p in parts):
        return None
    mark = decimal_mark(parts)
    if mark is None:
        return None
    return (value(parts[0], mark), value(parts[1], mark), value(parts[2], mark))


# --- which point a label names ---------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class PointName:
    """A point's name as resolved from a label; `side` is what the label's suffix says, if it has one."""

    point: str
    side: str | None = None
    known: bool = True


@dataclass(frozen=True, slots=True)
class LinkLayer:
    """A layer that stands for one link: the names of its two ends and the rule that tells them apart."""

    first: str
    second: str
    ends: str


@dataclass(slots=True)
class Names:
    """All that is known of names for one drawing.

    `known` are those of layouts: a label that is none of them is no point's label. `labels` (folded), `places` (drawing
    units) and `links` (folded layers) are what the name table says, `keys` what the drawing's own legend does.
    """

    known: tuple[str, ...]
    strict: bool = False
    labels: dict[str, str] = field(default_factory=dict)
    places: list[tuple[tuple[float, ...], str]] = field(default_factory=list)
    links: dict[str, LinkLayer] = field(default_factory=dict)
    keys: dict[str, str] = field(default_factory=dict)
    _closed: dict[str, list[str]] = field(init=False)  # without underscores: the names behind it
    _counts: NDArray[np.int64] = field(init=False)

    def __post_init__(self) -> None:
        self.know(())

    def know(self, more: Iterable[str]) -> None:
        """Add names to those that are known."""
        self.known = tuple(dict.fromkeys([*self.known, *more]))
        self._closed = grouped((point.replace("_", ""), point) for point in self.known)
        self._counts = np.array([_letters(point) for point in self.known]).reshape(-1, 32)

    def is_known(self, point: str) -> bool:
        """Whether a folded label is the name of a point, letter by letter."""
        return point in self._closed.get(point.replace("_", ""), ())

    def find(self, label: str) -> PointName | None:
        """Return what a label names, or None where it names nothing known."""
        folded = fold(label)
        for words, side in ((folded, None), split_side(folded)):
            if (said := self.labels.get(words) or (self.keys.get(words) if side is None else None)) is not None:
                return PointName(said, side)
            if self.is_known(words):
                return PointName(words, side)
        spelt = folded.split("_")  # "HP-lower front LH", "LowerFront", "wheel center"
        while len(spelt) > 1 and spelt[0] in _IDLE:
            spelt = spelt[1:]
        plain, side = split_side("_".join(spelt))
        found = self._closed.get(plain.replace("_", "").replace("center", "centre"), [])
        return PointName(found[0], side) if len(found) == 1 else None

    def resembles(self, label: str) -> bool:
        """Whether a label is so near to a known name that it may be a slip of the pen."""
        word = split_side(fold(label))[0]
        alike = np.minimum(_letters(word), self._counts).sum(axis=1)  # at most so many letters can match
        least = 0.5 * NEAR * (self._counts.sum(axis=1) + len(word))
        near = [self.known[k] for k in np.flatnonzero(alike >= least)]
        return bool(difflib.get_close_matches(word, near, 1, NEAR))

    def hint(self, label: str) -> str:
        """Return the nearest known name, for messages."""
        return did_you_mean(fold(label), self.known)


def _letters(word: str) -> NDArray[np.int64]:
    """Return how often each letter stands in a word, shape (32,); letters with the same last five bits count as one."""
    return np.bincount(np.frombuffer(word.encode(), dtype=np.uint8) & 31, minlength=32)


def known_points() -> tuple[str, ...]:
    """Return the point names of all built-in layouts."""
    from kin3d.linkage.layout_file import builtin, builtin_names

    return tuple(dict.fromkeys(p for name in builtin_names() for p in builtin(name).known_points()))
