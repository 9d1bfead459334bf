"""Layout files (TOML): the built-in ones and a user's own, read with everything that is wrong with them at once."""

from __future__ import annotations

import difflib
import tomllib
from collections.abc import Iterator, Mapping
from functools import cache
from pathlib import Path
from re import findall, fullmatch
from typing import Any

from kin3d.errors import Finding, LayoutError, raise_errors
from kin3d.linkage.layout import BarRole, Bodies, Drive, Guide, Layout, Part, Rocker, Slider
from kin3d.linkage.layout_faults import layout_faults
from kin3d.linkage.names import did_you_mean, normalise

_FOLDER = Path(__file__).with_name("layouts")
_TAKEN = ("travel", "rack", "heave", "roll", "pitch", "side", "status")  # names that no drive may have
_KEYS = {
    "": (
        *("name", "about", "bodies", "rack", "wheel", "sliders", "guides", "drives", "across", "parts"),
        *("points", "demo"),
    ),
    "wheel": ("body", "steering_axis"),
    "rack": ("points",),
    "sliders": ("point", "line"),
    "guides": ("point", "plane"),
    "drives": ("turns", "axis", "points", "along", "length"),
    "parts": (
        *("name", "key", "choices", "attach", "needs", "not_with", "points", "bodies", "across"),
        *("rocker", "spring", "bar"),
    ),
    "across": ("points", "bodies"),
    "rocker": ("body", "axis", "rod"),
    "spring": ("points",),
    "bar": ("form", "body", "axis", "link"),
}


def builtin_names() -> tuple[str, ...]:
    """Names of the layouts that come with the program, in lower case without hyphens, as they are looked up."""
    return tuple(sorted(f.stem.replace("_", " ") for f in _FOLDER.glob("*.toml")))


def told_names() -> str:
    """The same as they are told to people: ``"strut with A-arm", "twist beam"``."""
    return ", ".join(f'"{builtin(n).name}"' for n in builtin_names())


def plain(name: str) -> str:
    """A name as it is looked up, however it is written: ``strut with a arm``."""
    return " ".join(name.lower().replace("_", " ").replace("-", " ").split())


@cache
def builtin(name: str) -> Layout:
    """Return the built-in layout of that name; raises LayoutError with the names there are."""
    if name not in builtin_names():
        text = f'no layout "{name}"; built in: {told_names()}; or give the path of a layout file{_nearest(name)}'
        raise LayoutError(Finding("layout-unknown", text))
    file = _FOLDER / f"{name.replace(' ', '_')}.toml"
    data = tomllib.loads(file.read_text("utf-8"))
    return parse(data, f"layout {data['name']}")


def _nearest(name: str) -> str:
    """The layouts that may be meant: by a name that is near, or by a word of what they are."""
    near = difflib.get_close_matches(name, builtin_names(), 2)
    if not near:
        words = {w for w in name.split() if len(w) > 3}
        shared = {n: len(words & set(findall("[a-z]+", f"{n} {builtin(n).about.lower()}"))) for n in builtin_names()}
        near = [n for n, k in shared.items() if k == max(shared.values()) > 0]
    meant = " or ".join(f'"{builtin(n).name}"' for n in near)
    return f"; did you mean {meant}?" if meant else ""


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
                self.say("key-unknown", f'key "{key}" is not known; {did_you_mean(key, _KEYS[keys])}', where)
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
        guides=tuple(_guide(check, g) for g in check.tables(top, "guides")),
        drives=tuple(_drives(check, top.get("drives", {}))),
        parts=tuple(_part(check, p) for p in check.tables(top, "parts")),
        about=" ".join(check.text(top, "about", "top level").split()) if "about" in top else "",
        notes=_notes(check, top.get("points", {})),
        demo=_demo(check, top.get("demo", {})),
        **_across(check, top.get("across", {}), "[across]"),
    )
    # what the tables say of each other is looked at once each of them is as it should be
    raise_errors(check.findings or layout_faults(layout), LayoutError)
    return layout


def _notes(check: _Checker, data: Any) -> dict[str, str]:
    """Where each point is on the car, in words."""
    table = data if isinstance(data, dict) else {}
    if table is not data:
        check.say("layout-type", f"expected a table of points and words, {_found(data)}", "[points]")
    return {normalise(name): check.text(table, name, "[points]") for name in table}


def _demo(check: _Checker, data: Any) -> dict[str, tuple[float, float, float]]:
    """Places of an invented car with this layout, mm."""
    table = data if isinstance(data, dict) else {}
    if table is not data:
        check.say("layout-type", f"expected a table of points and their places, {_found(data)}", "[demo]")
    out: dict[str, tuple[float, float, float]] = {}
    for name, place in table.items():
        if not isinstance(place, list) or len(place) != 3 or not all(isinstance(c, int | float) for c in place):
            check.say("layout-type", f"{name}: expected three numbers in mm, {_found(place)}", "[demo]")
        else:
            x, y, z = (float(c) for c in place)
            out[normalise(name)] = (x, y, z)
    return out


def _across(check: _Checker, data: Any, where: str) -> dict[str, tuple[str, ...]]:
    table = check.table(data, where, "across")
    return {
        "across_points": check.points(table.get("points", []), f"{where} points"),
        "across_bodies": check.names(table.get("bodies", []), f"{where} bodies"),
    }


def _slider(check: _Checker, data: Any) -> Slider:
    table = check.table(data, "[[sliders]]", "sliders")
    point = normalise(check.text(table, "point", "[[sliders]]"))
    return Slider(point, check.pair(table.get("line"), "[[sliders]] line"))


def _guide(check: _Checker, data: Any) -> Guide:
    table = check.table(data, "[[guides]]", "guides")
    plane = check.points(table.get("plane"), "[[guides]] plane", 3)
    p, q, r = plane if len(plane) == 3 else ("", "", "")
    return Guide(normalise(check.text(table, "point", "[[guides]]")), (p, q, r))


def _drives(check: _Checker, data: Any) -> Iterator[Drive]:
    if not isinstance(data, dict):
        check.say("layout-type", f"expected tables headed [drives.NAME], {_found(data)}", "[drives]")
        return
    for name, given in data.items():
        where = f"[drives.{name}]"
        table = check.table(given, where, "drives")
        if not fullmatch("[a-z]+(_[a-z]+)*", name) or name in _TAKEN:
            text = f'"{name}" cannot be the name of a drive; lower case and underscores are expected'
            check.say("drive-name", f"{text}, and none of {', '.join(_TAKEN)}", where)
        kinds = [k for k in ("turns", "points", "length") if k in table]
        if len(kinds) != 1:
            found = " and ".join(kinds) or "none of them"
            text = f"exactly one of turns (with axis), points (with along) and length is expected, found {found}"
            check.say("drive-kind", text, where)
            continue
        line = {"turns": "axis", "points": "along", "length": "length"}[kinds[0]]
        extra = [k for k in ("axis", "along") if k in table and k != line]
        if extra:
            check.say("drive-kind", f"{extra[0]} does not go with {kinds[0]}; {line} is expected", where)
        ends = check.pair(table.get(line), f"{where} {line}")
        if kinds[0] == "turns":
            yield Drive(name, "turns", ends, body=check.text(table, "turns", where))
        elif kinds[0] == "points":
            yield Drive(name, "along", ends, check.points(table["points"], f"{where} points"))
        else:
            yield Drive(name, "length", ends)


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
        **_across(check, table.get("across", {}), f"{where} across"),
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
