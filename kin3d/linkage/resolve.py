"""From a layout to a linkage, once it is known which points and keys the car file has."""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Mapping
from dataclasses import replace

from kin3d.errors import Finding, LayoutError, raise_errors
from kin3d.linkage.across import corner_view
from kin3d.linkage.layout import CHASSIS, WHEEL_AXIS, WHEEL_CENTRE, Across, Bodies, Layout, Linkage, Part
from kin3d.linkage.names import did_you_mean

MOST_UNUSED = 40  # so many points that are not of the layout are told one by one


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
        Points beyond the layout's that elements of the car file use, and the body that carries each; empty: the
        wheel's.

    Raises
    ------
    LayoutError
        With every missing point, every unused point (nearest name suggested), and every wrong key value.
    """
    have = tuple(present)
    parts, findings = _parts(layout, have, keys, place)
    bodies = _merge(layout, parts, keys)
    on = {point: body or layout.wheel_body for point, body in (attached or {}).items()}
    findings += _attach(bodies, on, place)
    across = _across(layout, parts, attached or {})
    needed = dict.fromkeys(map(across.bare, _needed(layout, parts, bodies)))
    findings += [_sided(n, across, place) for n in have if across.side_of(n)]
    unused = [n for n in have if n not in needed and n != WHEEL_AXIS and not across.side_of(n)]
    for name in needed:
        if name not in have:
            findings.append(_missing(name, unused, bodies, layout, place))
    findings += [_unused(name, layout, needed, (places or {}).get(name, place)) for name in unused[:MOST_UNUSED]]
    if len(unused) > MOST_UNUSED:
        more = len(unused) - MOST_UNUSED
        text = f'has {more:,} more points that nothing uses; is this the table of something else?'
        findings.append(Finding("points-unknown", text, place))
    raise_errors(findings, LayoutError)
    fixed = bodies.pop(CHASSIS, ())
    axis = layout.steering_axis
    turned = {d.body: tuple(p for p in bodies[d.body] if p not in d.line) for d in layout.drives if d.body}
    drives = tuple(replace(d, points=turned[d.body]) if d.body else d for d in layout.drives)
    with_role = next((p for p in parts if p.rocker), None)
    made = Linkage(
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
    return corner_view(made, across) if across.there else made


def _across(layout: Layout, parts: Iterable[Part], attached: Mapping[str, str]) -> Across:
    """What stands once with the parts that are there."""
    every: tuple[Layout | Part, ...] = (layout, *parts)
    known = layout.across.known | set(attached)
    points = frozenset(n for e in every for n in e.across_points)
    return Across(points, frozenset(n for e in every for n in e.across_bodies), known)


def _sided(name: str, across: Across, place: str) -> Finding:
    side = across.side_of(name)
    text = (
        f'point "{name}" is a name for the {side} one of {across.bare(name)}, which stands on both sides; '
        f"give {across.bare(name)} alone, and a side of its own by other_points"
    )
    return Finding("point-sided", text, place)


def points_needed(layout: Layout, keys: Mapping[str, str | None]) -> tuple[str, ...]:
    """Points that a layout cannot do without, given the keys that call for parts (see `resolve`)."""
    parts, _ = _parts(layout, (), keys, "")
    needed = _needed(layout, parts, _merge(layout, parts, keys))
    return tuple(dict.fromkeys(map(layout.across.bare, needed)))


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
            hint = did_you_mean(body, bodies, f"bodies here: {', '.join(bodies)}")
            text = f'point "{point}" is to go on body "{body}", which is not there; {hint}'
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
    near = difflib.get_close_matches(name, unused[:MOST_UNUSED], 1)
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
    known = layout.known_points()
    hint = did_you_mean(name, [*needed, *known], f"layout {layout.name} knows: {', '.join(known)}")
    return Finding("point-unknown", f'point "{name}" is not one of layout "{layout.name}"; {hint}', place)
