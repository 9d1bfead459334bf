"""Layouts and linkages: how points make bodies, as data. A new suspension is a new file, no new code.

A layout says which points each body has, which points the rack moves, which body carries the wheel, and which parts
come and go with the car file; `kin3d.linkage.layout_file` reads one. `resolve` makes the linkage of one corner of it,
once it is known which points and keys the car file has. Everything else (joints, unknowns, equations, mobility)
follows from the points that bodies share.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Literal

from kin3d.errors import Finding, LayoutError, raise_errors

CHASSIS = "chassis"
WHEEL_CENTRE = "wheel_centre"
WHEEL_AXIS = "wheel_axis"

Bodies = dict[str, tuple[str, ...]]


@dataclass(frozen=True, slots=True)
class Slider:
    """A point that stays on the line through two other points: a strut's rod in its tube."""

    point: str
    line: tuple[str, str]


@dataclass(frozen=True, slots=True)
class Guide:
    """A point that keeps its design distance from the plane through three points of a body."""

    point: str
    plane: tuple[str, str, str]


@dataclass(frozen=True, slots=True)
class Drive:
    """What a car file's user moves beside travel and rack; which of the three it is, `kind` says.

    Attributes
    ----------
    name : str
        As in ``--drive NAME=…``; on each side of an axle that is one system a drive of one name.
    kind : {"turns", "along", "length"}
        A body turned about the line of two points of its own and of the chassis, right hand from the first to the
        second; points placed along the line from the first to the second; a length beyond that of the design.
    line : tuple of str
        The two points.
    points : tuple of str
        Points that are placed by it: all of the body's own, or those named; none for a length.
    body : str
        The body that turns; empty for the others.
    """

    name: str
    kind: Literal["turns", "along", "length"]
    line: tuple[str, str]
    points: tuple[str, ...] = ()
    body: str = ""

    @property
    def key(self) -> str:
        """What tells it from the drive of the same name on the other side."""
        return " ".join((self.name, *self.line))

    @property
    def unit(self) -> str:
        """Unit in which it is asked for: degrees or mm."""
        return "deg" if self.kind == "turns" else "mm"


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
    guides: tuple[Guide, ...] = ()
    drives: tuple[Drive, ...] = ()
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
    steering_axis : tuple of tuple of str, or None
        Points of the lower and of the upper ball joint; a joint stands in the mean of its points.
    rack_turned : tuple of str
        Points of the rack that go along its axis as seen from the other side of the car: those of a mirrored side.
    wheel_centres : tuple of str
        One, or the left one and the right one where both sides are one system.
    """

    layout: str
    points: tuple[str, ...]
    bodies: Bodies
    fixed: tuple[str, ...]
    rack: tuple[str, ...]
    wheel_body: str
    steering_axis: tuple[tuple[str, ...], tuple[str, ...]] | None = None
    sliders: tuple[Slider, ...] = ()
    guides: tuple[Guide, ...] = ()
    drives: tuple[Drive, ...] = ()
    rocker: Rocker | None = None
    spring: tuple[str, str] | None = None
    bar: BarRole | None = None
    parts: tuple[str, ...] = ()
    rack_turned: tuple[str, ...] = ()
    wheel_centres: tuple[str, ...] = (WHEEL_CENTRE,)

    @property
    def both_sides(self) -> bool:
        """Whether this is the linkage of both sides of an axle, with two wheels."""
        return len(self.wheel_centres) > 1

    @property
    def driven(self) -> dict[str, str]:
        """Drives beside travel and rack by name, with their units."""
        return {d.name: d.unit for d in self.drives}

    @property
    def steers(self) -> str:
        """The drive that steers: the rack, else the only drive; empty where there is none, or where there are more."""
        names = tuple(self.driven)
        return "rack" if self.rack else (names[0] if len(names) == 1 else "")

    def index(self, name: str) -> int:
        """Row of a point in a coordinate array of shape (n, 3)."""
        return self.points.index(name)


def resolve(
    layout: Layout,
    present: Iterable[str],
    keys: Mapping[str, str | None],
    place: str = "",
    places: Mapping[str, str] | None = None,
    attached: Mapping[str, str] | None = None,
) -> Linkage:
    """Make the linkage of a layout, given the points of the table and the car file's keys.

    Parameters
    ----------
    layout : Layout
        The layout to fill.
    present : iterable of str
        Point names of the point table (``wheel_axis`` may be among them or not).
    keys : mapping
        Values of the car file's keys that call for parts (``rod_on``); None or missing: the part is not there.
    place : str
        The point table's name, for messages.
    places : mapping, optional
        Where each point stands in the table, for messages about points that are there and should not be.
    attached : mapping of str to str, optional
        Points beyond the layout's that elements of the car file use, and the body that carries each.

    Raises
    ------
    LayoutError
        With every missing point, every unused point (nearest name suggested), and every wrong key value.
    """
    have = tuple(present)
    parts, findings = _parts(layout, have, keys, place)
    bodies = _merge(layout, parts, keys)
    findings += _attach(bodies, attached or {}, place)
    needed = _needed(layout, parts, bodies)
    unused = [n for n in have if n not in needed and n != WHEEL_AXIS]
    for name in needed:
        if name not in have:
            findings.append(_missing(name, unused, bodies, layout, place))
    findings += [_unused(name, layout, needed, (places or {}).get(name, place)) for name in unused]
    raise_errors(findings, LayoutError)
    fixed = bodies.pop(CHASSIS, ())
    axis = layout.steering_axis
    turned = {d.body: tuple(p for p in bodies[d.body] if p not in d.line) for d in layout.drives if d.body}
    drives = tuple(replace(d, points=turned[d.body]) if d.body else d for d in layout.drives)
    with_role = next((p for p in parts if p.rocker), None)
    return Linkage(
        layout=layout.name,
        points=(*needed, WHEEL_AXIS),
        bodies=bodies,
        fixed=fixed,
        rack=layout.rack,
        wheel_body=layout.wheel_body,
        steering_axis=None if axis is None else ((axis[0],), (axis[1],)),
        sliders=layout.sliders,
        guides=layout.guides,
        drives=drives,
        rocker=with_role.rocker if with_role else None,
        spring=next((p.spring for p in parts if p.spring), None),
        bar=next((p.bar for p in parts if p.bar), None),
        parts=tuple(p.name for p in parts),
    )


def points_needed(layout: Layout, keys: Mapping[str, str | None]) -> tuple[str, ...]:
    """Points that a layout cannot do without, given the keys that call for parts (see `resolve`)."""
    parts, _ = _parts(layout, (), keys, "")
    return tuple(_needed(layout, parts, _merge(layout, parts, keys)))


def _needed(layout: Layout, parts: Iterable[Part], bodies: Bodies) -> dict[str, None]:
    needed = dict.fromkeys(n for points in bodies.values() for n in points if n != WHEEL_AXIS)
    needed |= dict.fromkeys([*layout.rack, *(n for p in parts for n in p.spring or ())])
    needed |= dict.fromkeys(n for s in layout.sliders for n in (s.point, *s.line))
    needed |= dict.fromkeys(n for g in layout.guides for n in (g.point, *g.plane))
    return needed | dict.fromkeys(n for d in layout.drives for n in d.line)


def _attach(bodies: Bodies, attached: Mapping[str, str], place: str) -> list[Finding]:
    """Add points to bodies; findings for bodies that are not there."""
    findings = []
    for point, body in attached.items():
        if body not in bodies:
            near = difflib.get_close_matches(body, bodies, 1)
            hint = f'; did you mean "{near[0]}"?' if near else f"; bodies here: {', '.join(bodies)}"
            text = f'point "{point}" is to go on body "{body}", which is not there{hint}'
            findings.append(Finding("body-unknown", text, place))
        elif others := [b for b, points in bodies.items() if point in points and b != body]:
            text = f'point "{point}" is to go on body "{body}" and is on "{others[0]}" already; take another name'
            findings.append(Finding("point-on-two-bodies", text, place))
        elif point not in bodies[body]:
            bodies[body] = (*bodies[body], point)
    return findings


def _parts(
    layout: Layout, have: tuple[str, ...], keys: Mapping[str, str | None], place: str
) -> tuple[list[Part], list[Finding]]:
    parts: list[Part] = []
    findings: list[Finding] = []
    for part in layout.parts:
        value = keys.get(part.key) if part.key else None
        if part.key and value is not None and part.choices and value not in part.choices:
            text = f'{part.key} = "{value}" is not one of {", ".join(part.choices)}'
            findings.append(Finding("choice-unknown", text, place))
        elif part.key and value is not None and part.attach and value not in _body_names(layout):
            text = f'{part.key} = "{value}" is not a body of layout "{layout.name}": {", ".join(_body_names(layout))}'
            findings.append(Finding("body-unknown", text, place))
        elif part.key and value is not None and part.not_with and keys.get(part.not_with):
            text = f"{part.key} and {part.not_with} are both given; one of the two is expected"
            findings.append(Finding("keys-conflict", text, place))
        elif (part.key and value is not None) or (not part.key and _called_for(part, have, keys)):
            parts.append(part)
    return parts, findings


def _body_names(layout: Layout) -> tuple[str, ...]:
    return tuple(dict.fromkeys(b for bodies in (layout.bodies, *(p.bodies for p in layout.parts)) for b in bodies))


def _called_for(part: Part, have: Iterable[str], keys: Mapping[str, str | None]) -> bool:
    """Whether a part without a key is there: the table has one of its points, and what it needs is there."""
    return bool(set(part.points) & set(have)) and bool(not part.needs or keys.get(part.needs))


def _merge(layout: Layout, parts: Iterable[Part], keys: Mapping[str, str | None]) -> Bodies:
    merged: dict[str, dict[str, None]] = {CHASSIS: {}}
    for source in (layout.bodies, *(p.bodies for p in parts)):
        for body, points in source.items():
            merged.setdefault(body, {}).update(dict.fromkeys(points))
    for part in parts:
        if part.key and part.attach:
            merged.setdefault(str(keys[part.key]), {}).update(dict.fromkeys(part.attach))
    merged.setdefault(layout.wheel_body, {}).update({WHEEL_CENTRE: None, WHEEL_AXIS: None})
    chassis_only = (n for p in parts for n in p.spring or () if not any(n in b for b in merged.values()))
    merged[CHASSIS].update(dict.fromkeys(chassis_only))
    return {body: tuple(points) for body, points in merged.items()}


def _missing(name: str, unused: list[str], bodies: Bodies, layout: Layout, place: str) -> Finding:
    sliding = any(name in (s.point, *s.line) for s in layout.sliders)
    other = "the rack" if name in layout.rack else ("a slider" if sliding else "the spring")
    owners = " and ".join(f'"{b}"' for b, points in bodies.items() if name in points) or other
    near = difflib.get_close_matches(name, unused, 1)
    hint = f'; the table has "{near[0]}", which nothing uses: is it this point?' if near else ""
    verb = "need" if " and " in owners else "needs"
    return Finding("point-missing", f'point "{name}" is missing; {owners} {verb} it{hint}', place)


def _unused(name: str, layout: Layout, needed: Iterable[str], place: str) -> Finding:
    owned = [p for p in layout.parts if name in (*p.attach, *p.points, *(n for b in p.bodies.values() for n in b))]
    waiting = [(p.name, p.key or p.needs) for p in owned if p.key or p.needs]
    if waiting:
        part, key = waiting[0]
        text = f'point "{name}" belongs to {part}, which is there only when the car file has {key}'
        return Finding("point-without-part", text, place)
    near = difflib.get_close_matches(name, [*needed, *layout.known_points()], 1)
    hint = f'did you mean "{near[0]}"?' if near else f"layout {layout.name} knows: {', '.join(layout.known_points())}"
    return Finding("point-unknown", f'point "{name}" is not one of layout "{layout.name}"; {hint}', place)
