"""From the car file's inboard tables to the axle's frozen data, with what does not fit said."""

from __future__ import annotations

import difflib
from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from kin3d.linkage.car import CrossSpring, Damper, Masses, Rod, Spring, Stop
from kin3d.linkage.layout import Layout, Linkage
from kin3d.reading.finding_log import FindingLog
from kin3d.reading.inboard_model import CrossKeys, InboardTables, RodKeys
from kin3d.reading.names import normalise

Vector = tuple[float, float, float]


def attached(keys: InboardTables) -> dict[str, str]:
    """Points that the elements bring, and the body that each is on."""
    out: dict[str, str] = {}
    for spring in keys.springs or ():
        out |= dict(zip(map(normalise, spring.points), spring.bodies or (), strict=False))
    for cross in (keys.third, keys.roll_spring):
        if cross is not None:
            out |= {normalise(p): cross.body for p in cross.points}
    return out


def inboard(keys: InboardTables, rotation: NDArray[np.float64] | None) -> dict[str, Any]:
    """Return the fields of `kin3d.linkage.car.Axle` that the inboard tables give."""
    more = [
        Spring(s.rate_n_per_mm, s.design_force_n, s.name, (normalise(s.points[0]), normalise(s.points[1])))
        for s in keys.springs or ()
    ]
    return {
        "springs": tuple(more),
        "third": _cross(keys.third),
        "roll_spring": _cross(keys.roll_spring),
        "stops": tuple(Stop(**s.model_dump()) for s in keys.stops or ()),
        "damper": Damper(**keys.damper.model_dump()) if keys.damper else None,
        "rod": _rod(keys.rod_part, rotation),
        "masses": Masses(**keys.masses.model_dump()) if keys.masses else None,
        "attached": attached(keys),
        "unsprung_mass_kg": keys.unsprung_mass_kg,
        "tyre_rate_n_per_mm": keys.tyre_rate_n_per_mm,
    }


def _cross(keys: CrossKeys | None) -> CrossSpring | None:
    if keys is None:
        return None
    names = [normalise(p) for p in keys.points]
    return CrossSpring(keys.rate_n_per_mm, (names[0], names[-1]), keys.design_force_n)


def _rod(keys: RodKeys | None, rotation: NDArray[np.float64] | None) -> Rod | None:
    if keys is None:
        return None
    given: Mapping[str, Any] = keys.model_dump()
    bolts = {k: _direction(given[k], rotation) for k in ("bolt_outer", "bolt_inner")}
    return Rod(**{**given, **bolts})


def _direction(given: list[float] | None, rotation: NDArray[np.float64] | None) -> Vector | None:
    if given is None:
        return None
    turned = (np.eye(3) if rotation is None else rotation) @ np.array(given)
    length = float(np.linalg.norm(turned))
    x, y, z = (turned / (length or 1.0)).tolist()
    return x, y, z


def tell_misfits(
    axle: str, keys: InboardTables, coil: bool, layout: Layout | None, linkage: Linkage | None, log: FindingLog
) -> None:
    """Report what does not fit together in the inboard tables of an axle.

    Parameters
    ----------
    coil : bool
        Whether ``[axle.spring]`` is given.
    layout, linkage
        None when they are not known; what needs them is then not looked at.
    """
    _tell_names(axle, keys, log)
    _tell_on(axle, keys, coil, linkage, log)
    if layout is not None:
        _tell_points(axle, keys, layout, log)
    rod = keys.rod_part
    if rod and rod.diameter_mm and rod.wall_mm and rod.wall_mm > 0.5 * rod.diameter_mm:
        text = f"is {rod.wall_mm:g}; at most half the diameter of {rod.diameter_mm:g} mm is expected"
        log.error("value-range", text, f"[{axle}.rod_part] wall_mm")
    for key in ("bolt_outer", "bolt_inner"):
        given = getattr(rod, key, None)
        if given is not None and not any(given):
            log.error("bolt-zero", "has no direction: all three are 0", f"[{axle}.rod_part] {key}")


def _tell_names(axle: str, keys: InboardTables, log: FindingLog) -> None:
    """Names of elements must differ, or a table could not tell them apart."""
    taken = {"spring", "torsion", "bar", "third", "roll_spring"}
    for table, elements in (("springs", keys.springs or ()), ("stops", keys.stops or ())):
        for element in elements:
            if element.name in taken:
                text = f'is "{element.name}", which is the name of another element already; give it one of its own'
                log.error("name-taken", text, f"[[{axle}.{table}]] name")
            taken.add(element.name)


def _tell_on(axle: str, keys: InboardTables, coil: bool, linkage: Linkage | None, log: FindingLog) -> None:
    there = ["spring"] if coil or linkage is None or linkage.spring else []
    there += [s.name for s in keys.springs or ()]
    there += [n for n in ("third", "roll_spring") if getattr(keys, n)]
    places = [(f"[[{axle}.stops]] on", s.on) for s in keys.stops or ()]
    places += [(f"[{axle}.damper] on", keys.damper.on)] if keys.damper else []
    for place, name in places:
        if name not in there:
            near = difflib.get_close_matches(name, there, 1)
            hint = f'did you mean "{near[0]}"?' if near else f"there are: {', '.join(there) or 'none'}"
            log.error("spring-unknown", f'is "{name}", which is no spring of this axle; {hint}', place)


def _tell_points(axle: str, keys: InboardTables, layout: Layout, log: FindingLog) -> None:
    known = (*layout.known_points(), *attached(keys))
    for spring in keys.springs or ():
        for point in map(normalise, spring.points):
            if point not in known:
                near = difflib.get_close_matches(point, known, 1)
                hint = f', or did you mean "{near[0]}"?' if near else ""
                text = (
                    f'"{point}" of "{spring.name}" is on no body; say in bodies which two bodies its points are on, '
                    f'e.g. ["rocker", "chassis"]{hint}'
                )
                log.error("point-without-body", text, f"[[{axle}.springs]] points")
