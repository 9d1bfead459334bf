"""Files of photographs (TOML) with their marks (CSV): what is seen of a car, what is known of it, what is assumed.

Nothing is assumed in silence: every default that stands in for a missing figure is a note among the findings.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import inf, isfinite
from math import log as ln
from pathlib import Path
from typing import Any, TypeGuard, cast

from kin3d.errors import ReadingError, raise_errors
from kin3d.linkage.layout import CHASSIS, WHEEL_CENTRE, Layout
from kin3d.linkage.names import AxleName, Side, did_you_mean
from kin3d.reading.layouts import find_layout
from kin3d.reading.marks import Naming, read_marks
from kin3d.reading.photo_records import KINDS, SHARES, SIGMA_PX, CarPhotos, Figure, Kind, Mark, Photo
from kin3d.reading.photo_shape import Array, own_shape, template_points
from kin3d.reading.picture import Picture, read_picture
from kin3d.reading.text import FindingLog, read_toml

KEYS = (
    "title", "marks", "layout", "side", "axle", "template", "box_mm", "joint_mm", "asymmetry_mm", "same_as",
    "known", "photos",
)  # fmt: skip
PHOTO_KEYS = (
    "name", "file", "size_px", "focal_mm", "sensor_width_mm", "cropped", "travel_mm", "rear_travel_mm", "rack_mm",
    "sigma_px",
)  # fmt: skip
LENGTHS = ("wheelbase_mm", "rim_diameter_mm", "loaded_radius_mm", "half_track_mm")
OTHER = (
    "other_half_track_mm", "other_loaded_radius_mm", "other_rim_diameter_mm", "other_rim_offset_mm",
    "other_camber_deg", "other_toe_deg",
)  # fmt: skip
KNOWN = (*LENGTHS, "rim_offset_mm", "camber_deg", "toe_deg", *OTHER)
BOX_MM, JOINT_MM, ASYMMETRY_MM, SENSOR_MM = 40.0, 3.0, 1.5, 36.0
FOCAL_SIGMA, CENTRE_SHARE, CROPPED_SHARE, DISTORTION = 0.02, 0.005, 0.25, 0.01
UNKNOWN_FOCAL = 1.4  # picture widths: between a wide and a long lens


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
    file = _File(path, data, log)
    file.unknown_keys("", data, KEYS)
    title = file.text(data, "title", "", path.name.removesuffix(".toml").removesuffix(".photos"))
    layout = find_layout(file.text(data, "layout", "", "double wishbone"), path.parent, "layout", log)
    side = cast(Side, file.choice(data, "side", ("left", "right"), "left"))
    axle = cast(AxleName, file.choice(data, "axle", ("front", "rear"), "front"))
    apart = {
        k: file.length(data, k, d)
        for k, d in (("box_mm", BOX_MM), ("joint_mm", JOINT_MM), ("asymmetry_mm", ASYMMETRY_MM))
    }
    other, shares = _same_as(file, logs, (*before, path.resolve()), unmarked)
    known, template = _known(file, layout, axle, apart["box_mm"].value, other, shares)
    photos = _photos(file)
    marks_file = path.parent / file.text(
        data, "marks", "", "", needed="the table of the marks, such as front.marks.csv"
    )
    marks: tuple[Mark, ...] = ()
    wanted = marks_file.exists() or not unmarked
    if layout is not None and "marks" in data and marks_file.name and wanted:
        own = FindingLog(str(marks_file))
        logs.append(own)
        marks = read_marks(marks_file, _naming(layout, file.sizes, file.deviations), own, unmarked=unmarked)
    if log.failed or layout is None or template is None:
        return None
    return CarPhotos(
        title, path, layout, side, axle, template, apart["box_mm"], apart["joint_mm"], apart["asymmetry_mm"], known,
        photos, marks, marks_file, other, shares, tuple(f for one in logs for f in one.findings),
    )  # fmt: skip


@dataclass(slots=True)
class _File:
    """One parsed file and the means to take values out of it."""

    path: Path
    data: Mapping[str, Any]
    log: FindingLog

    sizes: dict[str, tuple[float, float] | None] = None  # type: ignore[assignment]
    deviations: dict[str, Mapping[Kind, float]] = None  # type: ignore[assignment]

    def __post_init__(self) -> None:
        self.sizes, self.deviations = {}, {}

    def unknown_keys(self, where: str, table: Mapping[str, Any], known: tuple[str, ...]) -> None:
        for key in table:
            if key not in known:
                self.log.error("key-unknown", f"is not a known key; {did_you_mean(key, known)}", f"{where}{key}")

    def text(self, table: Mapping[str, Any], key: str, where: str, default: str, needed: str = "") -> str:
        value = table.get(key)
        if isinstance(value, str) and value.strip():
            return value.strip()
        if key in table:
            self.log.error("value-type", f"is {value!r}; a text in quotation marks is expected", f"{where}{key}")
        elif needed:
            self.log.error("key-missing", f"is missing; give {needed}", f"{where}{key}")
        return default

    def choice(self, table: Mapping[str, Any], key: str, choices: tuple[str, ...], default: str) -> str:
        value = table.get(key, default)
        if value in choices:
            if key not in table:
                self.log.note("assumed", "is not given", f'{key} = "{default}"', key)
            return str(value)
        expected = " or ".join(f'"{c}"' for c in choices)
        self.log.error("choice-unknown", f"is {value!r}; {expected} is expected", key)
        return default

    def length(self, table: Mapping[str, Any], key: str, default: float) -> Figure:
        value = table.get(key)
        if key not in table:
            self.log.note("assumed", "is not given", f"{key} = {default:g}", key)
            return Figure(default, 0.0, False, f"{key} assumed")
        if _is_number(value) and value > 0.0:
            return Figure(float(value), 0.0, True, self.log.place(key))
        self.log.error("value-type", f"is {value!r}; a length over 0 in mm is expected", key)
        return Figure(default, 0.0)

    def figure(self, table: Mapping[str, Any], key: str, where: str, positive: bool) -> Figure | None:
        """A value, or [value, sigma]; None where there is none or it is wrong."""
        if key not in table:
            return None
        value = table[key]
        pair = value if isinstance(value, list) else [value, 0.0]
        place = f"{where}{key}"
        if len(pair) != 2 or not all(_is_number(v) for v in pair):
            self.log.error("value-type", f"is {value!r}; a number, or [value, sigma] is expected", place)
        elif pair[1] < 0.0:
            self.log.error("sigma-range", f"has the deviation {pair[1]:g}; 0 or more is expected", place)
        elif positive and pair[0] <= 0.0:
            self.log.error("value-range", f"is {pair[0]:g}; a length over 0 in mm is expected", place)
        else:
            return Figure(float(pair[0]), float(pair[1]), True, self.log.place(place))
        return None


def _is_number(value: Any) -> TypeGuard[float]:
    return isinstance(value, int | float) and not isinstance(value, bool) and isfinite(value)


def _same_as(
    file: _File, logs: list[FindingLog], before: tuple[Path, ...], unmarked: bool
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
    file: _File, layout: Layout | None, axle: AxleName, box: float, other: CarPhotos | None, shares: frozenset[str]
) -> tuple[dict[str, Figure], Mapping[str, Array] | None]:
    """The figures of ``[known]`` with assumptions for those that are silent, and the template."""
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
    if points is None and "template" not in file.data and layout is not None:
        x = 0.0 if axle == "front" else -known["wheelbase_mm"].value
        points = own_shape(layout.name, known["loaded_radius_mm"].value, known["half_track_mm"].value, x)
        if points is None:
            text = f'is missing, and layout "{layout.name}" has no shape of its own to start from; name a point table'
            file.log.error("template-missing", text, "template")
        else:
            file.log.note(
                "assumed", "is not given", "the layout's own shape, to the size of tyre and track", "template"
            )
    if points is not None and layout is not None:
        lacking = [n for n in (*_needed(layout), WHEEL_CENTRE) if n not in points]
        if lacking:
            file.log.error("template-points", f"lacks {', '.join(lacking)}; the layout needs them", "template")
            return known, None
    return known, points


def _share(file: _File, given: dict[str, Figure], other: CarPhotos, shares: frozenset[str]) -> None:
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


def _assumed(file: _File, given: dict[str, Figure], hub: Array | None, box: float) -> dict[str, Figure]:
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


def _needed(layout: Layout) -> tuple[str, ...]:
    """Points of the upright's linkage: those of the layout without its parts."""
    return tuple(dict.fromkeys([*(p for points in layout.bodies.values() for p in points), *layout.rack]))


def _naming(
    layout: Layout, sizes: Mapping[str, tuple[float, float] | None], deviations: Mapping[str, Mapping[Kind, float]]
) -> Naming:
    points = (*_needed(layout), WHEEL_CENTRE)
    legs = tuple(dict.fromkeys([*layout.bodies.get(CHASSIS, ()), *layout.rack]))
    return Naming(sizes, deviations, points, legs)


def _photos(file: _File) -> tuple[Photo, ...]:
    tables = file.data.get("photos")
    if not isinstance(tables, list) or not tables or not all(isinstance(t, dict) for t in tables):
        found = "is missing" if tables is None else "is not a list of tables"
        file.log.error("photos-missing", f"{found}; give one table headed [[photos]] for each photograph", "[[photos]]")
        return ()
    out = []
    for number, table in enumerate(tables, 1):
        name = file.text(table, "name", f"[[photos]] {number}, ", "", needed="a name, which the marks use")
        where = f'[[photos]] "{name or number}", '
        file.unknown_keys(where, table, PHOTO_KEYS)
        if name in file.sizes:
            file.log.error(
                "photo-twice", f'two photographs are named "{name}"; give each a name of its own', where + "name"
            )
        file.deviations.setdefault(name, _deviations(file, table, where))
        photo = _photo(file, table, name, where)
        file.sizes.setdefault(name, None if photo is None else photo.size_px)
        if photo is not None:
            out.append(photo)
    return tuple(out)


def _photo(file: _File, table: Mapping[str, Any], name: str, where: str) -> Photo | None:
    cropped = table.get("cropped", False)
    if not isinstance(cropped, bool):
        file.log.error("value-type", f"is {cropped!r}; true or false is expected", where + "cropped")
        cropped = False
    picture, path = None, None
    if "file" in table:
        path = file.path.parent / file.text(table, "file", where, "?")
        if path.is_file() or "size_px" not in table:
            picture = read_picture(path, where + "file", file.log)
    size = _size(file, table, picture, where)
    focal = _focal(file, table, picture, size, cropped, where)
    positions = {
        k: _position(file, table, k, s, where)
        for k, s in (("travel_mm", 4.0), ("rear_travel_mm", 4.0), ("rack_mm", 8.0))
    }
    if size is None or focal is None:
        return None
    share = CROPPED_SHARE if cropped else CENTRE_SHARE
    return Photo(
        name, path, size, focal, share * size[0], DISTORTION, positions["travel_mm"], positions["rear_travel_mm"],
        positions["rack_mm"], picture.sha256 if picture else "", file.deviations[name],
    )  # fmt: skip


def _size(file: _File, table: Mapping[str, Any], picture: Picture | None, where: str) -> tuple[float, float] | None:
    given = table.get("size_px")
    size = None
    if given is not None:
        if isinstance(given, list) and len(given) == 2 and all(_is_number(v) and v > 0 for v in given):
            size = (float(given[0]), float(given[1]))
        else:
            file.log.error("value-type", f"is {given!r}; [width, height] in px is expected", where + "size_px")
    if picture is not None:
        own = (float(picture.size_px[0]), float(picture.size_px[1]))
        if size is not None and size != own:
            text = (
                f"is {size[0]:g} × {size[1]:g}, and the picture as shown has {own[0]:g} × {own[1]:g} px; leave it out"
            )
            file.log.error("size-differs", text, where + "size_px")
        return own
    if size is None and "file" not in table and given is None:
        file.log.error("key-missing", "is missing; give the picture's file, or its size_px", where + "file")
    return size


def _focal(
    file: _File,
    table: Mapping[str, Any],
    picture: Picture | None,
    size: tuple[float, float] | None,
    cropped: bool,
    where: str,
) -> Figure | None:
    """Focal length in px with the deviation of its logarithm."""
    values: dict[str, float] = {}
    for key in ("focal_mm", "sensor_width_mm"):
        value = table.get(key)
        if value is not None and not (_is_number(value) and value > 0):
            file.log.error("value-type", f"is {value!r}; a length over 0 in mm is expected", where + key)
        elif value is not None:
            values[key] = float(value)
    if size is None:
        return None
    long_side = max(size)
    sensor = values.get("sensor_width_mm", SENSOR_MM)
    if "focal_mm" in values:
        if "sensor_width_mm" not in values:
            file.log.note("assumed", "is not given", f"sensor_width_mm = {SENSOR_MM:g}", where + "sensor_width_mm")
        return Figure(values["focal_mm"] / sensor * long_side, FOCAL_SIGMA, True, file.log.place(where + "focal_mm"))
    if picture is not None and not cropped:
        if picture.focal_mm and "sensor_width_mm" in values:
            px = picture.focal_mm / sensor * long_side
        else:
            px = picture.focal_px or 0.0
        if px:
            text = "is not given, and EXIF has it"
            file.log.note("assumed", text, f"focal length {px:.0f} px ± {100 * FOCAL_SIGMA:g} %", where + "focal_mm")
            return Figure(px, FOCAL_SIGMA, True, f"EXIF of {file.log.place(where)}")
    px = UNKNOWN_FOCAL * long_side
    file.log.note("assumed", "is not given", f"focal length {px:.0f} px within a factor of 2", where + "focal_mm")
    return Figure(px, ln(2.0), False, "focal length assumed")


def _position(file: _File, table: Mapping[str, Any], key: str, sigma: float, where: str) -> Figure:
    found = file.figure(table, key, where, positive=False)
    if found is None:
        if key not in table:
            file.log.note("assumed", "is not given", f"{key} = 0 ± {sigma:g}", where + key)
        return Figure(0.0, sigma, False, f"{key} assumed")
    return found


def _deviations(file: _File, table: Mapping[str, Any], where: str) -> Mapping[Kind, float]:
    given = table.get("sigma_px", {})
    out = dict(SIGMA_PX)
    if not isinstance(given, dict):
        file.log.error("value-type", f"is {given!r}; a table such as {{ point = 2 }} is expected", where + "sigma_px")
        return out
    file.unknown_keys(where + "sigma_px ", given, KINDS)
    for kind in KINDS:
        value = given.get(kind)
        if value is None:
            continue
        if _is_number(value) and 0.0 < value < inf:
            out[kind] = float(value)
        else:
            file.log.error(
                "sigma-range", f"is {value!r}; a deviation over 0 in px is expected", f"{where}sigma_px {kind}"
            )
    missing = [k for k in KINDS if k not in given]
    if missing:
        file.log.note("assumed", "is not given", ", ".join(f"{k} = {out[k]:g}" for k in missing), where + "sigma_px")
    return out
