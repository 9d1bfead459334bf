"""From the label in a drawing to the point's name: the name table, the legend, the layout's names, side suffixes.

The name table (``names.csv``) has the columns ``label,point`` and an optional third, ``ends``. A label is

* the text, attribute value, key or layer as it stands in the drawing (case, blanks, hyphens, umlauts' spelling do
  not matter), or
* ``@x,y`` or ``@x,y,z``, quoted: the place of a mark in the drawing, in drawing units, for drawings without names.

For a layer that holds one link, `point` names both ends, ``"lower_front lower_outer"``, and `ends` says which end
comes first: ``inboard first``, ``outboard first``, ``front first``, ``rear first``, ``upper first``, ``lower first``.
"""

from __future__ import annotations

import csv
import difflib
import io
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from kin3d.linkage.names import did_you_mean, normalise
from kin3d.reading.dxf.wording import bare, fold, split_side
from kin3d.reading.text import FindingLog

ENDS = {
    "inboard first": (1, "small"), "outboard first": (1, "large"), "front first": (0, "high"),
    "rear first": (0, "low"), "upper first": (2, "high"), "lower first": (2, "low"),
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Name:
    """A point's name as resolved from a label; `side` is what the label's suffix says, if it has one."""

    point: str
    side: str | None = None
    known: bool = True


@dataclass(frozen=True, slots=True)
class Link:
    """A layer that stands for one link: the names of its two ends and the rule that tells them apart."""

    first: str
    second: str
    ends: str


@dataclass(slots=True)
class Names:
    """All that is known of names for one drawing.

    Attributes
    ----------
    known : tuple of str
        Names that layouts have; a label that is none of them is not a point's label.
    labels : dict of str to str
        Folded label to point name, from the name table.
    places : list of (tuple of float, str)
        Places in the drawing that the name table names.
    links : dict of str to Link
        Folded layer name to link.
    keys : dict of str to str
        Key in the drawing's own legend to point name.
    """

    known: tuple[str, ...]
    strict: bool = False
    labels: dict[str, str] = field(default_factory=dict)
    places: list[tuple[tuple[float, ...], str]] = field(default_factory=list)
    links: dict[str, Link] = field(default_factory=dict)
    keys: dict[str, str] = field(default_factory=dict)

    def find(self, label: str) -> Name | None:
        """Return what a label names, or None where it names nothing known."""
        folded = fold(label)
        if folded in self.labels:
            return Name(self.labels[folded])
        if folded in self.keys:
            return Name(self.keys[folded])
        if folded in self.known:
            return Name(folded)
        plain, side = split_side(folded)
        if plain in self.labels:
            return Name(self.labels[plain], side)
        if plain in self.known:
            return Name(plain, side)
        return self._spelt_otherwise(folded)

    def _spelt_otherwise(self, folded: str) -> Name | None:
        """Find a known name behind "HP-lower front LH", "LowerFront" or "wheel center"."""
        plain, side = split_side(bare(folded))
        closed = plain.replace("_", "").replace("center", "centre")
        found = [p for p in self.known if p.replace("_", "") == closed]
        return Name(found[0], side) if len(found) == 1 else None

    def resembles(self, label: str) -> bool:
        """Whether a label is so near to a known name that it may be a slip of the pen."""
        return bool(difflib.get_close_matches(split_side(fold(label))[0], self.known, 1, 0.8))

    def hint(self, label: str) -> str:
        """Return the nearest known name, for messages."""
        return did_you_mean(fold(label), self.known)


def known_points() -> tuple[str, ...]:
    """Return the point names of all built-in layouts."""
    from kin3d.linkage.layout_file import builtin, builtin_names

    return tuple(dict.fromkeys(p for name in builtin_names() for p in builtin(name).known_points()))


def read_names(given: Path | Mapping[str, str] | None, points: tuple[str, ...] | None, log: FindingLog) -> Names:
    """Read a name table; `points` are the layout's names, None for those of every built-in layout."""
    names = Names(points or known_points(), strict=points is not None)
    if given is None:
        return names
    rows = [(k, v, "", "") for k, v in given.items()] if isinstance(given, Mapping) else _rows(given, log)
    for label, point, ends, where in rows:
        _enter(names, label.strip(), point.strip(), ends.strip().lower(), where, log)
    extra = [*names.labels.values(), *(p for _, p in names.places)]
    extra += [p for link in names.links.values() for p in (link.first, link.second)]
    if names.strict:
        for point in dict.fromkeys(p for p in extra if p not in names.known):
            log.warn(
                "name-unknown", f'the name table has "{point}", which is no point of the layout; {names.hint(point)}'
            )
    names.known = tuple(dict.fromkeys([*names.known, *extra]))
    return names


def _rows(path: Path, log: FindingLog) -> list[tuple[str, str, str, str]]:
    table = FindingLog(path.name)
    try:
        text = path.read_bytes().decode("utf-8-sig")
    except (OSError, UnicodeDecodeError) as err:
        log.error("names-unreadable", f'the name table "{path.name}" cannot be read as UTF-8 text: {err}')
        return []
    lines = [line for line in text.splitlines() if line.strip() and not line.lstrip().startswith("#")]
    mark = max(",;\t", key=lambda m: lines[0].count(m)) if lines else ","
    header = [normalise(h) for h in next(csv.reader(io.StringIO(lines[0]), delimiter=mark))] if lines else []
    if header[:2] != ["label", "point"] or header[2:] not in ([], ["ends"]):
        found = mark.join(header) or "nothing"
        log.error(
            "names-header",
            f'the name table "{path.name}" must start with "label,point" or "label,point,ends"; found "{found}"',
        )
        return []
    out = []
    for number, row in enumerate(csv.reader(io.StringIO("\n".join(lines[1:])), delimiter=mark), 2):
        cells = [*row, "", ""][:3]
        out.append((cells[0], cells[1], cells[2], table.place(f"entry {number - 1}")))
    return out


def _enter(names: Names, label: str, point: str, ends: str, where: str, log: FindingLog) -> None:
    points = [normalise(p) for p in re.split(r"\s*[|+>]\s*|\s+", point) if p]
    if not label or not points or len(points) > 2:
        log.error(
            "names-row", f'expected a label and one point (or two for a link), found "{label}", "{point}"', where
        )
    elif label.startswith("@"):
        _enter_place(names, label, points, where, log)
    elif len(points) == 2:
        if ends not in ENDS:
            log.error(
                "names-ends",
                f'a row with two points must say which end comes first, one of {", ".join(ENDS)}; found "{ends}"',
                where,
            )
        else:
            names.links[fold(label)] = Link(points[0], points[1], ends)
    elif names.labels.get(fold(label), points[0]) != points[0]:
        log.error(
            "names-twice", f'label "{label}" is given two points, {names.labels[fold(label)]} and {points[0]}', where
        )
    else:
        names.labels[fold(label)] = points[0]


def _enter_place(names: Names, label: str, points: list[str], where: str, log: FindingLog) -> None:
    try:
        place = tuple(float(t) for t in re.split(r"[,;\s]+", label[1:].strip()))
    except ValueError:
        place = ()
    if len(place) not in (2, 3) or len(points) != 1:
        log.error("names-place", f'expected "@x,y" or "@x,y,z" and one point, found "{label}"', where)
    else:
        names.places.append((place, points[0]))
