"""What stands once in the car and joins both sides: names of points and bodies, and the linkage of both sides as one.

A point that stands once goes by its name; every other point stands on both sides, ``left_NAME`` and ``right_NAME``. On
a body of each side a name means that side's point, on a body that stands once both sides' points.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator
from dataclasses import replace

from kin3d.linkage.layout import SIDES, WHEEL_CENTRE, Across, Bodies, Drive, Guide, Linkage, Slider
from kin3d.linkage.names import Side


def corner_view(raw: Linkage, across: Across) -> Linkage:
    """The linkage as one side sees it: points as the table names them; what only one side has is left out."""
    bodies = {b: tuple(p for p in points if across.side_of(p) is None) for b, points in raw.bodies.items()}
    fixed = tuple(p for p in raw.fixed if across.side_of(p) is None)
    return replace(raw, bodies=bodies, fixed=fixed, across=across, system=both_sides(raw, across))


def both_sides(raw: Linkage, across: Across) -> Linkage:
    """The linkage of both sides as one system, with two wheels.

    Parameters
    ----------
    raw : Linkage
        Bodies with the names of the layout, some with a side.
    across : Across
    """
    bodies: Bodies = {}
    for body, points in raw.bodies.items():
        if body in across.bodies:
            bodies[body] = across.every(points)
        else:
            bodies |= {f"{side} {body}": tuple(across.on(p, side) for p in points) for side in SIDES}
    return replace(
        raw,
        points=(*(p for p in raw.points if p in across.points), *_sided(raw.points, across)),
        bodies=bodies,
        fixed=across.every(raw.fixed),
        rack=across.every(raw.rack),
        steering_axis=None,
        sliders=tuple(dict.fromkeys(_sliders(raw.sliders, across))),
        guides=tuple(dict.fromkeys(_guides(raw.guides, across))),
        drives=tuple(dict.fromkeys(_drives(raw.drives, bodies, across))),
        rocker=None,
        spring=None,
        bar=None,
        wheel_centres=tuple(f"{side}_{WHEEL_CENTRE}" for side in SIDES),
    )


def spanning(linkage: Linkage) -> dict[str, tuple[tuple[Side, str], ...]]:
    """Links that no side sees whole, a track rod or a drag link: each of their ends by a side that sees it.

    Parameters
    ----------
    linkage : Linkage
        One side's view.
    """
    system, across = linkage.system, linkage.across
    out: dict[str, tuple[tuple[Side, str], ...]] = {}
    for body, points in linkage.bodies.items():
        if system is not None and body in across.bodies and len(points) < len(system.bodies[body]) == 2:
            out[body] = tuple((across.side_of(p) or SIDES[0], across.bare(p)) for p in system.bodies[body])
    return out


def _sided(points: Collection[str], across: Across) -> Iterator[str]:
    for side in SIDES:
        yield from (f"{side}_{p}" for p in points if p not in across.points)


def _sides(names: Iterable[str], across: Across) -> tuple[Side, ...]:
    """Both sides for an entry that names a point of both without a side; else once, whichever."""
    return SIDES[:1] if all(across.once(n) for n in names) else SIDES


def _sliders(given: Iterable[Slider], across: Across) -> Iterator[Slider]:
    for s in given:
        for side in _sides((s.point, *s.line), across):
            start, end = (across.on(p, side) for p in s.line)
            yield Slider(across.on(s.point, side), (start, end))


def _guides(given: Iterable[Guide], across: Across) -> Iterator[Guide]:
    for g in given:
        for side in _sides((g.point, *g.plane), across):
            p, q, r = (across.on(n, side) for n in g.plane)
            yield Guide(across.on(g.point, side), (p, q, r))


def _drives(given: Iterable[Drive], bodies: Bodies, across: Across) -> Iterator[Drive]:
    for d in given:
        named = d.line if d.kind == "turns" else (*d.line, *d.points)
        for side in _sides(named, across) if not d.body or d.body in across.bodies else SIDES:
            start, end = (across.on(p, side) for p in d.line)
            body = across.body(d.body, side) if d.body else ""
            own = tuple(p for p in bodies[body] if p not in (start, end)) if body else d.points
            points = tuple(across.on(p, side) for p in own) if not body else own
            yield replace(d, line=(start, end), points=points, body=body)


def turned_on_the_rack(system: Linkage, mirrored: Side | None) -> tuple[str, ...]:
    """Points of the rack on a side that is the mirror image of the other's: they go to the same side of the car."""
    return tuple(p for p in system.rack if mirrored and p.startswith(f"{mirrored}_"))
