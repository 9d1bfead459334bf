"""Targets files (TOML): how far points may go, and what is wanted of the measures then."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any, Literal

import numpy as np
from numpy.typing import NDArray

from kin3d.errors import Finding, ReadingError
from kin3d.linkage.checking import check, show
from kin3d.linkage.expected import Expected
from kin3d.linkage.key_types import SOME_TEXT, TEXT, tables
from kin3d.linkage.names import AxleName, Side, did_you_mean
from kin3d.linkage.record import Record, known_keys
from kin3d.reading.cells import read_number
from kin3d.reading.rows import split_rows
from kin3d.reading.text import FindingLog, read_text, read_toml

Array = NDArray[np.float64]
AlongName = Literal["travel", "rack", "heave", "roll", "pitch"]
ALONG: dict[str, AlongName] = {
    "travel_mm": "travel", "rack_mm": "rack", "heave_mm": "heave", "roll_deg": "roll", "pitch_deg": "pitch",
}  # fmt: skip
MOST_ANGLE_DEG = 45.0
MOST_MM = 2_000.0
_Number = Annotated[float | None, Expected("a number")]
_Mm = Annotated[float | None, Expected("a number of mm", ge=-MOST_MM, le=MOST_MM)]
_Deg = Annotated[float | None, Expected("an angle under 45 degrees", gt=-MOST_ANGLE_DEG, lt=MOST_ANGLE_DEG)]
_Two = Annotated[tuple[float, float] | None, Expected("a list of two numbers")]
_Positive = Annotated[float, Expected("a number over 0", gt=0)]
_Names = Annotated[tuple[tuple[str, ...], ...], Expected('a list of lists of names, [["a", "b"]],')]


class Stand(Record):
    """Where a want is asked, ``at = { travel_mm = 0 }``; drives that are not named are 0."""

    travel_mm: _Mm = None
    rack_mm: _Mm = None
    heave_mm: _Mm = None
    roll_deg: _Deg = None
    pitch_deg: _Deg = None
    lateral_g: Annotated[float | None, Expected("an acceleration in g", ge=-20, le=20)] = None


class Want(Record):
    """One thing that is wanted, ``[[want]]``."""

    measure: Annotated[str, SOME_TEXT]
    at: Stand | None = None
    value: _Number = None
    least: _Number = None
    within: _Positive
    gradient: _Number = None
    range: _Two = None
    change: _Two = None
    curve: Annotated[str | None, TEXT] = None
    car: Annotated[str | None, TEXT] = None
    over: _Two = None
    along: AlongName | None = None
    side: Side | None = None
    weight: _Positive = 1.0


class Keep(Record):
    """What is not to change, ``[keep]``: lengths between two points, coordinates that go together."""

    lengths: _Names = ()
    together: _Names = ()


class TargetKeys(Record):
    """The whole file but ``[move]``, whose keys are names of coordinates."""

    title: Annotated[str, TEXT] = ""
    axle: AxleName | None = None
    want: Annotated[tuple[Want, ...], tables("want")] = ()
    keep: Keep = Keep()


@dataclass(frozen=True, slots=True)
class Reach:
    """How far a coordinate, or a group as one, may go: both ways from its present place, mm."""

    name: str
    low: float
    high: float


@dataclass(frozen=True, slots=True, eq=False)
class WantedCurve:
    """Values over a drive, from a table."""

    along: AlongName
    at: Array
    value: Array


@dataclass(frozen=True, slots=True)
class TargetsFile:
    """A targets file as read.

    Attributes
    ----------
    source : pathlib.Path
    axle : {"front", "rear"} or None
        None where the file does not say it rightly.
    moves : tuple of Reach
        In the order of the file.
    wants : mapping of int to Want
        By their number in the file, from 1; those with mistakes are left out.
    curves : mapping of int to WantedCurve
        Of wants with a table, by the same number.
    keep : Keep
    findings : tuple of Finding
        What is wrong with it so far as can be seen without the car.
    """

    source: Path
    title: str
    axle: AxleName | None
    moves: tuple[Reach, ...]
    wants: Mapping[int, Want]
    curves: Mapping[int, WantedCurve]
    keep: Keep
    findings: tuple[Finding, ...]

    def place(self, want: int) -> str:
        """A want's place in the file, for messages."""
        return f"{self.source}, [[want]] {want}"

    def path(self, name: str) -> Path:
        """A path that the file names."""
        return self.source.parent / name


def read_targets(path: Path | str) -> TargetsFile:
    """Read a targets file with the tables that it names.

    Parameters
    ----------
    path : path-like
        The TOML file; paths in it are relative to it.

    Returns
    -------
    TargetsFile
        With everything that is wrong among its findings: a study adds what does not fit the car, and raises.

    Raises
    ------
    ReadingError
        When it cannot be read as TOML.
    """
    file, log = Path(path), FindingLog(str(path))
    data = read_toml(file, log, "a targets file with [move] and [[want]] is expected")
    if data is None:
        raise ReadingError(log.findings)
    return _targets(file, data, log)


def _targets(file: Path, data: Mapping[str, Any], log: FindingLog) -> TargetsFile:
    rest = {k: v for k, v in data.items() if k != "move"}
    raw = data.get("want", [])
    wants: dict[int, Want] = {}
    if isinstance(raw, list) and all(isinstance(w, dict) for w in raw):
        rest.pop("want", None)
        for k, one in enumerate(raw, 1):
            found, findings = check(TargetKeys, {"want": [one]}, {})
            keys_wrong = [f.place.split("] ")[-1].split(", element")[0] for f in findings]
            for f, key in zip(findings, keys_wrong, strict=True):
                log.error(f.code, f.text, f"[[want]] {k}" + (f", {key}" if key and key != "want" else ""))
            if found.want:
                wants[k] = found.want[0]
            elif not {"value", "range", "change", "gradient", "curve", "car", "want"} & set(keys_wrong):
                # what else is wrong with it is said in the same run
                rest_of_it = {key: v for key, v in one.items() if key not in keys_wrong}
                again, _ = check(TargetKeys, {"want": [{"measure": "", "within": 1.0} | rest_of_it]}, {})
                for want in again.want:
                    _kind(want, f"[[want]] {k}", log)
    keys, findings = check(TargetKeys, rest, {})
    for f in findings:
        log.error(f.code, f.text, f.place)
    if keys.axle is None and "axle" not in data:
        log.error("key-missing", 'is missing; "front" or "rear" is expected', "axle")
    if not raw:
        log.error("want-none", "wants nothing; one table [[want]] or more is expected")
    curves = {}
    for k, want in list(wants.items()):
        place = f"[[want]] {k}"
        pairs = {**want.own_sigmas, **(want.at.own_sigmas if want.at else {})}
        for key, sigma in pairs.items():
            log.error("value-type", f"is a list that ends in {sigma:g}; a number alone is expected", f"{place}, {key}")
        if not _kind(want, place, log) or pairs:
            del wants[k]
        elif want.curve is not None:
            curve = _curve(file.parent / want.curve, log)
            if curve is not None:
                curves[k] = curve
    moves = _moves(data.get("move"), log)
    return TargetsFile(file, keys.title, keys.axle, moves, wants, curves, keys.keep, log.findings)


def _moves(table: Any, log: FindingLog) -> tuple[Reach, ...]:
    if not isinstance(table, Mapping) or not table:
        found = "is missing" if table is None else f"is {show(table)}"
        text = f'{found}; a table with one line a coordinate, "lower_front.z" = 15, is expected'
        log.error("move-none", text, "[move]")
        return ()
    out = []
    for name, reach in _flat(table).items():
        ends = reach if isinstance(reach, list) else [reach, reach]
        good = len(ends) == 2 and all(
            isinstance(v, int | float) and not isinstance(v, bool) and abs(v) <= MOST_MM for v in ends
        )
        if good and not isinstance(reach, list):
            ends = [-float(ends[0]), float(ends[1])]
        if not good or not ends[0] < ends[1] or ends[0] > 0.0 or ends[1] < 0.0:
            want = "a number of mm over 0, either way, or [lowest, highest] with 0 between them"
            log.error("move-range", f"is {show(reach)}; {want} is expected", f'[move] "{name}"')
            continue
        out.append(Reach(name, float(ends[0]), float(ends[1])))
    return tuple(out)


def _flat(table: Mapping[str, Any]) -> dict[str, Any]:
    """Entries by name; ``lower_front.z = 15`` without quotation marks is a table in a table of TOML."""
    out: dict[str, Any] = {}
    for name, value in table.items():
        if isinstance(value, Mapping):
            out |= {f"{name}.{axis}": v for axis, v in value.items()}
        else:
            out[name] = value
    return out


def _kind(want: Want, place: str, log: FindingLog) -> bool:
    """Whether the keys of a want go together; what does not, and what is missing, goes to the log."""
    before = len(log.findings)
    ways = {k: getattr(want, k) for k in ("gradient", "range", "change", "curve", "car")}
    given = [k for k, v in ways.items() if v is not None]
    if len(given) > 1:
        log.error("want-mixed", f"has {' and '.join(given)}; one of them a want is expected, give each its own", place)
        return False
    way = given[0] if given else "value"
    if way in ("gradient", "curve", "car") and want.value is not None:
        log.error("want-mixed", f"has {way} and value; {way} says all that is wanted, take out value", place)
    if want.least is not None and (given or want.value is not None):
        what = given[0] if given else "value"
        log.error("want-mixed", f"has {what} and least; least says all that is wanted, take one of them out", place)
    if way in ("value", "change") and want.value is None and want.least is None:
        text = "is missing" if way == "change" else "is missing, and gradient, range, change, curve and car too"
        log.error("key-missing", f"{text}; a number is expected", f"{place}, value")
    if want.over is not None and way in ("gradient", "range", "change"):
        log.error("want-mixed", f"has {way} and over; over goes with value, curve and car", f"{place}, over")
    for key in ("range", "change", "over"):
        ends = getattr(want, key)
        if ends is not None and (ends[0] == ends[1] or (key != "change" and ends[0] > ends[1])):
            text = f"is {list(ends)}; two different numbers are expected, the lower first"
            log.error("ends", text, f"{place}, {key}")
    if way == "range" and want.value is not None and want.value < 0:
        log.error("value-range", f"is {want.value:g}; greatest less smallest is 0 or more", f"{place}, value")
    single = way == "value" and want.over is None
    if want.along is not None and (single or way == "curve"):
        why = "the table's first column says it" if way == "curve" else "one position is asked"
        log.error("want-mixed", f"is not used: {why}; take it out", f"{place}, along")
    if want.at is not None and want.at.lateral_g is not None:
        others = [k for k in known_keys(Stand) if k != "lateral_g" and getattr(want.at, k)]
        if others or not single:
            text = "lateral_g settles the car: it goes with value alone, and without other drives"
            log.error("drives-mixed", text, f"{place}, at")
    return len(log.findings) == before


def _curve(path: Path, log: FindingLog) -> WantedCurve | None:
    """A table ``travel_mm,value`` (or another drive); None with findings where it is none."""
    own = FindingLog(str(path))
    body = read_text(path, own, "a table with the header travel_mm,value is expected")
    found = None if body is None else _curve_of(body, own)
    log.adopt(own.findings)
    return found


def _curve_of(body: str, log: FindingLog) -> WantedCurve | None:
    table = split_rows(body, log, "the header travel_mm,value is expected", (*ALONG, "value"))
    if table is None:
        return None
    head = [c.lower() for c in table.header.cells]
    if len(head) != 2 or head[0] not in ALONG or head[1] != "value":
        text = f"the header is {head}; travel_mm,value is expected ({did_you_mean(head[0], ALONG)})"
        log.error("header", text, table.header.line)
        return None
    pairs: list[tuple[float, float]] = []
    for row in table.fitting(log):
        at, value = (read_number(c, table.mark, n, row.line, log) for c, n in zip(row.cells, head, strict=True))
        if at is None or value is None:
            continue
        if any(math.isclose(at, other) for other, _ in pairs):
            log.error("row-twice", f"{head[0]} {at:g} stands twice", row.line)
        pairs.append((at, value))
    if not pairs:
        log.error("table-empty", "has a header and no rows; one row for each position is expected")
        return None
    order = sorted(pairs)
    return WantedCurve(ALONG[head[0]], np.array([a for a, _ in order]), np.array([v for _, v in order]))
