"""Which point words of the trade may mean, in five languages: proposals for a person, never a reading."""

from __future__ import annotations

import re
from collections.abc import Iterable

from kin3d.reading.dxf.wording import fold

# a word's beginning: what it says of a point
_WORDS = {
    "lower": ("lower", "bottom", "unter", "unten", "inf", "bas", "basso"),
    "upper": ("upper", "top", "ober", "oben", "sup", "haut", "alto"),
    "front": ("front", "fore", "vorn", "vorder", "avant", "anterior", "del", "ant"),
    "rear": ("rear", "aft", "back", "hint", "arriere", "poster", "tras", "post"),
    "inner": ("inner", "inboard", "innen", "inter", "interieur", "intern"),
    "outer": ("outer", "outboard", "aussen", "ext", "exterieur", "estern"),
    "tie": ("tie", "track", "toe", "steer", "spur", "lenk", "direct", "biell", "bielette", "barra", "sterz", "tirant"),
    "rod": ("rod", "push", "pull", "schub", "zug", "druck", "stoss", "stoess", "poussoir", "puntone", "empuj"),
    "rocker": ("rocker", "bell", "umlenk", "kipp", "renvoi", "basculeur", "balancin", "bilanciere"),
    "spring": (
        "spring", "damper", "shock", "feder", "dampf", "daempf", "ressort", "amort", "muelle", "resorte", "molla",
    ),
    "wheel": ("wheel", "hub", "rad", "roue", "rueda", "ruota", "mozzo"),
    "ball": ("ball", "kingpin", "gelenk", "traggelenk", "rotule", "rotula", "snodo"),
    "axis": ("axis", "pivot", "achse", "axe", "eje", "asse"),
    "bar": ("roll", "stab", "antiroll", "anti"),
}  # fmt: skip
# what several words say together
_POINTS = (
    ({"rocker", "axis"}, "rocker_axis_1"), ({"rocker"}, "rocker_axis_1"), ({"spring", "inner"}, "spring_inner"),
    ({"spring", "outer"}, "spring_outer"), ({"rod", "inner"}, "rod_inner"), ({"rod", "outer"}, "rod_outer"),
    ({"tie", "inner"}, "tie_inner"), ({"tie", "outer"}, "tie_outer"), ({"lower", "front"}, "lower_front"),
    ({"lower", "rear"}, "lower_rear"), ({"upper", "front"}, "upper_front"), ({"upper", "rear"}, "upper_rear"),
    ({"lower", "ball"}, "lower_outer"), ({"upper", "ball"}, "upper_outer"), ({"lower", "outer"}, "lower_outer"),
    ({"upper", "outer"}, "upper_outer"), ({"wheel"}, "wheel_centre"),
)  # fmt: skip
_SHORT = {
    "lcaf": "lower_front", "lcar": "lower_rear", "lbj": "lower_outer", "ucaf": "upper_front", "ucar": "upper_rear",
    "ubj": "upper_outer", "tri": "tie_inner", "tro": "tie_outer", "wc": "wheel_centre", "lfi": "lower_front",
    "lri": "lower_rear", "ufi": "upper_front", "uri": "upper_rear", "lo": "lower_outer", "uo": "upper_outer",
}  # fmt: skip


def said_by(words: str) -> set[str]:
    """Return what a text's words say: "Querlenker unten vorn" says lower and front."""
    found = set()
    for word in re.findall(r"[a-z]+", fold(words).replace("_", " ")):
        found |= {meaning for meaning, starts in _WORDS.items() if word.startswith(starts)}
    return found


def point_meant(words: str, known: Iterable[str]) -> str | None:
    """Return the point that a text may mean, or None where its words say too little."""
    names = set(known)
    short = _SHORT.get(re.sub(r"[^a-z]", "", fold(words)))
    if short in names:
        return short
    said = said_by(words)
    for needed, point in _POINTS:
        if needed <= said and point in names:
            second = point == "rocker_axis_1" and re.search(r"(2|ii|b|hint|rear)\W*$", fold(words)) is not None
            return "rocker_axis_2" if second and "rocker_axis_2" in names else point
    return None
