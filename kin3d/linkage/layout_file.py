"""Layout files (TOML): the built-in ones and a user's own, read with everything that is wrong with them at once."""

from __future__ import annotations

import difflib
import tomllib
from collections.abc import Iterable, Mapping
from functools import cache
from pathlib import Path
from typing import Any

from kin3d.errors import Finding, LayoutError, raise_errors
from kin3d.linkage.layout import CHASSIS, WHEEL_AXIS, WHEEL_CENTRE, BarRole, Bodies, Layout, Part, Rocker, Slider
from kin3d.linkage.names import normalise

_FOLDER = Path(__file__).with_name("layouts")
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


def builtin_names() -> tuple[str, ...]:
    """Names of the layouts that come with the program."""
    return tuple(sorted(f.stem.replace("_", " ") for f in _FOLDER.glob("*.toml")))


@cache
def builtin(name: str) -> Layout:
    """Return the built-in layout of that name; raises LayoutError with the names there are."""
    if name not in builtin_names():
        known = ", ".join(f'"{n}"' for n in builtin_names())
        raise LayoutError(
            Finding("layout-unknown", f'no layout "{name}"; built in: {known}; or give the path of a layout file')
        )
    file = _FOLDER / f"{name.replace(' ', '_')}.toml"
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


def layout_faults(layout: Layout) -> list[Finding]:
    """Names that a layout does not have, and points that cannot do what is asked of them."""
    faults = _Faults(layout)
    faults.wheel()
    faults.rack()
    faults.sliders()
    for part in layout.parts:
        faults.part(part)
    return faults.findings


class _Faults:
    """Collects the findings of one layout, with all its parts taken as present."""

    def __init__(self, layout: Layout) -> None:
        self.layout = layout
        self.findings: list[Finding] = []
        self.bodies: dict[str, set[str]] = {CHASSIS: set()}
        for source in (layout.bodies, *(p.bodies for p in layout.parts)):
            for body, points in source.items():
                self.bodies.setdefault(body, set()).update(points)
        for part in layout.parts:
            for body in part.choices if part.attach else ():
                self.bodies.get(body, set()).update(part.attach)
        self.bodies.get(layout.wheel_body, set()).update((WHEEL_CENTRE, WHEEL_AXIS))
        free = {n for p in layout.parts if p.attach and not p.choices for n in p.attach}
        self.points = set().union(*self.bodies.values(), layout.rack, free)

    def say(self, code: str, text: str, where: str) -> None:
        self.findings.append(Finding(code, text, f"{self.layout.source}, {where}"))

    def body(self, name: str, where: str) -> bool:
        """Whether there is such a body; a finding when there is none."""
        if name in self.bodies:
            return True
        self.say("body-unknown", f'body "{name}" is not one of the bodies; {_hint(name, self.bodies)}', where)
        return False

    def known(self, names: Iterable[str], where: str, on: str = "") -> bool:
        """Whether all points are on the body `on`, or on any; a finding for each that is not."""
        there = self.bodies.get(on, set()) if on else self.points
        lacking = [n for n in names if n not in there]
        for name in lacking:
            place = f'body "{on}"' if on else "any body"
            self.say("point-unknown", f'point "{name}" is not on {place}; {_hint(name, there)}', where)
        return not lacking

    def wheel(self) -> None:
        where = "[wheel]"
        if self.layout.wheel_body == CHASSIS:
            self.say("wheel-fixed", "the wheel's body is the chassis, which does not move; name the upright", where)
        else:
            self.body(self.layout.wheel_body, where)
        axis = self.layout.steering_axis
        if axis and self.known(axis, where) and not self._moving(axis):
            text = f"steering_axis {axis[0]}, {axis[1]} is held by the chassis; name the lower and the upper joint"
            self.say("steering-axis-fixed", text, where)
        for held, what in ((self.bodies[CHASSIS], "the chassis"), (self.layout.rack, "the rack")):
            if WHEEL_CENTRE in held:
                self.say("wheel-fixed", f"{WHEEL_CENTRE} is on {what}, which holds it; take it out there", where)

    def _moving(self, points: Iterable[str]) -> bool:
        return any(p not in self.bodies[CHASSIS] for p in points)

    def rack(self) -> None:
        for point in self.layout.rack:
            where = "[rack]"
            on = [b for b, points in self.bodies.items() if point in points]
            if CHASSIS in on:
                text = f'point "{point}" is on the chassis and moves with the rack; take it out of one of the two'
                self.say("rack-fixed", text, where)
            elif not on and point not in (n for p in self.layout.parts for n in p.attach):
                text = f'point "{point}" is on no body, so that it moves nothing; name the inner end of the tie link'
                self.say("rack-loose", text, where)

    def sliders(self) -> None:
        for slider in self.layout.sliders:
            where = "[[sliders]]"
            names = (slider.point, *slider.line)
            if self.known(names, where) and len(set(names)) < len(names):
                text = f'point "{slider.point}" slides on a line through itself; two other points are expected'
                self.say("slider-itself", text, where)

    def part(self, part: Part) -> None:
        where = f'[[parts]] "{part.name}"'
        keys = [p.key for p in self.layout.parts if p.key]
        if not part.key and not part.points:
            text = "has neither key nor points, so that it would never be there; give one of the two"
            self.say("part-never", text, where)
        for name, value in (("needs", part.needs), ("not_with", part.not_with)):
            if value and value not in keys:
                self.say("key-unknown", f'{name} = "{value}" is not the key of a part; {_hint(value, keys)}', where)
        for body in part.choices if part.attach else ():
            self.body(body, f"{where} choices")
        if part.rocker:
            self._rocker(part.rocker, f"{where} rocker")
        if part.bar:
            self._bar(part.bar, f"{where} bar")

    def _rocker(self, rocker: Rocker, where: str) -> None:
        outer, inner = rocker.rod
        if not self.body(rocker.body, where) or not self.known((*rocker.axis, inner), where, rocker.body):
            return
        if not any({outer, inner} <= points for body, points in self.bodies.items() if body != rocker.body):
            text = f"no body joins {outer} and {inner}; a rod with these two points is expected"
            self.say("rod-missing", text, where)
        elif not self._moving(rocker.rod):
            self.say("rod-fixed", f"the rod {outer}, {inner} is held by the chassis at both ends", where)

    def _bar(self, bar: BarRole, where: str) -> None:
        if self.body(bar.body, where):
            self.known((*bar.axis, bar.link[1]), where, bar.body)
            self.known(bar.link[:1], where)


def _hint(name: str, known: Iterable[str]) -> str:
    names = sorted(known)
    near = difflib.get_close_matches(name, names, 1)
    return f'did you mean "{near[0]}"?' if near else f"there are: {', '.join(names) or 'none'}"
