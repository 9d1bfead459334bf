"""What a person says of a drawing in two small files beside it: ``views.toml`` and the name table ``names.csv``.

``views.toml``
--------------
It is looked for as ``<drawing>.views.toml`` (``front.views.toml`` beside ``front.dxf``), then ``views.toml``.
All keys are optional::

    scale = "1:5"                 # sheet : car, of every view that has none of its own
    mm_per_unit = 5.0             # or: mm of the car per drawing unit (then neither unit nor scale is needed)
    units = "mm"                  # of the drawing, where it says none
    axes = "x forward, y left, z up"   # of a drawing in space
    origin = [1000, 200, 0]       # of a drawing in space: where the car's origin stands, drawing units
    source = "text table"         # the coordinates are those of a table written as text
    layers = ["POINTS_REV_B"]     # read points and labels on these layers only
    ignore_layers = ["OLD"]       # or on all but these
    side = "left"                 # which of two corners with the same labels
    sigma_mm = 0.1                # one standard deviation of a place in the drawing, mm of the car
    override = ["units"]          # what the drawing states that is known to be wrong: "units", "scale"; or odd
                                  # and right: "sense" (order of the joints), "place" (on the car)

    [known]                       # points whose place in the car is known, mm: the datum of views without origin
    wheel_centre = [0, 740, 270]

    [views.front]                 # one table a view; the name is free (front, rear, side, plan say what it is)
    axes = ["y", "z"]             # car axes that run right and up on the sheet; "-x" runs the other way
    origin = [40, 60]             # where the car's origin stands on the sheet, drawing units
    scale = "1:5"                 # or mm_per_unit
    region = [0, 0, 200, 150]     # left, bottom, right, top on the sheet: the marks that belong to the view
    layer = "FrontView"           # or: the view is everything on this layer
    block = "FRONT"               # or: everything in this block
    title = "FRONT VIEW"          # or: what stands nearest to this title
    sigma_mm = 0.1

A view without `region`, `layer` and `block` is found by its title, or by which cluster of marks agrees with the
other views. ``axes`` and ``origin`` must be given, unless the `known` points of the view settle them.

``names.csv``
-------------
The name table (``names.csv``) has the columns ``label,point`` and an optional third, ``ends``. A label is

* the text, attribute value, key or layer as it stands in the drawing (case, blanks, hyphens, umlauts' spelling do
  not matter), or
* ``@x,y`` or ``@x,y,z``, quoted: the place of a mark in the drawing, in drawing units, for drawings without names.

A draft has the columns ``number``, ``view``, ``guess``, ``confidence`` and ``reason`` too: they are for its reader, and
a row of a draft without a point says nothing.

For a layer that holds one link, `point` names both ends, ``"lower_front lower_outer"``, and `ends` says which end
comes first: ``inboard first``, ``outboard first``, ``front first``, ``rear first``, ``upper first``, ``lower first``.
"""

from __future__ import annotations

import csv
import io
import re
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from pathlib import Path
from typing import Any

from kin3d.linkage.names import did_you_mean, normalise
from kin3d.reading.dxf.wording import LinkLayer, Names, fold, known_points
from kin3d.reading.text import FindingLog
from kin3d.writing.files import read_file

Axis = tuple[int, float]  # 0, 1, 2 for x, y, z of the car, and the sign
_KEYS = (
    "scale", "mm_per_unit", "units", "axes", "origin", "source", "layers", "ignore_layers", "side", "sigma_mm",
    "override", "known", "views",
)  # fmt: skip
_VIEW_KEYS = ("axes", "origin", "scale", "mm_per_unit", "region", "layer", "block", "title", "sigma_mm")
OVERRIDES = ("units", "scale", "sense", "place")


def written(axes: Iterable[Axis]) -> str:
    """Return axes as they are written in views.toml."""
    return "[" + ", ".join(f'"{"-" if s < 0 else ""}{"xyz"[k]}"' for k, s in axes) + "]"


@dataclass(frozen=True, slots=True)
class DeclaredView:
    """What is said of one view; None where nothing is."""

    name: str
    axes: tuple[Axis, Axis] | None = None
    origin: tuple[float, float] | None = None
    scale: float | None = None
    mm_per_unit: float | None = None
    region: tuple[float, float, float, float] | None = None
    layer: str | None = None
    block: str | None = None
    title: str | None = None
    sigma_mm: float | None = None


@dataclass(frozen=True, slots=True)
class Declaration:
    """What a person says of one drawing; see the module's text for the file format."""

    source_file: str = ""
    scale: float | None = None
    mm_per_unit: float | None = None
    units: str | None = None
    axes: str | None = None
    origin: tuple[float, float, float] | None = None
    table: bool = False
    layers: tuple[str, ...] = ()
    ignore_layers: tuple[str, ...] = ()
    side: str | None = None
    sigma_mm: float | None = None
    override: tuple[str, ...] = ()
    known: dict[str, tuple[float, float, float]] = field(default_factory=dict)
    views: tuple[DeclaredView, ...] = ()


def find_views_file(drawing: Path) -> Path | None:
    """Return the views.toml that belongs to a drawing, if there is one beside it."""
    for name in (f"{drawing.stem}.views.toml", "views.toml"):
        if (drawing.parent / name).is_file():
            return drawing.parent / name
    return None


def read_views_file(given: Path | Mapping[str, Any] | None, log: FindingLog) -> Declaration:
    """Read views.toml, or a mapping equal to it; what is wrong with it goes to `log`."""
    if given is None:
        return Declaration()
    if isinstance(given, Mapping):
        return _Reader("views", log).declaration(given)
    try:
        data = tomllib.loads(read_file(given).decode("utf-8-sig"))
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError, RecursionError) as err:
        log.error("views-unreadable", f"cannot be read as TOML: {err}", given.name)
        return Declaration()
    return _Reader(given.name, log).declaration(data)


class _Reader:
    """Takes values out of the parsed TOML and says what is wrong with them."""

    def __init__(self, name: str, log: FindingLog) -> None:
        self.name = name
        self.log = log

    def declaration(self, data: Mapping[str, Any]) -> Declaration:
        self._known_keys(data, _KEYS, "")
        views = data.get("views", {})
        if not isinstance(views, Mapping):
            self._say("views", "expected one table a view, [views.front]")
            views = {}
        source = self._choice(data, "source", ("text table", "marks"))
        return Declaration(
            self.name,
            self._scale(data, ""), self._positive(data, "mm_per_unit"), self._text(data, "units"),
            self._text(data, "axes"), self._numbers(data, "origin", 3), source == "text table",
            self._texts(data, "layers"), self._texts(data, "ignore_layers"),
            self._choice(data, "side", ("left", "right")), self._positive(data, "sigma_mm"),
            self._overrides(data), self._known(data.get("known", {})),
            tuple(self._view(name, view) for name, view in views.items()),
        )  # fmt: skip

    def _overrides(self, data: Mapping[str, Any]) -> tuple[str, ...]:
        given = self._texts(data, "override")
        for word in given:
            if word not in OVERRIDES:
                self._say("override", f'"{word}" is not one of {", ".join(OVERRIDES)}')
        return given

    def _known(self, data: Any) -> dict[str, tuple[float, float, float]]:
        if not isinstance(data, Mapping):
            self._say("known", "expected point = [x, y, z]")
            return {}
        read = {normalise(name): self._numbers(data, name, 3, "known.") for name in data}
        return {name: xyz for name, xyz in read.items() if xyz is not None}

    def _view(self, name: str, data: Any) -> DeclaredView:
        at = f"views.{name}."
        if not isinstance(data, Mapping):
            self._say(at[:-1], "expected a table with axes and origin")
            return DeclaredView(name)
        self._known_keys(data, _VIEW_KEYS, at)
        return DeclaredView(
            name,
            self._axes(data, at), self._numbers(data, "origin", 2, at), self._scale(data, at),
            self._positive(data, "mm_per_unit", at), self._region(data, at), self._text(data, "layer", at),
            self._text(data, "block", at), self._text(data, "title", at), self._positive(data, "sigma_mm", at),
        )  # fmt: skip

    def _axes(self, data: Mapping[str, Any], at: str) -> tuple[Axis, Axis] | None:
        given = data.get("axes")
        if given is None:
            return None
        words = [str(w).strip().lower() for w in given] if isinstance(given, list | tuple) else []
        axes = [("xyz".index(w[-1]), -1.0 if w[0] == "-" else 1.0) for w in words if w.lstrip("+-") in ("x", "y", "z")]
        if len(axes) != 2 or len(words) != 2 or axes[0][0] == axes[1][0]:
            self._say(f"{at}axes", f'expected the car axes that run right and up, such as ["y", "z"], found {given!r}')
            return None
        return (axes[0], axes[1])

    def _region(self, data: Mapping[str, Any], at: str) -> tuple[float, float, float, float] | None:
        box: tuple[float, float, float, float] | None = self._numbers(data, "region", 4, at)
        if box is not None and not (box[0] < box[2] and box[1] < box[3]):
            self._say(f"{at}region", f"expected left, bottom, right, top, found {list(box)}")
            return None
        return box

    def _scale(self, data: Mapping[str, Any], at: str) -> float | None:
        given = data.get("scale")
        if given is None:
            return None
        parts = str(given).replace(" ", "").split(":")
        try:
            sheet, car = (Fraction(p) for p in parts)
            ratio = float(car / sheet)
        except (ValueError, ZeroDivisionError):
            ratio = 0.0
        if ratio <= 0.0:
            self._say(f"{at}scale", f'expected sheet : car, such as "1:5", found {given!r}')
            return None
        return ratio

    def _positive(self, data: Mapping[str, Any], key: str, at: str = "") -> float | None:
        given = data.get(key)
        if given is None:
            return None
        if isinstance(given, bool) or not isinstance(given, int | float) or not 0.0 < given < 1e9:
            self._say(f"{at}{key}", f"expected a positive number, found {given!r}")
            return None
        return float(given)

    def _numbers(self, data: Mapping[str, Any], key: str, count: int, at: str = "") -> Any:
        given = data.get(key)
        if given is None:
            return None
        values = list(given) if isinstance(given, list | tuple) else []
        if len(values) != count or any(isinstance(v, bool) or not isinstance(v, int | float) for v in values):
            self._say(f"{at}{key}", f"expected {count} numbers, found {given!r}")
            return None
        return tuple(float(v) for v in values)

    def _text(self, data: Mapping[str, Any], key: str, at: str = "") -> str | None:
        given = data.get(key)
        if given is not None and not isinstance(given, str):
            self._say(f"{at}{key}", f"expected a text, found {given!r}")
            return None
        return given

    def _texts(self, data: Mapping[str, Any], key: str) -> tuple[str, ...]:
        given = data.get(key, [])
        given = [given] if isinstance(given, str) else given
        if not isinstance(given, list | tuple) or not all(isinstance(v, str) for v in given):
            self._say(key, f"expected a list of texts, found {given!r}")
            return ()
        return tuple(given)

    def _choice(self, data: Mapping[str, Any], key: str, choices: tuple[str, ...]) -> str | None:
        given = data.get(key)
        if given is not None and given not in choices:
            self._say(key, f"expected one of {', '.join(choices)}, found {given!r}")
            return None
        return given

    def _known_keys(self, data: Mapping[str, Any], known: tuple[str, ...], at: str) -> None:
        for key in data:
            if key not in known:
                self._say(f"{at}{key}", f"is not a known key; {did_you_mean(str(key), known)}")

    def _say(self, key: str, text: str) -> None:
        self.log.error("views-key", text, f"{self.name}, {key}")


# --- the name table --------------------------------------------------------------------------------------------------

ENDS = {
    "inboard first": (1, "small"), "outboard first": (1, "large"), "front first": (0, "high"),
    "rear first": (0, "low"), "upper first": (2, "high"), "lower first": (2, "low"),
}  # fmt: skip


NOTES = ("number", "view", "guess", "confidence", "reason")  # columns of a draft that say nothing to the reader


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
        for point in dict.fromkeys(p for p in extra if not names.is_known(p)):
            log.warn(
                "name-unknown", f'the name table has "{point}", which is no point of the layout; {names.hint(point)}'
            )
    names.know(extra)
    return names


def _rows(path: Path, log: FindingLog) -> list[tuple[str, str, str, str]]:
    table = FindingLog(path.name)
    try:
        text = read_file(path).decode("utf-8-sig")
    except (OSError, UnicodeDecodeError) as err:
        log.error("names-unreadable", f'the name table "{path.name}" cannot be read as UTF-8 text: {err}')
        return []
    lines = [line for line in text.splitlines() if line.strip() and not line.lstrip().startswith("#")]
    mark = max(",;\t", key=lambda m: lines[0].count(m)) if lines else ","
    header = [normalise(h) for h in next(csv.reader(io.StringIO(lines[0]), delimiter=mark))] if lines else []
    known = ("ends", *NOTES)
    if header[:2] != ["label", "point"] or any(h not in known for h in header[2:]):
        found = mark.join(header) or "nothing"
        log.error(
            "names-header",
            f'the name table "{path.name}" must start with "label,point" or "label,point,ends"; found "{found}"',
        )
        return []
    out = []
    for number, row in enumerate(csv.reader(io.StringIO("\n".join(lines[1:])), delimiter=mark), 2):
        cells = dict(zip(header, [*row, *[""] * len(header)], strict=False))
        if cells["point"].strip() or "guess" not in header:  # in a draft, what has no name yet is no mistake
            out.append((cells["label"], cells["point"], cells.get("ends", ""), table.place(f"entry {number - 1}")))
    return out


def _enter(names: Names, label: str, point: str, ends: str, where: str, log: FindingLog) -> None:
    points = [normalise(p) for p in re.split(r"\s*[|+>]\s*|\s+", point) if p]
    if not label or not points or len(points) > 2:
        log.error("names-row", f'expected a label and one point (or two for a link), found "{label}", "{point}"', where)
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
            names.links[fold(label)] = LinkLayer(points[0], points[1], ends)
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
