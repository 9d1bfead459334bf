"""What does not fit together in the solids of an axle."""

from __future__ import annotations

from collections.abc import Sequence

from kin3d.errors import Finding
from kin3d.linkage.checking import in_heading
from kin3d.linkage.keys import AxleKeys
from kin3d.linkage.layout import CHASSIS, Linkage
from kin3d.linkage.names import did_you_mean
from kin3d.linkage.part_keys import SolidPart

WHEEL = "wheel"
FORMS = ("points", "profile", "profile_file", "mesh")


def solid_misfits(axle: str, keys: AxleKeys, linkage: Linkage | None) -> list[Finding]:
    """Report solids of no form or of several, and points, bodies and profiles that are none."""
    out: list[Finding] = []
    tubes = [link.name for link in keys.links if link.diameter_mm is not None]
    for solid in keys.solids:
        place = f"[{axle}.solids.{in_heading(solid.name)}]"
        forms = [f for f in FORMS if getattr(solid, f)]
        if len(forms) != 1:
            has = " and ".join(forms) or "none of them"
            text = (
                "expected one of: points with diameter_mm (a tube), profile or profile_file (it turns with the wheel), "
                f"mesh; found {has}"
            )
            out.append(Finding("solid-form", text, place))
        if solid.name in tubes:
            text = "is the name of a link that has its diameter in [...links] and is a solid by that; leave one out"
            out.append(Finding("name-taken", text, place))
        out += [*_tube(solid, linkage, place), *_mesh(solid, linkage, place), *_profile(solid.profile, place)]
    return out


def _tube(solid: SolidPart, linkage: Linkage | None, place: str) -> list[Finding]:
    if not solid.points:
        if solid.diameter_mm is None:
            return []
        return [Finding("key-missing", "is missing; diameter_mm is of a tube between two points", f"{place} points")]
    out: list[Finding] = []
    if len(solid.points) != 2:
        out.append(Finding("points-two", f"has {len(solid.points)} names; two are expected", f"{place} points"))
    if solid.diameter_mm is None:
        out.append(Finding("key-missing", "is missing; give the tube's diameter in mm", f"{place} diameter_mm"))
    for name in solid.points if linkage is not None else ():
        if linkage is not None and name not in linkage.points:
            text = f'names "{name}", which the linkage does not have; {did_you_mean(name, linkage.points)}'
            out.append(Finding("point-unknown", text, f"{place} points"))
    return out


def _mesh(solid: SolidPart, linkage: Linkage | None, place: str) -> list[Finding]:
    if solid.mesh is None:
        if solid.body is None:
            return []
        return [Finding("key-unused", "is not used: it says what a mesh goes with", f"{place} body")]
    if solid.body is None:
        return [Finding("key-missing", "is missing; say which body the mesh goes with", f"{place} body")]
    if linkage is None:
        return []
    solids = [b for b, points in linkage.bodies.items() if len(points) > 2 or b == linkage.wheel_body]
    known = (*solids, WHEEL, CHASSIS)
    if solid.body in known:
        return []
    text = f'is "{solid.body}", which is no body of three points or more; {did_you_mean(solid.body, known)}'
    return [Finding("body-unknown", text, f"{place} body")]


def _profile(pairs: Sequence[tuple[float, float]], place: str) -> list[Finding]:
    if not pairs:
        return []
    if len(set(pairs)) < 2:
        text = f"has {len(set(pairs))} place; two or more pairs [width, radius] are expected"
        return [Finding("profile-short", text, f"{place} profile")]
    return []
