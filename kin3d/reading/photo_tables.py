"""The tables ``[[photos]]`` of a file of photographs, and how values are taken out of such a file."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from math import inf, isfinite
from math import log as ln
from pathlib import Path
from typing import Any, TypeGuard

from kin3d.linkage.names import did_you_mean
from kin3d.reading.photo_records import KINDS, SIGMA_PX, Figure, MarkKind, Photo
from kin3d.reading.picture import Picture, read_picture
from kin3d.reading.text import FindingLog

PHOTO_KEYS = (
    "name", "file", "size_px", "focal_mm", "sensor_width_mm", "cropped", "drawing", "travel_mm", "rear_travel_mm",
    "rack_mm", "sigma_px", "px_per_mm", "axes",
)  # fmt: skip
SENSOR_MM = 36.0
FOCAL_SIGMA, CENTRE_SHARE, CROPPED_SHARE, DISTORTION = 0.02, 0.005, 0.25, 0.01
# a drawing is seen straight on, without a lens, from so many picture widths away that depth does not matter
DRAWING_FOCAL, DRAWING_SIGMA, DRAWING_CENTRE, DRAWING_DISTORTION = 1e4, 1e-3, 1e-3, 1e-6
SCALE_SIGMA = 0.003  # of px_per_mm where it has none: paper and scanner stretch; common practice, no source
DRAWING_MM = 0.5  # a drawing shows the design position; to so much unless it says otherwise
UNKNOWN_FOCAL = 1.4  # picture widths: between a wide and a long lens


@dataclass(slots=True)
class PhotoFile:
    """One parsed file of photographs and the means to take values out of it; what is wrong goes to `log`.

    Attributes
    ----------
    path : pathlib.Path
    data : mapping
        The file as parsed.
    log : FindingLog
    sizes : dict of str to (float, float) or None
        Size of each photograph read so far, px.
    deviations : dict of str to mapping
        Deviation of each kind of mark in it, px.
    """

    path: Path
    data: Mapping[str, Any]
    log: FindingLog
    sizes: dict[str, tuple[float, float] | None] = field(default_factory=dict)
    deviations: dict[str, Mapping[MarkKind, float]] = field(default_factory=dict)

    def unknown_keys(self, where: str, table: Mapping[str, Any], known: tuple[str, ...]) -> None:
        """Tell keys of a table that are none of those known."""
        for key in table:
            if key not in known:
                self.log.error("key-unknown", f"is not a known key; {did_you_mean(key, known)}", f"{where}{key}")

    def text(self, table: Mapping[str, Any], key: str, where: str, default: str, needed: str = "") -> str:
        """A text; the default where there is none, which is wrong if `needed` says what it is."""
        value = table.get(key)
        if isinstance(value, str) and value.strip():
            return value.strip()
        if key in table:
            self.log.error("value-type", f"is {value!r}; a text in quotation marks is expected", f"{where}{key}")
        elif needed:
            self.log.error("key-missing", f"is missing; give {needed}", f"{where}{key}")
        return default

    def choice(self, table: Mapping[str, Any], key: str, choices: tuple[str, ...], default: str) -> str:
        """One of several words; the default, with a note, where there is none."""
        value = table.get(key, default)
        if value in choices:
            if key not in table:
                self.log.note("assumed", "is not given", f'{key} = "{default}"', key)
            return str(value)
        expected = " or ".join(f'"{c}"' for c in choices)
        self.log.error("choice-unknown", f"is {value!r}; {expected} is expected", key)
        return default

    def length(self, table: Mapping[str, Any], key: str, default: float) -> Figure:
        """A length over 0, mm; the default, with a note, where there is none."""
        value = table.get(key)
        if key not in table:
            self.log.note("assumed", "is not given", f"{key} = {default:g}", key)
            return Figure(default, 0.0, False, f"{key} assumed")
        if is_number(value) and value > 0.0:
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
        if len(pair) != 2 or not all(is_number(v) for v in pair):
            self.log.error("value-type", f"is {value!r}; a number, or [value, sigma] is expected", place)
        elif pair[1] < 0.0:
            self.log.error("sigma-range", f"has the deviation {pair[1]:g}; 0 or more is expected", place)
        elif positive and pair[0] <= 0.0:
            self.log.error("value-range", f"is {pair[0]:g}; a length over 0 in mm is expected", place)
        else:
            return Figure(float(pair[0]), float(pair[1]), True, self.log.place(place))
        return None


def is_number(value: Any) -> TypeGuard[float]:
    """Whether a parsed value is a finite number."""
    return isinstance(value, int | float) and not isinstance(value, bool) and isfinite(value)


def photos_of(file: PhotoFile) -> tuple[Photo, ...]:
    """The photographs of a file that are as they should be."""
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


def _photo(file: PhotoFile, table: Mapping[str, Any], name: str, where: str) -> Photo | None:
    cropped, drawing = (_yes(file, table, key, where) for key in ("cropped", "drawing"))
    picture, path = None, None
    if "file" in table:
        path = file.path.parent / file.text(table, "file", where, "?")
        if path.is_file() or "size_px" not in table:
            picture = read_picture(path, where + "file", file.log)
    size = _size(file, table, picture, where)
    if drawing:
        focal = _far_away(file, table, size, cropped, where)
    else:
        focal = _focal(file, table, picture, size, cropped, where)
    positions = {
        k: _position(file, table, k, DRAWING_MM if drawing else s, where)
        for k, s in (("travel_mm", 4.0), ("rear_travel_mm", 4.0), ("rack_mm", 8.0))
    }
    if size is None or focal is None:
        return None
    scale = _scale(file, table, drawing, where)
    share = DRAWING_CENTRE if drawing else CROPPED_SHARE if cropped else CENTRE_SHARE
    distortion = DRAWING_DISTORTION if drawing else DISTORTION
    return Photo(
        name, path, size, focal, share * size[0], distortion, positions["travel_mm"], positions["rear_travel_mm"],
        positions["rack_mm"], picture.sha256 if picture else "", file.deviations[name],
        drawing, scale, _looks(file, table, drawing, where),
    )  # fmt: skip


def _scale(file: PhotoFile, table: Mapping[str, Any], drawing: bool, where: str) -> Figure | None:
    """Pixels for one mm of the car in a scanned sheet; None where it is not said."""
    found = file.figure(table, "px_per_mm", where, positive=True)
    if found is not None and not drawing:
        file.log.error("scale-photo", "is of a scanned sheet, with drawing = true; leave it out", where + "px_per_mm")
    if found is None or found.sigma > 0.0:
        return found
    return Figure(found.value, SCALE_SIGMA * found.value, True, found.place)


def _looks(
    file: PhotoFile, table: Mapping[str, Any], drawing: bool, where: str
) -> tuple[tuple[int, float], tuple[int, float]] | None:
    """Which axes of the car run right and up in a scanned sheet; None where it is not said."""
    given = table.get("axes")
    if given is None:
        return None
    words = [w if isinstance(w, str) else "" for w in given] if isinstance(given, list) else []
    found = [("xyz".find(w[-1:]), -1.0 if w[:1] == "-" else 1.0) for w in words if re.fullmatch("[-+]?[xyz]", w)]
    if not drawing:
        file.log.error("axes-photo", "is of a scanned sheet, with drawing = true; leave it out", where + "axes")
    elif len(words) == 2 and len(found) == 2 and found[0][0] != found[1][0]:
        return found[0], found[1]
    else:
        text = f'is {given!r}; the axes of the car that run right and up are expected, ["-y", "z"] for instance'
        file.log.error("value-type", text, where + "axes")
    return None


def _yes(file: PhotoFile, table: Mapping[str, Any], key: str, where: str) -> bool:
    """The value of a key that is true or false."""
    value = table.get(key, False)
    if not isinstance(value, bool):
        file.log.error("value-type", f"is {value!r}; true or false is expected", where + key)
        return False
    return value


def _far_away(
    file: PhotoFile, table: Mapping[str, Any], size: tuple[float, float] | None, cropped: bool, where: str
) -> Figure | None:
    """The focal length of a drawing: it was seen from so far away that parallel lines stay parallel."""
    for key in ("focal_mm", "sensor_width_mm", "cropped"):
        if key in table and (key != "cropped" or cropped):
            file.log.error("drawing-lens", "is of a lens, and a drawing has none; leave it out", where + key)
    if size is None:
        return None
    return Figure(DRAWING_FOCAL * max(size), DRAWING_SIGMA, True, file.log.place(where + "drawing"))


def _size(file: PhotoFile, table: Mapping[str, Any], picture: Picture | None, where: str) -> tuple[float, float] | None:
    given = table.get("size_px")
    size = None
    if given is not None:
        if isinstance(given, list) and len(given) == 2 and all(is_number(v) and v > 0 for v in given):
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
    file: PhotoFile,
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
        if value is not None and not (is_number(value) and value > 0):
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


def _position(file: PhotoFile, table: Mapping[str, Any], key: str, sigma: float, where: str) -> Figure:
    found = file.figure(table, key, where, positive=False)
    if found is None:
        if key not in table:
            file.log.note("assumed", "is not given", f"{key} = 0 ± {sigma:g}", where + key)
        return Figure(0.0, sigma, False, f"{key} assumed")
    return found


def _deviations(file: PhotoFile, table: Mapping[str, Any], where: str) -> Mapping[MarkKind, float]:
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
        if is_number(value) and 0.0 < value < inf:
            out[kind] = float(value)
        else:
            file.log.error(
                "sigma-range", f"is {value!r}; a deviation over 0 in px is expected", f"{where}sigma_px {kind}"
            )
    missing = [k for k in KINDS if k not in given]
    if missing:
        file.log.note("assumed", "is not given", ", ".join(f"{k} = {out[k]:g}" for k in missing), where + "sigma_px")
    return out
