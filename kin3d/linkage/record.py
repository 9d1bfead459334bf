"""Records: tables of a file whose fields say at once how they are read, checked, held and written back.

A field's type and description are the only place where a key is described: `kin3d.linkage.checking` reads a table by
them and turns what does not fit into sentences, the record itself is the frozen data that studies use, and `keys_of`
is its way back.
"""

from __future__ import annotations

import inspect
import sys
from collections.abc import Iterator, Mapping, Sequence
from functools import cached_property
from typing import Any, ClassVar, TypeVar, dataclass_transform

from kin3d.linkage.expected import MISSING, FileKey, Ill, Location, table_fault


class _Beside:
    """What a record holds beside its keys: which of them were given, and the deviations of its own numbers."""

    _given: frozenset[str]
    _sigmas: Mapping[str, float]
    _keys: ClassVar[dict[str, FileKey]]


@dataclass_transform(kw_only_default=True, frozen_default=True)
class Record(_Beside):
    """One table of a file, frozen: nothing unknown, no conversion of types, no NaN.

    Any number may stand with its standard deviation, ``[value, sigma]``. The field then holds the value alone, and
    `sigmas` the deviation, in the unit of the value.

    Raises
    ------
    ValueError
        When it is made by hand with what a file could not have.
    """

    def __init__(self, **values: Any) -> None:
        ill: list[Ill] = []
        self._fill(values, (), ill)
        if ill:
            faults = ", ".join(f"{'.'.join(map(str, place))} ({kind})" for kind, place in ill)
            raise ValueError(f"{type(self).__name__} cannot have {faults}")

    def __setattr__(self, name: str, value: Any) -> None:
        raise AttributeError(f"{type(self).__name__} is frozen; `changed` makes a copy with another {name}")

    def __delattr__(self, name: str) -> None:
        raise AttributeError(f"{type(self).__name__} is frozen; {name} stays")

    def __iter__(self) -> Iterator[tuple[str, Any]]:
        return iter([(name, getattr(self, name)) for name in known_keys(type(self))])

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, Record) or type(self) is not type(other):
            return NotImplemented
        return values_of(self) == values_of(other) and self._sigmas == other._sigmas

    def __hash__(self) -> int:
        return hash((type(self), *(value for _, value in self)))

    def __repr__(self) -> str:
        return f"{type(self).__name__}({', '.join(f'{name}={value!r}' for name, value in self)})"

    @property
    def given(self) -> frozenset[str]:
        """Names of the keys that were given; the others are what they are without being given."""
        return self._given

    @property
    def own_sigmas(self) -> dict[str, float]:
        """Standard deviations of this table's own numbers by key, where they are given."""
        return dict(self._sigmas)

    @cached_property
    def sigmas(self) -> Mapping[str, float]:
        """The same with those of the tables in it, by dotted key as `Car.with_figures` takes it."""
        out = self.own_sigmas
        for name, value in self:
            inner = {name: value} if isinstance(value, Record) else _elements(name, value)
            out |= {f"{place}.{key}": sigma for place, r in inner.items() for key, sigma in r.sigmas.items()}
        return out

    @classmethod
    def _read(cls, data: Any, place: Location, ill: list[Ill]) -> Any:
        """A table of a file as a record; what is wrong with it goes to `ill`."""
        if isinstance(data, cls):
            return data
        fault = table_fault(data)
        if fault:
            ill.append((fault, place))
            return None
        out = cls.__new__(cls)
        out._fill(data, place, ill)
        return out

    def _fill(self, data: Mapping[str, Any], place: Location, ill: list[Ill]) -> None:
        known = known_keys(type(self))
        values: dict[str, Any] = {}
        sigmas: dict[str, float] = {}
        for name, key in known.items():
            if name not in data:
                values[name] = key.default
                if key.required:
                    ill.append(("missing", (*place, name)))
                continue
            value = data[name]
            if key.is_number and _is_pair(value):
                value, sigmas[name] = value[0], float(value[1])
            values[name] = key.take(value, (*place, name), ill)
        ill += [("unknown", (*place, name)) for name in data if name not in known]
        vars(self).update(values, _given=frozenset(data) & known.keys(), _sigmas=sigmas)


class NamedTable(Record):
    """One of several tables that are headed by their names, ``[front.joints.tie_outer]``; a key has a tuple of them."""

    name: str


R = TypeVar("R", bound=Record)


def known_keys(model: type[Record]) -> Mapping[str, FileKey]:
    """The keys of a table by name, those of the classes that it derives from first."""
    if "_keys" not in vars(model):  # made when they are first asked for: few tables stand in a file
        types: dict[str, Any] = {}
        for base in reversed(model.__mro__):
            if issubclass(base, Record):
                types |= inspect.get_annotations(base, eval_str=True)
        model._keys = {name: FileKey(name, kind, getattr(model, name, MISSING)) for name, kind in types.items()}
    return model._keys


def values_of(record: Record) -> dict[str, Any]:
    """The values of a record by their keys, tables as the records that they are."""
    return {name: getattr(record, name) for name in known_keys(type(record))}


def of_values(model: type[R], /, **values: Any) -> R:
    """Return a record of values that are taken as they are; the others are what they are without being given."""
    out = model.__new__(model)
    held = {name: values.get(name, key.default) for name, key in known_keys(model).items()}
    vars(out).update(held, _given=frozenset(values), _sigmas={})
    return out


def _is_pair(value: Any) -> bool:
    """Whether it is a value with its standard deviation."""
    return (
        isinstance(value, list)
        and len(value) == 2
        and all(isinstance(v, int | float) and not isinstance(v, bool) for v in value)
        and 0.0 <= value[1] <= sys.float_info.max
    )


def _elements(key: str, value: Any) -> dict[str, Record]:
    """Tables of a list by their dotted keys: by name, by number where a name would not lead to it."""
    if not isinstance(value, tuple) or not all(isinstance(v, Record) for v in value):
        return {}
    names = [str(getattr(v, "name", "")) for v in value]
    clear = [bool(n) and "." not in n and names.count(n) == 1 for n in names]
    return {f"{key}.{names[k] if clear[k] else k + 1}": v for k, v in enumerate(value)}


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
    known = known_keys(type(record))
    unknown = [name for name in new if name not in known]
    if unknown:
        raise TypeError(f"{type(record).__name__} has no field {', '.join(unknown)}")
    out = type(record).__new__(type(record))
    kept = {key: s for key, s in record.own_sigmas.items() if key not in new}
    held = values_of(record) | new  # without what was worked out from the old values
    vars(out).update(held, _given=record.given | new.keys(), _sigmas=kept if sigmas is None else dict(sigmas))
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
    for name, key in known_keys(type(record)).items():
        value = getattr(record, name)
        given = name in record.given or value != key.default
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
