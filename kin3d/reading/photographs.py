"""Files of photographs (TOML) with their marks (CSV): what is seen of a car, what is known of it, what is assumed.

Nothing is assumed in silence: every default that stands in for a missing figure is a note among the findings.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import cast

from kin3d.errors import ReadingError, raise_errors
from kin3d.linkage.layout import CHASSIS, WHEEL_CENTRE, Layout
from kin3d.linkage.names import AxleName, Side, did_you_mean
from kin3d.linkage.resolve import points_needed
from kin3d.reading.layouts import find_layout
from kin3d.reading.marks import Naming, read_marks
from kin3d.reading.photo_records import SHARES, CarPhotos, Figure, Mark
from kin3d.reading.photo_shape import Array, own_shape, template_points
from kin3d.reading.photo_tables import PhotoFile, photos_of
from kin3d.reading.text import FindingLog, read_toml

LAYOUT_KEYS = ("rod_on", "spring_on")  # of a layout that cannot be read
KEYS = (
    "title", "marks", "layout", "side", "axle", "template", "box_mm", "joint_mm", "asymmetry_mm", "same_as",
    "known", "photos",
)  # fmt: skip
LENGTHS = ("wheelbase_mm", "rim_diameter_mm", "loaded_radius_mm", "half_track_mm")
OTHER = (
    "other_half_track_mm", "other_loaded_radius_mm", "other_rim_diameter_mm", "other_rim_offset_mm",
    "other_camber_deg", "other_toe_deg",
)  # fmt: skip
KNOWN = (*LENGTHS, "rim_offset_mm", "camber_deg", "toe_deg", *OTHER)
FAR_MM = 500.0  # along the car that a template may stand off its axle
BOX_MM, JOINT_MM, ASYMMETRY_MM = 40.0, 3.0, 1.5


def read_photographs(path: Path | str, *, unmarked: bool = False) -> CarPhotos:
    """Read a file of photographs with its table of marks, and the file that it names in ``[same_as]``.

    Parameters
    ----------
    path : path-like
    unmarked : bool
        Whether tables of marks may be missing or empty: they are about to be made.

    Raises
    ------
    ReadingError
        With everything that is wrong with the files, at once.
    """
    log_of_all: list[FindingLog] = []
    found = _read(Path(path), log_of_all, (), unmarked)
    findings = tuple(dict.fromkeys(f for log in log_of_all for f in log.findings))
    raise_errors(findings, ReadingError)
    assert found is not None
    return found


def _read(path: Path, logs: list[FindingLog], before: tuple[Path, ...], unmarked: bool) -> CarPhotos | None:
    log = FindingLog(str(path))
    logs.append(log)
    data = read_toml(path, log, "a file with [[photos]] and marks is expected")
    if data is None:
        return None
    file = PhotoFile(path, data, log)
    title = file.text(data, "title", "", path.name.removesuffix(".toml").removesuffix(".photos"))
    layout = find_layout(file.text(data, "layout", "", "double wishbone"), path.parent, "layout", log)
    file.unknown_keys("", data, (*KEYS, *(layout.keys() if layout is not None else LAYOUT_KEYS)))
    parts = _parts(file, layout)
    side = cast(Side, file.choice(data, "side", ("left", "right"), "left"))
    axle = cast(AxleName, file.choice(data, "axle", ("front", "rear"), "front"))
    apart = {
        k: file.length(data, k, d)
        for k, d in (("box_mm", BOX_MM), ("joint_mm", JOINT_MM), ("asymmetry_mm", ASYMMETRY_MM))
    }
    other, shares = _same_as(file, logs, (*before, path.resolve()), unmarked)
    known, template = _known(file, layout, parts, (axle, apart["box_mm"].value), other, shares)
    photos = photos_of(file)
    marks_file = path.parent / file.text(
        data, "marks", "", "", needed="the table of the marks, such as front.marks.csv"
    )
    marks: tuple[Mark, ...] = ()
    wanted = marks_file.exists() or not unmarked
    if layout is not None and "marks" in data and marks_file.name and wanted:
        own = FindingLog(str(marks_file))
        logs.append(own)
        marks = read_marks(marks_file, _naming(layout, parts, file), own, unmarked=unmarked)
    if log.failed or layout is None or template is None:
        return None
    return CarPhotos(
        title, path, layout, side, axle, template, apart["box_mm"], apart["joint_mm"], apart["asymmetry_mm"], known,
        photos, marks, marks_file, other, shares, tuple(f for one in logs for f in one.findings), parts,
    )  # fmt: skip


def _parts(file: PhotoFile, layout: Layout | None) -> dict[str, str]:
    """The keys that call for parts of the layout, such as ``rod_on``, with their values."""
    out: dict[str, str] = {}
    for part in layout.parts if layout is not None else ():
        value = file.data.get(part.key or "")
        if part.key is None or value is None:
            continue
        if not isinstance(value, str) or (part.choices and value not in part.choices):
            expected = " or ".join(f'"{c}"' for c in part.choices) or "the name of a body"
            file.log.error("choice-unknown", f"is {value!r}; {expected} is expected", part.key)
        elif part.not_with in out:
            file.log.error("keys-conflict", f"and {part.not_with} are both given; one of the two is expected", part.key)
        else:
            out[part.key] = value
    return out


def _same_as(
    file: PhotoFile, logs: list[FindingLog], before: tuple[Path, ...], unmarked: bool
) -> tuple[CarPhotos | None, frozenset[str]]:
    table = file.data.get("same_as")
    if table is None:
        return None, frozenset()
    if not isinstance(table, dict):
        file.log.error("value-type", "must be a table with file and what", "[same_as]")
        return None, frozenset()
    file.unknown_keys("[same_as] ", table, ("file", "what"))
    name = file.text(table, "file", "[same_as] ", "", needed="the other car's file of photographs")
    what = table.get("what", list(SHARES))
    if not isinstance(what, list) or not all(isinstance(w, str) for w in what):
        file.log.error("value-type", f"is {what!r}; a list of what the cars share is expected", "[same_as] what")
        what = []
    for word in what:
        if word not in SHARES:
            file.log.error("choice-unknown", f'has "{word}"; {did_you_mean(word, SHARES)}', "[same_as] what")
    if not name:
        return None, frozenset()
    path = file.path.parent / name
    if path.resolve() in before:
        text = f'names "{name}", which leads back to this file; one of the two files names the other'
        file.log.error("same-as-circle", text, "[same_as] file")
        return None, frozenset()
    return _read(path, logs, before, unmarked), frozenset(w for w in what if w in SHARES)


def _known(
    file: PhotoFile, layout: Layout | None, parts: Mapping[str, str], start: tuple[AxleName, float],
    other: CarPhotos | None, shares: frozenset[str],
) -> tuple[dict[str, Figure], Mapping[str, Array] | None]:  # fmt: skip
    """The figures of ``[known]`` with assumptions for those that are silent, and the template; `start`: axle, box."""
    axle, box = start
    table = file.data.get("known", {})
    if not isinstance(table, dict):
        file.log.error("value-type", "must be a table of figures", "[known]")
        table = {}
    file.unknown_keys("[known] ", table, KNOWN)
    given: dict[str, Figure] = {}
    for key in KNOWN:
        found = file.figure(table, key, "[known] ", positive=key.endswith("_mm") and "offset" not in key)
        if found is not None:
            given[key] = found
    if other is not None:
        _share(file, given, other, shares)
    name = file.data.get("template")
    points = None
    if isinstance(name, str) and name.strip():
        points = template_points(file.path.parent / name, axle, "template", file.log)
    elif "template" in file.data:
        file.log.error("value-type", f"is {name!r}; the path of a point table is expected", "template")
    if not any(k in given and given[k].stated for k in LENGTHS):
        text = f"has no known length, so that nothing says how large the car is; give one of {', '.join(LENGTHS)}"
        file.log.error("scale-missing", text, "[known]")
    hub = points[WHEEL_CENTRE] if points else None
    known = _assumed(file, given, hub, box)
    if hub is not None:
        x = 0.0 if axle == "front" else -known["wheelbase_mm"].value
        if abs(float(hub[0]) - x) > FAR_MM:
            text = (
                f"has its wheel_centre at x = {hub[0]:g} mm, and the {axle} axle stands at {x:g}; a table of that axle "
                "is expected, x measured from the front axle"
            )
            file.log.error("template-frame", text, "template")
    if layout is None or (points is None and "template" in file.data):
        return known, None
    return known, _filled(file, layout, parts, axle, known, points)


def _filled(
    file: PhotoFile, layout: Layout, parts: Mapping[str, str], axle: AxleName, known: Mapping[str, Figure],
    points: Mapping[str, Array] | None,
) -> Mapping[str, Array] | None:  # fmt: skip
    """Every point of the linkage: the template's; the layout's own shape stands in for it, and for the rod it lacks."""
    x = 0.0 if axle == "front" else -known["wheelbase_mm"].value
    size = (known["loaded_radius_mm"].value, known["half_track_mm"].value, x)
    needed = (*points_needed(layout, parts), WHEEL_CENTRE)
    shape = own_shape(layout.name, parts.get("rod_on"), *size) or {}
    if points is None:
        if not shape:
            text = f'is missing, and layout "{layout.name}" has no shape of its own to start from; name a point table'
            file.log.error("template-missing", text, "template")
            return None
        file.log.note("assumed", "is not given", "the layout's own shape, to the size of tyre and track", "template")
        points = shape
    bare = points_needed(layout, {})
    rod = [n for n in needed if n not in points and n not in bare and n in shape]
    lacking = [n for n in needed if n not in points and n not in rod]
    if lacking:
        file.log.error("template-points", f"lacks {', '.join(lacking)}; the layout needs them", "template")
        return None
    if rod:
        file.log.note("assumed", f"lacks {', '.join(rod)}", "where such a rod and its rocker usually are", "template")
    return {n: points[n] if n in points else shape[n] for n in dict.fromkeys(needed)}


def _share(file: PhotoFile, given: dict[str, Figure], other: CarPhotos, shares: frozenset[str]) -> None:
    """Figures that the other car's file gives of what both share; two different ones are a contradiction."""
    words = {"tyre": ("loaded_radius_mm",), "rim": ("rim_diameter_mm", "rim_offset_mm"), "wheelbase": ("wheelbase_mm",)}
    for word in shares & set(words):
        for key in words[word]:
            theirs = other.known[key]
            mine = given.get(key)
            if mine is not None and theirs.stated and (mine.value, mine.sigma) != (theirs.value, theirs.sigma):
                text = (
                    f"is {mine.value:g} ± {mine.sigma:g} and shared with {other.source.name}, which has "
                    f'{theirs.value:g} ± {theirs.sigma:g}; write it once, or take "{word}" out of what the cars share'
                )
                file.log.error("shared-differs", text, f"[known] {key}")
            if mine is None or not theirs.stated:
                given[key] = theirs if theirs.stated or mine is None else mine


def _assumed(file: PhotoFile, given: dict[str, Figure], hub: Array | None, box: float) -> dict[str, Figure]:
    """All figures: those given, and for the others what is assumed, with a note each."""
    width = box / 3.0**0.5
    known = dict(given)

    def assume(key: str, value: float, sigma: float) -> None:
        if key not in known:
            known[key] = Figure(value, sigma, False, f"{key} assumed")
            file.log.note("assumed", "is not given", f"{key} = {value:g} ± {sigma:.3g}", f"[known] {key}")

    radius = float(hub[2]) if hub is not None else 265.0
    assume("loaded_radius_mm", radius, max(width, 15.0))
    assume("half_track_mm", float(hub[1]) if hub is not None else 740.0, max(width, 20.0))
    assume("wheelbase_mm", 2450.0, 250.0)
    assume("rim_diameter_mm", 1.36 * known["loaded_radius_mm"].value, 50.0)
    assume("rim_offset_mm", 0.0, 10.0)
    assume("camber_deg", -1.5, 2.0)
    assume("toe_deg", 0.0, 0.5)
    assume("other_half_track_mm", known["half_track_mm"].value, 40.0)
    assume("other_loaded_radius_mm", known["loaded_radius_mm"].value, 15.0)
    assume("other_rim_diameter_mm", known["rim_diameter_mm"].value, 20.0)
    assume("other_rim_offset_mm", 0.0, 10.0)
    assume("other_camber_deg", -1.5, 2.0)
    assume("other_toe_deg", 0.0, 0.5)
    return known


def _naming(layout: Layout, parts: Mapping[str, str], file: PhotoFile) -> Naming:
    points = tuple(dict.fromkeys((*points_needed(layout, parts), WHEEL_CENTRE)))
    rods = [p.rocker.rod[0] for p in layout.parts if p.rocker is not None and p.key in parts]
    legs = tuple(dict.fromkeys([*layout.bodies.get(CHASSIS, ()), *layout.rack, *rods]))
    absent = {}
    for part in layout.parts:
        own = (*part.attach, *part.points, *(n for b in part.bodies.values() for n in b), *(part.spring or ()))
        text = f"it belongs to {part.name}, which is looked for only when the file of photographs has {part.key}"
        if part.key is None:
            text = f"it belongs to {part.name}, and photographs do not give that"
        absent.update({n: text for n in own if n not in points and n not in absent})
    return Naming(file.sizes, file.deviations, points, legs, absent)
