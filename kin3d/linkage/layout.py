"""Layouts: how points make bodies, as data read from TOML. A new suspension is a new file, no new code.

A layout file says which points each body has, which points the rack moves, which body carries the wheel,
and which parts come and go with the car file. Everything else (joints, unknowns, equations, mobility)
follows from the points that bodies share.
"""

from __future__ import annotations

import difflib
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from importlib import resources
from typing import Any

from kin3d.errors import Finding, LayoutError, raise_errors
from kin3d.linkage.names import normalise

CHASSIS = "chassis"
WHEEL_CENTRE = "wheel_centre"
WHEEL_AXIS = "wheel_axis"
_KEYS = {
    "": ("name", "about", "bodies", "rack", "wheel", "sliders", "parts"),
    "wheel": ("body", "steering_axis"),
    "rack": ("points",),
    "sliders": ("point", "line"),
    "parts": ("name", "key", "choices", "attach", "needs", "not_with", "points", "bodies", "rocker", "spring", "bar"),
    "rocker": ("body", "axis", "rod"),
    "spring": ("points",),
    "bar": ("form", "body", "axis", "link"),
}

Bodies = dict[str, tuple[str, ...]]


@dataclass(frozen=True, slots=True)
class Slider:
    """A point that stays on the line through two other points: a strut's rod in its tube."""

    point: str
    line: tuple[str, str]


@dataclass(frozen=True, slots=True)
class Rocker:
    """The body that turns on the chassis, its pivot line (first to second point) and its rod (outer, inner)."""

    body: str
    axis: tuple[str, str]
    rod: tuple[str, str]


@dataclass(frozen=True, slots=True)
class BarRole:
    """An anti-roll bar: its arm, the line that the arm turns about, and its link (point driven, point of the arm).

    `form` is "u" for two arms on one torsion bar, each turned by its own side; "t" for one T on a hinge across the
    car, whose stem twists as its two ends move apart.
    """

    form: str
    body: str
    axis: tuple[str, str]
    link: tuple[str, str]


@dataclass(frozen=True, slots=True)
class Part:
    """Bodies and roles that are there on a condition.

    `key` is the car file's key whose presence calls for the part and whose value, one of `choices`, names
    the body that takes the points of `attach`. A part without a key is there when the table has all of `points`.
    `not_with` is a key of another part that cannot be there at the same time.
    """

    name: str
    bodies: Bodies
    key: str | None = None
    choices: tuple[str, ...] = ()
    attach: tuple[str, ...] = ()
    needs: str | None = None
    not_with: str | None = None
    points: tuple[str, ...] = ()
    rocker: Rocker | None = None
    spring: tuple[str, str] | None = None
    bar: BarRole | None = None


@dataclass(frozen=True, slots=True)
class Layout:
    """A layout as its file gives it, before it is known which points and keys the car file has."""

    name: str
    source: str
    bodies: Bodies
    wheel_body: str
    rack: tuple[str, ...] = ()
    steering_axis: tuple[str, str] | None = None
    sliders: tuple[Slider, ...] = ()
    parts: tuple[Part, ...] = ()

    def keys(self) -> dict[str, tuple[str, ...]]:
        """Car-file keys that this layout knows, with the values each may have."""
        return {p.key: p.choices for p in self.parts if p.key}

    def known_points(self) -> tuple[str, ...]:
        """Every point name that this layout can use."""
        names = [n for b in self.bodies.values() for n in b] + [WHEEL_CENTRE, WHEEL_AXIS, *self.rack]
        for part in self.parts:
            names += [n for b in part.bodies.values() for n in b] + [*part.attach, *part.points]
            names += part.spring or ()
        return tuple(dict.fromkeys(names))


@dataclass(frozen=True, slots=True)
class Linkage:
    """Points and bodies of one corner: a layout once its points are known. Holds no coordinates.

    Attributes
    ----------
    points : tuple of str
        Order of the points in every coordinate array of this linkage.
    bodies : dict of str to tuple of str
        Moving bodies and their points.
    fixed : tuple of str
        Points of the chassis.
    rack : tuple of str
        Points that the rack moves.
    """

    layout: str
    points: tuple[str, ...]
    bodies: Bodies
    fixed: tuple[str, ...]
    rack: tuple[str, ...]
    wheel_body: str
    steering_axis: tuple[str, str] | None = None
    sliders: tuple[Slider, ...] = ()
    rocker: Rocker | None = None
    spring: tuple[str, str] | None = None
    bar: BarRole | None = None
    parts: tuple[str, ...] = ()

    def index(self, name: str) -> int:
        """Row of a point in a coordinate array of shape (n, 3)."""
        return self.points.index(name)


def builtin_names() -> tuple[str, ...]:
    """Names of the layouts that come with the program."""
    folder = resources.files("kin3d.linkage") / "layouts"
    return tuple(
        sorted(f.name.removesuffix(".toml").replace("_", " ") for f in folder.iterdir() if f.name.endswith(".toml"))
    )


def builtin(name: str) -> Layout:
    """Return the built-in layout of that name; raises LayoutError with the names there are."""
    file = resources.files("kin3d.linkage") / "layouts" / f"{name.replace(' ', '_')}.toml"
    if name not in builtin_names():
        known = ", ".join(f'"{n}"' for n in builtin_names())
        raise LayoutError(
            Finding("layout-unknown", f'no layout "{name}"; built in: {known}; or give the path of a layout file')
        )
    return parse(tomllib.loads(file.read_text("utf-8")), f"layout {name}")


class _Checker:
    """Takes values out of a parsed TOML table and collects what is wrong with them."""

    def __init__(self, place: str) -> None:
        self.place = place
        self.findings: list[Finding] = []

    def say(self, code: str, text: str, where: str = "") -> None:
        self.findings.append(Finding(code, text, f"{self.place}, {where}" if where else self.place))

    def table(self, data: Any, where: str, keys: str) -> Mapping[str, Any]:
        if not isinstance(data, dict):
            self.say("layout-type", f"expected a table, found {data!r}", where)
            return {}
        for key in data:
            if key not in _KEYS[keys]:
                near = difflib.get_close_matches(key, _KEYS[keys], 1)
                hint = f'; did you mean "{near[0]}"?' if near else f"; known here: {', '.join(_KEYS[keys])}"
                self.say("key-unknown", f'key "{key}" is not known{hint}', where)
        return data

    def tables(self, data: Mapping[str, Any], key: str) -> list[Any]:
        value = data.get(key, [])
        if isinstance(value, list):
            return value
        self.say("layout-type", f"expected tables headed [[{key}]], found {value!r}", key)
        return []

    def text(self, data: Mapping[str, Any], key: str, where: str) -> str:
        value = data.get(key)
        if isinstance(value, str) and value.strip():
            return value
        found = f"found {value!r}" if key in data else "it is missing"
        self.say("layout-type", f'key "{key}" must be a text, {found}', where)
        return ""

    def names(self, value: Any, where: str) -> tuple[str, ...]:
        """A list of names as they are written, of bodies for instance."""
        if not isinstance(value, list) or not all(isinstance(v, str) and v.strip() for v in value):
            self.say("layout-type", f"expected a list of names, {_found(value)}", where)
            return ()
        return tuple(value)

    def points(self, value: Any, where: str, count: int | None = None) -> tuple[str, ...]:
        """A list of point names, all different, written as the program writes them."""
        good = isinstance(value, list) and all(isinstance(v, str) and normalise(v) for v in value)
        if not good or (count is not None and len(value) != count):
            wanted = f"{count} point names" if count else "point names"
            self.say("layout-type", f"expected a list of {wanted}, {_found(value)}", where)
            return ()
        names = tuple(normalise(v) for v in value)
        for name in dict.fromkeys(n for n in names if names.count(n) > 1):
            self.say("point-twice", f'point "{name}" stands twice in one list; different points are expected', where)
        return tuple(dict.fromkeys(names))

    def pair(self, value: Any, where: str) -> tuple[str, str]:
        found = self.points(value, where, 2)
        return (found[0], found[1]) if len(found) == 2 else ("", "")

    def bodies(self, value: Any, where: str) -> Bodies:
        if not isinstance(value, dict):
            self.say("layout-type", f"expected a table of bodies and their points, {_found(value)}", where)
            return {}
        return {body: self.points(points, f'{where} "{body}"') for body, points in value.items()}


def _found(value: Any) -> str:
    return "it is missing" if value is None else f"found {value!r}"


def parse(data: Mapping[str, Any], place: str) -> Layout:
    """Make a Layout of a parsed TOML table; raises LayoutError with everything that is wrong with it."""
    check = _Checker(place)
    top = check.table(dict(data), "", "")
    bodies = check.bodies(top.get("bodies"), "[bodies]")
    wheel = check.table(top.get("wheel", {}), "[wheel]", "wheel")
    body = check.text(wheel, "body", "[wheel]")
    rack = check.table(top.get("rack", {}), "[rack]", "rack")
    axis = wheel.get("steering_axis")
    layout = Layout(
        name=check.text(top, "name", "top level"),
        source=place,
        bodies=bodies,
        wheel_body=body,
        rack=check.points(rack.get("points", []), "[rack] points"),
        steering_axis=None if axis is None else check.pair(axis, "[wheel] steering_axis"),
        sliders=tuple(_slider(check, s) for s in check.tables(top, "sliders")),
        parts=tuple(_part(check, p) for p in check.tables(top, "parts")),
    )
    from kin3d.linkage.faults import layout_faults  # which needs the classes above

    # what the tables say of each other is looked at once each of them is as it should be
    raise_errors(check.findings or layout_faults(layout), LayoutError)
    return layout


def _slider(check: _Checker, data: Any) -> Slider:
    table = check.table(data, "[[sliders]]", "sliders")
    return Slider(check.text(table, "point", "[[sliders]]"), check.pair(table.get("line"), "[[sliders]] line"))


def _part(check: _Checker, data: Any) -> Part:
    table = check.table(data, "[[parts]]", "parts")
    name = check.text(table, "name", "[[parts]]")
    where = f'[[parts]] "{name}"'
    rocker = table.get("rocker")
    spring = table.get("spring")
    bar = table.get("bar")
    return Part(
        name=name,
        bodies=check.bodies(table.get("bodies", {}), f"{where} bodies"),
        key=check.text(table, "key", where) if "key" in table else None,
        choices=check.names(table.get("choices", []), f"{where} choices"),
        attach=check.points(table.get("attach", []), f"{where} attach"),
        needs=check.text(table, "needs", where) if "needs" in table else None,
        not_with=check.text(table, "not_with", where) if "not_with" in table else None,
        points=check.points(table.get("points", []), f"{where} points"),
        rocker=None if rocker is None else _rocker(check, rocker, where),
        spring=None if spring is None else check.pair(check.table(spring, where, "spring").get("points"), where),
        bar=None if bar is None else _bar(check, bar, where),
    )


def _bar(check: _Checker, data: Any, where: str) -> BarRole:
    table = check.table(data, f"{where} bar", "bar")
    form = check.text(table, "form", where)
    if form not in ("u", "t", ""):
        check.say("layout-type", f'bar form is "{form}"; "u" or "t" is expected', where)
    axis, link = (check.pair(table.get(key), f"{where} bar {key}") for key in ("axis", "link"))
    return BarRole(form, check.text(table, "body", where), axis, link)


def _rocker(check: _Checker, data: Any, where: str) -> Rocker:
    table = check.table(data, f"{where} rocker", "rocker")
    return Rocker(
        check.text(table, "body", where),
        check.pair(table.get("axis"), f"{where} rocker axis"),
        check.pair(table.get("rod"), f"{where} rocker rod"),
    )
