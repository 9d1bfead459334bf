"""What is typed becomes values at once where it is plainly right.

typer makes a validator of pydantic's for every parameter and loads pydantic for it, which takes longer than a sweep.
Whatever is not plainly right goes its way, and so do its messages.
"""

from __future__ import annotations

import os
import re
from functools import partial
from pathlib import Path
from typing import Any, Literal, get_args, get_origin

_UNSURE = object()
_WHOLE = re.compile(r"-?[0-9]{1,15}")
_NUMBER = re.compile(r"-?[0-9]{1,15}(\.[0-9]{1,15})?")
_LIMITS = ("parser", "min", "max", "exists", "resolve_path", "writable", "path_type", "allow_dash")
_ALLOWED = ("file_okay", "dir_okay")


def quicken(parameter: Any) -> None:
    """Let a parameter of typer's take what is plainly right by itself."""
    kind = getattr(parameter, "type_descriptor", None)  # where typer has none, it converts by itself
    if kind is None or isinstance(parameter.process_value, partial):
        return
    info = kind.parameter_info
    free = not any(getattr(info, name, None) for name in _LIMITS) and all(getattr(info, n, True) for n in _ALLOWED)
    if free:
        parameter.process_value = partial(_processed, parameter, kind.annotation, parameter.process_value)


def _processed(parameter: Any, annotation: Any, process: Any, context: Any, value: Any) -> Any:
    many = parameter.multiple or parameter.nargs == -1
    if value is None and not parameter.required:
        found: Any = () if many else None
    else:
        found = _taken(annotation, value) if value or not many else _UNSURE
    if found is _UNSURE:
        return process(context, value)
    return found if parameter.callback is None else parameter.callback(context, parameter, found)


def _taken(annotation: Any, value: Any) -> Any:
    """The value of what was typed, or of a default; `_UNSURE` where typer has to look at it."""
    origin = get_origin(annotation)
    if origin is list and isinstance(value, list | tuple):
        found = [_taken(get_args(annotation)[0], v) for v in value]
        return _UNSURE if any(v is _UNSURE for v in found) else found
    if origin is Literal:
        return value if value in get_args(annotation) else _UNSURE
    if isinstance(annotation, type) and type(value) is annotation and annotation is not Path:
        return value
    if not isinstance(value, str):
        return _UNSURE
    if annotation is float and _NUMBER.fullmatch(value):
        return float(value)
    if annotation is int and _WHOLE.fullmatch(value):
        return int(value)
    if annotation is Path and (os.access(value, os.R_OK) or not os.path.exists(value)):
        return Path(value)
    return _UNSURE
