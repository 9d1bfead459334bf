"""What a key of a file may hold, read from its type: numbers within bounds, texts, choices, lists, tables of their own.

A type says what a value is once it is read, ``Expected`` beside it the bounds and the words of a message:
``Annotated[float | None, Expected("a mass over 0 in kg", gt=0)]``. Nothing is converted but what a file cannot write
itself: a whole number becomes a float, a list a tuple. What does not fit becomes an `Ill`: its kind and its place.
"""

from __future__ import annotations

import math
import types
import typing
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

Location = tuple[str | int, ...]
Ill = tuple[str, Location]
Taking = Callable[[Any, Location, list[Ill]], Any]  # a value, its place, where faults go; gives the value as it is held


class UnfitError(ValueError):
    """A value that no key of its kind may have."""


@dataclass(frozen=True, slots=True, eq=False)
class Expected:
    """Words for what is expected, and bounds of a number or the least length of a text."""

    words: str = ""
    gt: float = -math.inf
    ge: float = -math.inf
    lt: float = math.inf
    le: float = math.inf
    least_length: int = 0

    def fault(self, number: float) -> str:
        """Kind of what is wrong with a number; empty when nothing is."""
        if not math.isfinite(number):
            return "not finite"
        if number > self.le:
            return "over"
        return "" if self.gt < number < self.lt and number >= self.ge else "range"


@dataclass(frozen=True, slots=True, eq=False)
class Before:
    """A function that a value goes through before its type is looked at; it may raise `UnfitError`."""

    function: Callable[[Any], Any]


@dataclass(frozen=True, slots=True, eq=False)
class After:
    """A function that a value of the right type goes through."""

    function: Callable[[Any], Any]


HELD = Before(lambda value: value)  # beside a type that no file writes: the value is taken as it is, not looked into
MISSING = object()
_ANYTHING = Expected()


class FileKey:
    """A key of a table as its record declares it.

    Attributes
    ----------
    name : str
    kind : type
        Its type, without what stands beside it.
    beside : tuple
        What stands beside it.
    expected : Expected
        Words and bounds; empty words where none are given.
    default : object
        What it is without being given; `MISSING` makes a key that must be given (`required`).
    """

    __slots__ = ("_taking", "beside", "default", "expected", "is_number", "kind", "name", "required")

    def __init__(self, name: str, annotation: Any, default: Any) -> None:
        self.name, self.required = name, default is MISSING
        self.default = None if self.required else default
        self.kind, self.beside = _apart(annotation)
        self.expected = _expected(self.beside)
        self.is_number = self.kind in (float, float | None)
        self._taking: Taking | None = None

    def take(self, value: Any, place: Location, ill: list[Ill]) -> Any:
        """A value of the file as the record holds it; what is wrong with it goes to `ill`."""
        if self._taking is None:  # of keys that no file has, nothing is ever made
            self._taking = _taking(self.kind, self.beside, _ANYTHING)
        return self._taking(value, place, ill)


def _apart(annotation: Any) -> tuple[Any, tuple[Any, ...]]:
    if typing.get_origin(annotation) is typing.Annotated:
        return annotation.__origin__, annotation.__metadata__
    return annotation, ()


def _expected(beside: tuple[Any, ...]) -> Expected:
    return next((b for b in beside if isinstance(b, Expected)), _ANYTHING)


def _taking(kind: Any, beside: tuple[Any, ...], outer: Expected) -> Taking:
    """How a value of a type is taken."""
    if HELD in beside:
        return lambda value, _place, _ill: value
    expected = next((b for b in beside if isinstance(b, Expected)), outer)
    taking = _of_kind(kind, expected)
    for step in beside:
        if isinstance(step, Before):
            taking = _before(step.function, taking)
        elif isinstance(step, After):
            taking = _after(step.function, taking)
    return taking


def _of_kind(kind: Any, expected: Expected) -> Taking:
    origin, arguments = typing.get_origin(kind), typing.get_args(kind)
    if origin in (types.UnionType, typing.Union):
        (option,) = [a for a in arguments if a is not type(None)]
        return _or_nothing(_taking(*_apart(option), expected))
    if origin is typing.Literal:
        return _choice(arguments)
    if origin is tuple and arguments[-1] is Ellipsis:
        return _list(_taking(*_apart(arguments[0]), _ANYTHING))
    if origin is tuple:
        return _row([_taking(*_apart(a), _ANYTHING) for a in arguments])
    if kind is float:
        return lambda value, place, ill: _number(value, place, ill, expected)
    if kind is str:
        return lambda value, place, ill: _text(value, place, ill, expected.least_length)
    return _of_class(kind)


def _before(function: Callable[[Any], Any], taking: Taking) -> Taking:
    def take(value: Any, place: Location, ill: list[Ill]) -> Any:
        try:
            ready = function(value)
        except UnfitError:
            ill.append(("unfit", place))
            return None
        return taking(ready, place, ill)

    return take


def _after(function: Callable[[Any], Any], taking: Taking) -> Taking:
    def take(value: Any, place: Location, ill: list[Ill]) -> Any:
        before = len(ill)
        found = taking(value, place, ill)
        return function(found) if len(ill) == before else None

    return take


def _or_nothing(taking: Taking) -> Taking:
    return lambda value, place, ill: None if value is None else taking(value, place, ill)


def _choice(choices: tuple[Any, ...]) -> Taking:
    def take(value: Any, place: Location, ill: list[Ill]) -> Any:
        if not isinstance(value, str) or value not in choices:
            ill.append(("choice", place))
        return value

    return take


def _list(taking: Taking) -> Taking:
    def take(value: Any, place: Location, ill: list[Ill]) -> Any:
        if not isinstance(value, list | tuple):
            ill.append(("type", place))
            return None
        return tuple([taking(v, (*place, k), ill) for k, v in enumerate(value)])

    return take


def _row(takings: list[Taking]) -> Taking:
    """A list of so many values, each of a type of its own."""

    def take(value: Any, place: Location, ill: list[Ill]) -> Any:
        if not isinstance(value, list | tuple):
            ill.append(("type", place))
            return None
        if len(value) > len(takings):
            ill.append(("long", place))
            return None
        pairs = zip(value, takings, strict=False)
        found = tuple([taking(v, (*place, k), ill) for k, (v, taking) in enumerate(pairs)])
        ill += [("short", (*place, k)) for k in range(len(value), len(takings))]
        return found

    return take


def _number(value: Any, place: Location, ill: list[Ill], expected: Expected) -> float:
    fault, number = "number", math.nan
    if isinstance(value, float | int) and not isinstance(value, bool):
        with suppress(OverflowError):  # of a whole number of hundreds of digits
            number = float(value)
            fault = expected.fault(number)
    if fault:
        ill.append((fault, place))
    return number


def _text(value: Any, place: Location, ill: list[Ill], least: int) -> Any:
    if not isinstance(value, str) or len(value) < least:
        ill.append(("type", place))
    return value


@cache
def _of_class(kind: type) -> Taking:
    """A table of its own, or a value that is of the class already."""
    read = getattr(kind, "_read", None)
    if read is not None:
        return typing.cast(Taking, read)

    def take(value: Any, place: Location, ill: list[Ill]) -> Any:
        if not isinstance(value, kind):
            ill.append(("type", place))
        return value

    return take


def table_fault(value: Any) -> str:
    """Kind of what is wrong with a value where a table is expected; empty when it is one."""
    return "" if isinstance(value, Mapping) else "type"


def path_of(value: Any) -> Any:
    """A text as the path that it is."""
    return Path(value) if isinstance(value, str) else value
