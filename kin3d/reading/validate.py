"""Turns what pydantic finds in a car file into sentences: found, expected, nearest known key."""

from __future__ import annotations

import copy
import difflib
import typing
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from pydantic import BaseModel, ValidationError
from pydantic.fields import FieldInfo

from kin3d.reading.finding_log import FindingLog
from kin3d.reading.model import CarFile

Location = tuple[str | int, ...]
_CODES = {
    "extra_forbidden": "key-unknown",
    "missing": "key-missing",
    "literal_error": "choice-unknown",
    "greater_than": "value-range",
    "greater_than_equal": "value-range",
    "less_than": "value-range",
    "less_than_equal": "value-range",
    "finite_number": "number-not-finite",
}


def validate(data: Mapping[str, Any], extra_keys: Mapping[str, tuple[str, ...]], log: FindingLog) -> CarFile:
    """Return what is right in the file; everything else becomes a finding and is left out.

    Parameters
    ----------
    data : mapping
        The parsed TOML, without the keys that layouts add.
    extra_keys : mapping of str to tuple of str
        Those keys for each axle, so that a mistyped one finds its neighbour.
    log : FindingLog
        Takes the findings.
    """
    good = copy.deepcopy(dict(data))
    while True:
        try:
            return CarFile.model_validate(good)
        except ValidationError as err:
            for problem in err.errors(include_url=False):
                location: Location = problem["loc"]
                _tell(problem["type"], location, data, extra_keys, log)
                _prune(good, location)


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


def where(location: Location) -> str:
    """Return the place of a key in the file: ``[front.spring] rate_n_per_mm``."""
    names = [str(part) for part in location if isinstance(part, str)]
    tables, key = names[:-1], names[-1]
    element = next((f", element {part + 1}" for part in location if isinstance(part, int)), "")
    return (f"[{'.'.join(tables)}] " if tables else "") + key + element


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


def _tell(
    kind: str,
    location: Location,
    data: Mapping[str, Any],
    extra: Mapping[str, tuple[str, ...]],
    log: FindingLog,
) -> None:
    if kind == "extra_forbidden":
        text = f"is not a known key; {_key_hint(location, extra)}"
    else:
        _, field = _find(location)
        expected = _expected(field)
        value = None if kind == "missing" else _value(data, location)
        found = "is missing" if kind == "missing" else f"is {show(value)}"
        text = f"{found}; {expected} is expected{_value_hint(kind, value, expected)}"
    log.error(_CODES.get(kind, "value-type"), text, where(location))


def _find(location: Location) -> tuple[type[BaseModel], FieldInfo | None]:
    """Return the model that a key belongs to and, if it knows the key, its field."""
    model: type[BaseModel] = CarFile
    field: FieldInfo | None = None
    for part in location:
        if isinstance(part, int):
            continue
        inner = _model_of(field) if field else CarFile
        model = inner or model
        field = model.model_fields.get(part)
    return model, field


def _model_of(field: FieldInfo) -> type[BaseModel] | None:
    """Return the table that a key holds, or each element of its list of tables."""
    options = list(typing.get_args(field.annotation)) or [field.annotation]
    options += [inner for option in options for inner in typing.get_args(option)]
    return next((o for o in options if isinstance(o, type) and issubclass(o, BaseModel)), None)


def _expected(field: FieldInfo | None) -> str:
    """Return what a key takes: its description, its choices, or a table."""
    if field is None:
        return "another value"
    if field.description:
        return field.description
    choices = _choices(field.annotation)
    if choices:
        return one_of(choices)
    return "a table"


def _choices(annotation: Any) -> tuple[str, ...]:
    if typing.get_origin(annotation) is typing.Literal:
        return typing.get_args(annotation)
    return tuple(c for option in typing.get_args(annotation) for c in _choices(option))


def _value_hint(kind: str, value: Any, expected: str) -> str:
    if "share" in expected and kind == "less_than_equal" and value <= 100:
        return f"; {value:g} % is {value / 100:g}"
    if isinstance(value, str) and not expected.startswith(("a text", '"', "a table", "a list of point", "tables")):
        return ", without quotation marks"
    if isinstance(value, str):
        near = difflib.get_close_matches(
            value.lower(), expected.replace('"', "").replace(" or ", ", ").split(", "), 1
        )
        return f'; did you mean "{near[0]}"?' if near and kind == "literal_error" else ""
    return ""


def _key_hint(location: Location, extra: Mapping[str, tuple[str, ...]]) -> str:
    """Return the nearest known key; else the table where that key is at home; else all keys of the table."""
    model, _ = _find(location)
    key = str(location[-1])
    own = [*model.model_fields, *(extra.get(str(location[0]), ()) if len(location) == 2 else ())]
    near = difflib.get_close_matches(key.lower(), own, 1)
    if near:
        return f'did you mean "{near[0]}"?'
    homes = [table for table, fields in _tables(CarFile, "") if key in fields and table]
    homes += [axle for axle, keys in extra.items() if key in keys]
    if homes:
        return f"it belongs in {' or '.join(f'[{h}]' for h in homes)}"
    return f"known here: {', '.join(own)}"


def _tables(model: type[BaseModel], name: str) -> Iterator[tuple[str, list[str]]]:
    yield name, list(model.model_fields)
    for key, field in model.model_fields.items():
        inner = _model_of(field)
        if inner:
            yield from _tables(inner, f"{name}.{key}" if name else key)
