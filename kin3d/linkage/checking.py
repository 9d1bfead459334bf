"""Files against records: what of a table is right, and a sentence for everything that is not."""

from __future__ import annotations

import copy
import re
import typing
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from kin3d.errors import Finding
from kin3d.linkage.expected import FileKey, Ill, Location
from kin3d.linkage.names import did_you_mean
from kin3d.linkage.record import NamedTable, R, Record, known_keys

_BARE = re.compile(r"[A-Za-z0-9_-]+")  # what TOML takes as a key without quotation marks
_CODES = {
    "unknown": "key-unknown",
    "missing": "key-missing",
    "choice": "choice-unknown",
    "range": "value-range",
    "over": "value-range",
    "not finite": "number-not-finite",
}


def set_key(data: dict[str, Any], path: Sequence[str], value: Any) -> str:
    """Put a value at a path into tables, None to take it out; returns what is wrong with the path, or an empty text.

    A table that is not there is made; an element of a list of tables goes by its name or its number from 1 on.
    """
    node: Any = data
    for k, part in enumerate(path[:-1]):
        here = ".".join(path[:k])
        if isinstance(node, list):
            names = [str(e.get("name", number)) for number, e in enumerate(node, 1)]
            numbers = [str(number) for number in range(1, len(node) + 1)]
            if part not in (*names, *numbers):
                return f'{here} has no element "{part}"; {did_you_mean(part, names)}'
            node = node[(names if part in names else numbers).index(part)]
        else:
            node = node.setdefault(part, {})
        if not isinstance(node, dict | list):
            return f"{'.'.join(path[: k + 1])} is no table; it is {show(node)}"
    if isinstance(node, list):
        return f"is a list of tables; name an element of {'.'.join(path[:-1])} and its key"
    if value is None:
        node.pop(path[-1], None)
    else:
        node[path[-1]] = value
    return ""


def check(
    model: type[R], data: Mapping[str, Any], extra_keys: Mapping[str, tuple[str, ...]]
) -> tuple[R, list[Finding]]:
    """Return what is right in a file's tables; everything else becomes a finding and is left out.

    Parameters
    ----------
    model : type of Record
        What the whole file should be; all its keys must be optional.
    data : mapping
        The parsed tables, without the keys that layouts add.
    extra_keys : mapping of str to tuple of str
        Those keys for each axle, so that a mistyped one finds its neighbour.
    """
    good = copy.deepcopy(dict(data))
    findings: list[Finding] = []
    while True:
        ill: list[Ill] = []
        found: R = model._read(good, (), ill)
        if not ill:
            return found, findings
        for kind, location, headed in [(kind, place, _headed(place, good)) for kind, place in ill]:
            if kind == "short":
                findings.append(_finding(kind, location[:-1], headed[:-1], data, model, extra_keys))
            else:
                findings.append(_finding(kind, location, headed, data, model, extra_keys))
            _prune(good, headed)


def show(value: Any) -> str:
    """Return a value as the car file writes it."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, dict):
        return "a table"
    if isinstance(value, list) and any(isinstance(v, dict) for v in value):
        return "a list of tables"
    return f'"{value}"' if isinstance(value, str) else str(value)


def one_of(choices: Sequence[str]) -> str:
    """Return choices as a sentence has them: ``"left" or "right"``."""
    quoted = [f'"{c}"' for c in choices]
    return " or ".join([", ".join(quoted[:-1]), quoted[-1]]) if len(quoted) > 1 else "".join(quoted)


def choice_fault(value: Any, choices: Sequence[str]) -> str:
    """Return what is wrong with the value of a key that a layout adds; empty when nothing is."""
    if isinstance(value, str) and (value in choices or not choices):
        return ""
    hint = did_you_mean(str(value), choices, "", "; ")
    return f"is {show(value)}; {one_of(choices) or 'a text in quotation marks'} is expected{hint}"


def in_heading(name: str) -> str:
    """Return a name as a heading of the file has it: in quotation marks where TOML needs them."""
    return name if _BARE.fullmatch(name) else f'"{name}"'


def where(location: Location) -> str:
    """Return the place of a key in the file: ``[front.spring] rate_n_per_mm``."""
    names = [in_heading(part) for part in location if isinstance(part, str)]
    tables, key = names[:-1], names[-1]
    element = next((f", element {part + 1}" for part in location if isinstance(part, int)), "")
    return (f"[{'.'.join(tables)}] " if tables else "") + key + element


def _headed(location: Location, data: Mapping[str, Any]) -> Location:
    """A location with the headings of tables in place of their numbers, where the file has headings."""
    out: list[str | int] = []
    node: Any = data
    for part in location:
        step = list(node)[part] if isinstance(part, int) and isinstance(node, Mapping) else part
        out.append(step)
        try:
            node = node[step]
        except (KeyError, IndexError, TypeError):  # a key that is missing
            node = None
    return tuple(out)


def _prune(good: dict[str, Any], location: Location) -> None:
    """Take out the wrong key, and with it its table where that is one of an axle's own."""
    head = location[0]
    if len(location) == 1 or not isinstance(good.get(str(head)), dict):
        good.pop(str(head), None)
    else:
        good[str(head)].pop(location[1], None)


def _value(data: Any, location: Location) -> Any:
    for part in location:
        data = data[part]
    return data


def _finding(
    kind: str,
    location: Location,
    headed: Location,
    data: Mapping[str, Any],
    root: type[Record],
    extra: Mapping[str, tuple[str, ...]],
) -> Finding:
    """A sentence of a problem; `location` is that of the records, `headed` that of the file."""
    if kind == "unknown":
        text = f"is not a known key; {_key_hint(location, root, extra)}"
    else:
        _, field = _find(location, root)
        expected = _expected(field)
        value = None if kind == "missing" else _value(data, headed)
        found = "is missing" if kind == "missing" else f"is {show(value)}"
        text = f"{found}; {expected} is expected{_value_hint(kind, value, expected)}"
    return Finding(_CODES.get(kind, "value-type"), text, where(headed))


def _find(location: Location, root: type[Record]) -> tuple[type[Record], FileKey | None]:
    """Return the record that a key belongs to and, if it knows the key, its field."""
    model = root
    field: FileKey | None = None
    for part in location:
        if isinstance(part, int):
            continue
        inner = record_of(field.kind) if field else root
        model = inner or model
        field = known_keys(model).get(part)
    return model, field


def record_of(annotation: Any) -> type[Record] | None:
    """Return the table that a key of this type holds, or each element of its list of tables."""
    if isinstance(annotation, type) and issubclass(annotation, Record):
        return annotation
    return next((found for option in typing.get_args(annotation) if (found := record_of(option))), None)


def _expected(field: FileKey | None) -> str:
    """Return what a key takes: its description, its choices, or a table."""
    if field is None:
        return "another value"
    if field.expected.words:
        return field.expected.words
    choices = _choices(field.kind)
    if choices:
        return one_of(choices)
    return "a table"


def _choices(annotation: Any) -> tuple[str, ...]:
    if typing.get_origin(annotation) is typing.Literal:
        return typing.get_args(annotation)
    return tuple(c for option in typing.get_args(annotation) for c in _choices(option))


def _value_hint(kind: str, value: Any, expected: str) -> str:
    if kind == "number" and isinstance(value, list):
        return ", alone or as [value, sigma] with a standard deviation of 0 or more"
    if isinstance(value, list) and kind == "over":
        value = value[0]
    if "share" in expected and kind == "over" and value <= 100:
        return f"; {value:g} % is {value / 100:g}"
    if isinstance(value, str) and not expected.startswith(("a text", '"', "a table", "a list of point", "tables")):
        return ", without quotation marks"
    if isinstance(value, str):
        choices = expected.replace('"', "").replace(" or ", ", ").split(", ")
        return did_you_mean(value, choices, "", "; ") if kind == "choice" else ""
    return ""


def _key_hint(location: Location, root: type[Record], extra: Mapping[str, tuple[str, ...]]) -> str:
    """Return the nearest known key; else the table where that key is at home; else all keys of the table."""
    model, _ = _find(location, root)
    key = str(location[-1])
    own = [*_own_keys(model), *(extra.get(str(location[0]), ()) if len(location) == 2 else ())]
    if near := did_you_mean(key, own, ""):
        return near
    headed = [table for table, _ in _tables(root, "") if table.endswith(f".{key}.NAME")]
    if headed:
        return f"tables of that kind are headed {' or '.join(f'[{h}]' for h in headed)}"
    homes = [table for table, fields in _tables(root, "") if key in fields and table]
    homes += [axle for axle, keys in extra.items() if key in keys]
    if homes:
        return f"it belongs in {' or '.join(f'[{h}]' for h in homes)}"
    return f"known here: {', '.join(own)}"


def _own_keys(model: type[Record]) -> list[str]:
    """Keys that a table of the file may have; a name that is its heading is none."""
    return [key for key in known_keys(model) if key != "name" or not issubclass(model, NamedTable)]


def _tables(model: type[Record], name: str) -> Iterator[tuple[str, list[str]]]:
    yield name, _own_keys(model)
    for key, field in known_keys(model).items():
        inner = record_of(field.kind)
        if inner:
            place = f"{name}.{key}" if name else key
            yield from _tables(inner, f"{place}.NAME" if issubclass(inner, NamedTable) else place)
