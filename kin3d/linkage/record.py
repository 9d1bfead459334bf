"""Records: tables of a file whose fields say at once how they are read, checked, held and written back.

A field's type and description are the only place where a key is described: `check` reads a table by them and turns
what does not fit into sentences, the record itself is the frozen data that studies use, and `keys_of` is its way back.
"""

from __future__ import annotations

import copy
import difflib
import re
import typing
from collections.abc import Iterator, Mapping, Sequence
from typing import Any, TypeVar

from pydantic import (
    BaseModel,
    ConfigDict,
    ModelWrapValidatorHandler,
    PrivateAttr,
    ValidationError,
    model_validator,
)
from pydantic.fields import FieldInfo

from kin3d.errors import Finding
from kin3d.linkage.names import did_you_mean

Location = tuple[str | int, ...]
_BARE = re.compile(r"[A-Za-z0-9_-]+")  # what TOML takes as a key without quotation marks
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


class Record(BaseModel):
    """One table of a file, frozen: nothing unknown, no conversion of types, no NaN.

    Any number may stand with its standard deviation, ``[value, sigma]``. The field then holds the value alone, and
    `sigmas` the deviation, in the unit of the value.
    """

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True, allow_inf_nan=False, defer_build=True)
    _sigmas: dict[str, float] = PrivateAttr(default_factory=dict)

    @property
    def own_sigmas(self) -> dict[str, float]:
        """Standard deviations of this table's own numbers by key, where they are given."""
        return dict(self._sigmas)

    @property
    def sigmas(self) -> dict[str, float]:
        """The same with those of the tables in it, by dotted key as `Car.with_figures` takes it."""
        out = self.own_sigmas
        for name in type(self).model_fields:
            value = getattr(self, name)
            inner = {name: value} if isinstance(value, Record) else _elements(name, value)
            out |= {f"{place}.{key}": sigma for place, r in inner.items() for key, sigma in r.sigmas.items()}
        return out

    @model_validator(mode="wrap")
    @classmethod
    def _values_alone(cls, data: Any, handler: ModelWrapValidatorHandler[Any]) -> Any:
        if not isinstance(data, Mapping):
            return handler(data)
        pairs = {k: v for k, v in data.items() if _is_pair(v) and _holds_number(cls, k)}
        record = handler({**data, **{key: value for key, (value, _) in pairs.items()}})
        record._sigmas = {key: float(sigma) for key, (_, sigma) in pairs.items()}
        return record


class NamedTable(Record):
    """One of several tables that are headed by their names, ``[front.joints.tie_outer]``; a key has a tuple of them."""

    name: str


def _holds_number(model: type[Record], key: str | None) -> bool:
    field = model.model_fields.get(key or "")
    return field is not None and field.annotation in (float, float | None)


def _is_pair(value: Any) -> bool:
    """Whether it is a value with its standard deviation."""
    return (
        isinstance(value, list)
        and len(value) == 2
        and all(isinstance(v, int | float) and not isinstance(v, bool) for v in value)
        and 0.0 <= value[1] < float("inf")
    )


def _elements(key: str, value: Any) -> dict[str, Record]:
    """Tables of a list by their dotted keys: by name, by number where a name would not lead to it."""
    if not isinstance(value, tuple) or not all(isinstance(v, Record) for v in value):
        return {}
    names = [str(getattr(v, "name", "")) for v in value]
    clear = [bool(n) and "." not in n and names.count(n) == 1 for n in names]
    return {f"{key}.{names[k] if clear[k] else k + 1}": v for k, v in enumerate(value)}


R = TypeVar("R", bound=Record)


def changed(record: R, sigmas: Mapping[str, float] | None = None, /, **new: Any) -> R:
    """Return a copy of a record with other values; they are taken as they are, as `dataclasses.replace` does.

    Parameters
    ----------
    sigmas : mapping of str to float, optional
        Standard deviations of the copy's own numbers. Default: those of the values that stay; another value has none.

    Raises
    ------
    TypeError
        For a field that the record does not have.
    """
    unknown = [name for name in new if name not in type(record).model_fields]
    if unknown:
        raise TypeError(f"{type(record).__name__} has no field {', '.join(unknown)}")
    out = record.model_copy(update=new)
    for name in [n for n in vars(out) if n not in type(out).model_fields]:
        del vars(out)[name]  # what was worked out from the old values
    kept = {key: s for key, s in record.own_sigmas.items() if key not in new}
    out._sigmas = kept if sigmas is None else dict(sigmas)
    return out


def placed(record: R, path: Sequence[str], value: Any) -> R:
    """Return a copy with another value in one of its tables; the value is taken as it is."""
    head, *rest = path
    return changed(record, **{head: placed(getattr(record, head), rest, value) if rest else value})


def keys_of(record: Record) -> dict[str, Any]:
    """Return a record as the table that reads back as it: numbers, texts, paths, lists and tables in tables.

    A key is there when it was given or is not what it is without being given; None and empty lists never are.
    """
    out: dict[str, Any] = {}
    for name, field in type(record).model_fields.items():
        value = getattr(record, name)
        given = name in record.model_fields_set or value != field.default
        if given and value is not None and value != ():
            sigma = record.own_sigmas.get(name)
            out[name] = plain(value) if sigma is None else [plain(value), sigma]
    return out


def plain(value: Any) -> Any:
    """Return a value as a parsed file has it: records as tables, tuples and arrays as lists."""
    if isinstance(value, Record):
        return keys_of(value)
    if isinstance(value, tuple) and value and all(isinstance(v, NamedTable) for v in value):
        return {v.name: {k: w for k, w in keys_of(v).items() if k != "name"} for v in value}
    if isinstance(value, Mapping):
        return {k: plain(v) for k, v in value.items()}
    if hasattr(value, "tolist"):  # numbers and arrays of numpy
        return value.tolist()
    return [plain(v) for v in value] if isinstance(value, list | tuple) else value


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
        try:
            return model.model_validate(good), findings
        except ValidationError as err:
            problems = [(p["type"], p["loc"], _headed(p["loc"], good)) for p in err.errors(include_url=False)]
            for kind, location, headed in problems:
                if kind == "missing" and isinstance(location[-1], int):  # an element of a list that is too short
                    findings.append(_finding("too_short", location[:-1], headed[:-1], data, model, extra_keys))
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
    near = difflib.get_close_matches(str(value).lower(), choices, 1)
    hint = f'; did you mean "{near[0]}"?' if near else ""
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
    if kind == "extra_forbidden":
        text = f"is not a known key; {_key_hint(location, root, extra)}"
    else:
        _, field = _find(location, root)
        expected = _expected(field)
        value = None if kind == "missing" else _value(data, headed)
        found = "is missing" if kind == "missing" else f"is {show(value)}"
        text = f"{found}; {expected} is expected{_value_hint(kind, value, expected)}"
    return Finding(_CODES.get(kind, "value-type"), text, where(headed))


def _find(location: Location, root: type[Record]) -> tuple[type[Record], FieldInfo | None]:
    """Return the record that a key belongs to and, if it knows the key, its field."""
    model = root
    field: FieldInfo | None = None
    for part in location:
        if isinstance(part, int):
            continue
        inner = record_of(field.annotation) if field else root
        model = inner or model
        field = model.model_fields.get(part)
    return model, field


def record_of(annotation: Any) -> type[Record] | None:
    """Return the table that a key of this type holds, or each element of its list of tables."""
    if isinstance(annotation, type) and issubclass(annotation, Record):
        return annotation
    return next((found for option in typing.get_args(annotation) if (found := record_of(option))), None)


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
    if kind == "float_type" and isinstance(value, list):
        return ", alone or as [value, sigma] with a standard deviation of 0 or more"
    if isinstance(value, list) and kind == "less_than_equal":
        value = value[0]
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


def _key_hint(location: Location, root: type[Record], extra: Mapping[str, tuple[str, ...]]) -> str:
    """Return the nearest known key; else the table where that key is at home; else all keys of the table."""
    model, _ = _find(location, root)
    key = str(location[-1])
    own = [*_own_keys(model), *(extra.get(str(location[0]), ()) if len(location) == 2 else ())]
    near = difflib.get_close_matches(key.lower(), own, 1)
    if near:
        return f'did you mean "{near[0]}"?'
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
    return [key for key in model.model_fields if key != "name" or not issubclass(model, NamedTable)]


def _tables(model: type[Record], name: str) -> Iterator[tuple[str, list[str]]]:
    yield name, _own_keys(model)
    for key, field in model.model_fields.items():
        inner = record_of(field.annotation)
        if inner:
            place = f"{name}.{key}" if name else key
            yield from _tables(inner, f"{place}.NAME" if issubclass(inner, NamedTable) else place)
