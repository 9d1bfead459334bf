"""What a person says of a drawing in two small files beside it: ``views.toml`` and the name table ``names.csv``.

Both formats stand in the guide (``kin3d guide drawings``); every key is optional. A view without region, layer and
block is found by its title, or by which cluster of marks agrees with the other views; its axes and origin must be
given, unless the known points of the view settle them.
"""

from __future__ import annotations

import csv
import re
import tomllib
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from functools import partial
from pathlib import Path
from types import UnionType
from typing import Any

from kin3d.linkage.names import did_you_mean, normalise
from kin3d.reading.dxf.wording import LinkLayer, Names, fold, known_points
from kin3d.reading.text import FindingLog
from kin3d.writing.files import read_file

Axis = tuple[int, float]  # 0, 1, 2 for x, y, z of the car, and the sign
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

    @property
    def movable(self) -> bool:
        """Whether it is not said where on the sheet the view is."""
        return (self.region, self.layer, self.block) == (None, None, None)


@dataclass(frozen=True, slots=True)
class Declaration:
    """What a person says of one drawing."""

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
    name = "views" if isinstance(given, Mapping) else given.name
    try:
        data = given if isinstance(given, Mapping) else tomllib.loads(read_file(given).decode("utf-8-sig"))
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError, RecursionError) as err:
        log.error("views-unreadable", f"cannot be read as TOML: {err}", name)
        return Declaration()
    told = _taken(data, _KEYS, "", name, log)
    known = told.pop("known", {})
    places = _taken(known, dict.fromkeys(known, _TRIPLE), "known.", name, log)
    tables = _taken(views := told.pop("views", {}), dict.fromkeys(views, _TABLE), "views.", name, log)
    return Declaration(
        table=told.pop("source", "") == "text table",
        known={normalise(point): xyz for point, xyz in places.items()},
        views=tuple(DeclaredView(v, **_taken(tables.get(v, {}), _VIEW_KEYS, f"views.{v}.", name, log)) for v in views),
        **told,
    )


def _taken(data: Mapping[str, Any], rules: Mapping[str, Rule], at: str, name: str, log: FindingLog) -> dict[str, Any]:
    """Return the values of one table by the rules for its keys, and say what is wrong with the others."""
    out = {}
    for key, given in data.items():
        where = f"{name}, {at}{key}"
        if key not in rules:
            log.error("views-key", f"is not a known key; {did_you_mean(str(key), rules)}", where)
        elif given is not None:
            parse, expected = rules[key]
            try:
                out[key] = parse(given)
            except (ValueError, TypeError, LookupError, ArithmeticError):
                log.error("views-key", f"expected {expected}, found {given!r}", where)
    return out


def _of(kind: type | UnionType, given: Any) -> Any:
    if not isinstance(given, kind) or isinstance(given, bool):
        raise TypeError
    return given


def _positive(given: Any) -> float:
    if not 0.0 < _of(int | float, given) < 1e9:
        raise ValueError
    return float(given)


def _numbers(count: int, given: Any) -> tuple[float, ...]:
    values = tuple(float(_of(int | float, v)) for v in _of(list | tuple, given))
    if len(values) != count:
        raise ValueError
    return values


def _region(given: Any) -> tuple[float, ...]:
    left, bottom, right, top = _numbers(4, given)
    if not (left < right and bottom < top):
        raise ValueError
    return (left, bottom, right, top)


def _texts(given: Any) -> tuple[str, ...]:
    return tuple(_of(str, v) for v in ([given] if isinstance(given, str) else _of(list | tuple, given)))


def _among(choices: tuple[str, ...], given: Any) -> Any:
    for word in _texts(given):
        choices.index(word)
    return given if isinstance(given, str) else tuple(given)


def _axes(given: Any) -> tuple[Axis, Axis]:
    words = [_of(str, w).strip().lower() for w in _of(list | tuple, given)]
    right, up = (({"x": 0, "y": 1, "z": 2}[w.lstrip("+-")], -1.0 if w[0] == "-" else 1.0) for w in words)
    if right[0] == up[0]:
        raise ValueError
    return (right, up)


def _scale(given: Any) -> float:
    sheet, car = (Fraction(p) for p in str(given).replace(" ", "").split(":"))
    return _positive(float(car / sheet))


Rule = tuple[Callable[[Any], Any], str]  # how a value is taken, and what is expected
_TEXT: Rule = (partial(_of, str), "a text")
_TRIPLE: Rule = (partial(_numbers, 3), "3 numbers")
_TABLE: Rule = (partial(_of, Mapping), "a table, such as [views.front] with axes and origin")
_BOTH: dict[str, Rule] = {
    "scale": (_scale, 'sheet : car, such as "1:5"'),
    "mm_per_unit": (_positive, "a positive number"),
    "sigma_mm": (_positive, "a positive number"),
}
_KEYS: dict[str, Rule] = _BOTH | {
    "units": _TEXT, "axes": _TEXT, "origin": _TRIPLE, "layers": (_texts, "a list of texts"),
    "source": (partial(_among, ("text table", "marks")), "one of text table, marks"),
    "ignore_layers": (_texts, "a list of texts"), "side": (partial(_among, ("left", "right")), "one of left, right"),
    "override": (lambda v: _texts(_among(OVERRIDES, v)), f"some of {', '.join(OVERRIDES)}"),
    "known": (partial(_of, Mapping), "point = [x, y, z]"),
    "views": (partial(_of, Mapping), "one table a view, [views.front]"),
}  # fmt: skip
_VIEW_KEYS: dict[str, Rule] = _BOTH | {
    "axes": (_axes, 'the car axes that run right and up, such as ["y", "z"]'),
    "origin": (partial(_numbers, 2), "2 numbers"),
    "region": (_region, "left, bottom, right, top"), "layer": _TEXT, "block": _TEXT, "title": _TEXT,
}  # fmt: skip


# --- the name table --------------------------------------------------------------------------------------------------

ENDS = {  # of a link: along which axis of the car its ends are told apart, and which comes first
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
        code, text = _enter(names, label.strip(), point.strip(), ends.strip().lower())
        if code:
            log.error(code, text, where)
    extra = [*names.labels.values(), *(p for _, p in names.places)]
    extra += [p for link in names.links.values() for p in (link.first, link.second)]
    for point in dict.fromkeys(p for p in extra if names.strict and not names.is_known(p)):
        text = f'the name table has "{point}", which is no point of the layout; {names.hint(point)}'
        log.warn("name-unknown", text)
    names.know(extra)
    return names


def _rows(path: Path, log: FindingLog) -> list[tuple[str, str, str, str]]:
    """Return label, point, ends and place of every row; in a draft, what has no name yet is no mistake."""
    try:
        lines = read_file(path).decode("utf-8-sig").splitlines()
    except (OSError, UnicodeDecodeError) as err:
        log.error("names-unreadable", f'the name table "{path.name}" cannot be read as UTF-8 text: {err}')
        return []
    lines = [line for line in lines if line.strip() and not line.lstrip().startswith("#")]
    mark = max(",;\t", key=lines[0].count) if lines else ","
    first, *rows = csv.reader(lines or [""], delimiter=mark)
    header = [normalise(h) for h in first]
    if header[:2] != ["label", "point"] or any(h not in ("ends", *NOTES) for h in header[2:]):
        text = f'the name table "{path.name}" must start with "label,point" or "label,point,ends"'
        log.error("names-header", f'{text}; found "{mark.join(header) or "nothing"}"')
        return []
    out = []
    for number, row in enumerate(rows, 1):
        cells = dict(zip(header, [*row, *[""] * len(header)], strict=False))
        if cells["point"].strip() or "guess" not in header:
            place = FindingLog(path.name).place(f"entry {number}")
            out.append((cells["label"], cells["point"], cells.get("ends", ""), place))
    return out


def _enter(names: Names, label: str, point: str, ends: str) -> tuple[str, str]:
    """Enter one row; return code and text of what is wrong with it, empty where nothing is."""
    points = [normalise(p) for p in re.split(r"\s*[|+>]\s*|\s+", point) if p]
    if not label or not points or len(points) > 2:
        return "names-row", f'expected a label and one point (or two for a link), found "{label}", "{point}"'
    if label.startswith("@"):
        try:
            place = tuple(float(t) for t in re.split(r"[,;\s]+", label[1:].strip()))
        except ValueError:
            place = ()
        if len(place) not in (2, 3) or len(points) != 1:
            return "names-place", f'expected "@x,y" or "@x,y,z" and one point, found "{label}"'
        names.places.append((place, points[0]))
    elif len(points) == 2:
        if ends not in ENDS:
            rules = ", ".join(ENDS)
            return "names-ends", f'a row with two points must say which end comes first, one of {rules}; found "{ends}"'
        names.links[fold(label)] = LinkLayer(points[0], points[1], ends)
    elif (other := names.labels.setdefault(fold(label), points[0])) != points[0]:
        return "names-twice", f'label "{label}" is given two points, {other} and {points[0]}'
    return "", ""
