"""What does not fit together in an axle's keys, each of them right by itself."""

from __future__ import annotations

from collections.abc import Collection, Sequence

from kin3d.errors import Finding
from kin3d.linkage.checking import in_heading
from kin3d.linkage.keys import AxleKeys, LoadCase
from kin3d.linkage.layout import Layout, Linkage
from kin3d.linkage.names import did_you_mean
from kin3d.linkage.part_keys import JointPart, Tube
from kin3d.linkage.record import known_keys
from kin3d.linkage.solid_misfits import solid_misfits


def misfits(
    axle: str, keys: AxleKeys, layout: Layout | None, linkage: Linkage | None, points: Collection[str]
) -> list[Finding]:
    """Report what does not fit together in the keys of an axle; places are those of the file, without its name.

    Parameters
    ----------
    layout, linkage
        None when they are not known; what needs them is then not looked at.
    points
        Names in the point table; empty when they are not known.
    """
    return [
        *_names(axle, keys),
        *_on(axle, keys, linkage),
        *(_points(axle, keys, layout) if layout is not None else ()),
        *_rods(axle, keys),
        *_parts(axle, keys, linkage),
        *solid_misfits(axle, keys, linkage),
        *_shared(axle, keys, points),
        *_steering_axis(axle, keys, linkage),
    ]


SETTLED = ("braking_g", "driving_g", "lateral_g", "vertical_g")
ON_TYRE = ("axle", "side", "contact_n", "contact_moment_n_m", "wheel")


def case_misfits(cases: Sequence[LoadCase], axles: Collection[str]) -> list[Finding]:
    """Report what does not fit together in load cases; `axles` are those that the file gives."""
    out: list[Finding] = []
    for number, case in enumerate(cases, 1):
        place = f'[[cases]], element {number} "{case.name}"'
        given = [k for k in SETTLED if getattr(case, k) is not None]
        tyre = [k for k in ON_TYRE if getattr(case, k) is not None]
        if case.name in [c.name for c in cases[: number - 1]]:
            out.append(Finding("name-taken", "is the name of another case already; give it one of its own", place))
        if given and tyre:
            text = (
                f"has {', '.join(given)}, which are of the settled car, and {', '.join(tyre)}, which are of one tyre; "
                "make two cases of it"
            )
            out.append(Finding("case-mixed", text, place))
        elif not given and not tyre:
            text = f"says no load; {', '.join(SETTLED)} are expected, or contact_n with axle and side"
            out.append(Finding("case-empty", text, place))
        if case.braking_g is not None and case.driving_g is not None:
            out.append(Finding("loads-mixed", "braking_g and driving_g do not go together; give one of them", place))
        if tyre and not given:
            missing = [k for k in ("axle", "side") if k not in tyre]
            missing += [] if {"contact_n", "contact_moment_n_m"} & set(tyre) else ["contact_n"]
            if missing:
                text = f"{' and '.join(missing)} {'is' if len(missing) == 1 else 'are'} missing for the force on a tyre"
                out.append(Finding("key-missing", text, place))
            if case.axle is not None and case.axle not in axles:
                text = f'axle is "{case.axle}", which the car file does not give; it has: {", ".join(axles) or "none"}'
                out.append(Finding("axle-missing", text, place))
    return out


def _names(axle: str, keys: AxleKeys) -> list[Finding]:
    """Names of elements must differ, or a table could not tell them apart."""
    taken = {"spring", "torsion", "bar", "third", "roll_spring"}
    out = []
    for table, elements in (("springs", keys.springs), ("stops", keys.stops)):
        for element in elements:
            if element.name in taken:
                text = f'is "{element.name}", which is the name of another element already; give it one of its own'
                out.append(Finding("name-taken", text, f"[[{axle}.{table}]] name"))
            taken.add(element.name)
    return out


def _on(axle: str, keys: AxleKeys, linkage: Linkage | None) -> list[Finding]:
    there = ["spring"] if keys.spring or linkage is None or linkage.spring else []
    there += [s.name for s in keys.springs]
    there += [n for n in ("third", "roll_spring") if getattr(keys, n)]
    places = [(f"[[{axle}.stops]] on", s.on) for s in keys.stops]
    places += [(f"[{axle}.damper] on", keys.damper.on)] if keys.damper else []
    out = []
    for place, name in places:
        if name not in there:
            hint = did_you_mean(name, there, f"there are: {', '.join(there) or 'none'}")
            out.append(Finding("spring-unknown", f'is "{name}", which is no spring of this axle; {hint}', place))
    return out


def _points(axle: str, keys: AxleKeys, layout: Layout) -> list[Finding]:
    known = (*layout.known_points(), *keys.attached())
    out = []
    for spring in keys.springs:
        for point in spring.points:
            if layout.across.bare(point) not in known:
                hint = did_you_mean(point, known, "", ", or ")
                text = (
                    f'"{point}" of "{spring.name}" is on no body; say in bodies which two bodies its points are on, '
                    f'e.g. ["rocker", "chassis"]{hint}'
                )
                out.append(Finding("point-without-body", text, f"[[{axle}.springs]] points"))
    return out


def _rods(axle: str, keys: AxleKeys) -> list[Finding]:
    rod, out = keys.rod_part, []
    if not any(keys.rack_axis):
        out.append(Finding("rack-axis-zero", "has no direction: all three are 0", f"[{axle}] rack_axis"))
    out += _tube(rod, f"[{axle}.rod_part]") if rod else []
    for key in ("bolt_outer", "bolt_inner"):
        given = getattr(rod, key, None)
        if given is not None and not any(given):
            out.append(Finding("bolt-zero", "has no direction: all three are 0", f"[{axle}.rod_part] {key}"))
    return out


def _tube(tube: Tube, place: str) -> list[Finding]:
    if tube.diameter_mm is None or tube.wall_mm is None or tube.wall_mm <= 0.5 * tube.diameter_mm:
        return []
    text = f"is {tube.wall_mm:g}; at most half the diameter of {tube.diameter_mm:g} mm is expected"
    return [Finding("value-range", text, f"{place} wall_mm")]


def _parts(axle: str, keys: AxleKeys, linkage: Linkage | None) -> list[Finding]:
    """Links and joints as parts: each must be one of the linkage."""
    out: list[Finding] = []
    for link in keys.links:
        place = f"[{axle}.links.{in_heading(link.name)}]"
        out += _tube(link, place)
        if linkage is not None and link.name not in linkage.links:
            hint = did_you_mean(link.name, linkage.links)
            text = f"is no link, a body of two points, of this layout with the keys given; {hint}"
            out.append(Finding("link-unknown", text, place))
        if linkage is not None and linkage.rocker and {*linkage.bodies.get(link.name, ())} == {*linkage.rocker.rod}:
            out.append(Finding("rod-part", f"is the rod, whose tube stands in [{axle}.rod_part]; give it there", place))
    for number, joint in enumerate(keys.joints):
        place = f"[{axle}.joints.{in_heading(joint.name)}]"
        if joint.name in [j.name for j in keys.joints[:number]]:
            out.append(Finding("name-taken", "stands twice under names that read the same; make one of them", place))
        if joint.axis is not None and not any(joint.axis):
            out.append(Finding("axis-zero", "has no direction: all three are 0", f"{place} axis"))
        out += _joint(joint, linkage, place, f"[{axle}.rod_part]") if linkage is not None else []
    return out


def _joint(joint: JointPart, linkage: Linkage, place: str, rod_part: str) -> list[Finding]:
    whole, across = linkage.system, linkage.across  # of both sides: arms may be joined to each other
    there = [
        p
        for p in linkage.points
        if len(linkage.bodies_at(p)) > 1
        or (whole is not None and any(len(whole.bodies_at(q)) > 1 for q in across.both(p)))
    ]
    if joint.name not in there:
        text = f"is no point of this layout at which bodies are joined; {did_you_mean(joint.name, there)}"
        return [Finding("joint-unknown", text, place)]
    if linkage.rocker is not None and joint.name in linkage.rocker.rod:
        bolt = "bolt_outer" if joint.name == linkage.rocker.rod[0] else "bolt_inner"
        return [
            Finding("rod-part", f"is an end of the rod, for which it stands in {rod_part} as {there}", f"{place} {key}")
            for key, there in (("axis", bolt), ("limit_deg", "rod_end_limit_deg"))
            if getattr(joint, key) is not None
        ]
    needs = [k for k in known_keys(type(joint)) if k not in ("name", "axis") and getattr(joint, k) is not None]
    if needs and joint.axis is None and linkage.hinge_at(joint.name) is None:
        text = f"is missing; it is needed for {' and '.join(needs)}: the direction of the stud or bolt, [x, y, z]"
        return [Finding("key-missing", text, f"{place} axis")]
    return []


def _steering_axis(axle: str, keys: AxleKeys, linkage: Linkage | None) -> list[Finding]:
    if keys.steering_axis_holds != "spring" or linkage is None or linkage.spring is not None:
        return []
    text = 'is "spring", and this layout has no spring with the points and keys given; "wheel" is expected here'
    return [Finding("spring-not-there", text, f"[{axle}] steering_axis_holds")]


def _shared(axle: str, keys: AxleKeys, points: Collection[str]) -> list[Finding]:
    out = []
    for number, error in enumerate(keys.shared_error, 1):
        place = f"[{axle}.shared_error], element {number}"
        if "points" in error.given and not error.points:
            text = "points is an empty list; name points, or leave the key out for all points of the table"
            out.append(Finding("points-empty", text, place))
        for name in error.points:
            if points and name not in points:
                text = f'points names "{name}", which the point table does not have; {did_you_mean(name, points)}'
                out.append(Finding("point-unknown", text, place))
        if not any(error.sigma_mm):
            text = "sigma_mm is 0 along all three axes; give a deviation over 0"
            out.append(Finding("sigma-zero", text, place))
    return out
