"""Finds the layout that an axle names, and sorts out the keys that this layout adds to the axle."""

from __future__ import annotations

import difflib
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from kin3d.errors import Finding, LayoutError
from kin3d.linkage.checking import choice_fault
from kin3d.linkage.keys import AxleTable
from kin3d.linkage.layout import Layout
from kin3d.linkage.layout_file import builtin, builtin_names, parse, plain, told_names
from kin3d.linkage.record import known_keys
from kin3d.reading.text import FindingLog, read_toml


@dataclass(frozen=True, slots=True)
class LayoutChoice:
    """The layout of one axle and what its own keys say.

    Attributes
    ----------
    layout : Layout or None
        None when it is missing or wrong.
    known : tuple of str
        The keys that the layout adds to the axle; those of the built-in layouts when there is none.
    given : dict of str to str
        Values of these keys. A wrong value, once reported, is replaced by the first right one, so that
        the points can still be checked.
    """

    layout: Layout | None = None
    known: tuple[str, ...] = ()
    given: dict[str, str] = field(default_factory=dict)


def choose_layout(axle: str, raw: Mapping[str, Any], folder: Path, log: FindingLog) -> LayoutChoice:
    """Return the layout of an axle as its table in the car file says; `folder` is that file's folder."""
    name = raw.get("layout")
    layout = find_layout(name, folder, f"[{axle}] layout", log) if isinstance(name, str) else None
    if layout is None:
        return LayoutChoice(known=tuple(key for n in builtin_names() for key in builtin(n).keys()))  # noqa: SIM118
    choices = layout.keys()
    given = {}
    for key, values in choices.items():
        if key in raw:
            given[key] = _checked(raw[key], values, f"[{axle}] {key}", log)
    _tell_keys(axle, layout, given, log)
    return LayoutChoice(layout, tuple(choices), given)


def find_layout(name: str, folder: Path, where: str, log: FindingLog) -> Layout | None:
    """Return the built-in layout of that name, or the one in the file of that path."""
    folded = plain(name)
    try:
        if folded in builtin_names():
            return builtin(folded)
        if name.isprintable() and (name.lower().endswith(".toml") or "/" in name):
            return _read_layout(folder / name, log)
    except LayoutError as err:
        log.adopt(replace(f, place=f.place or log.place(where)) for f in err.findings)
        return None
    near = difflib.get_close_matches(folded, builtin_names(), 1)
    hint = f'did you mean "{builtin(near[0]).name}"?' if near else f"built in: {told_names()}"
    text = f'is "{name}"; a built-in layout or the path of a layout file (.toml) is expected; {hint}'
    log.error("layout-unknown", text, where)
    return None


def _read_layout(path: Path, log: FindingLog) -> Layout | None:
    """Return the layout of a file; what keeps it from being read goes to `log`, what is wrong with it is raised."""
    own = FindingLog(str(path))
    data = read_toml(path, own, "a layout with [bodies] and [wheel] is expected")
    log.adopt(own.findings)
    return None if data is None else parse(data, own.file)


def _tell_keys(axle: str, layout: Layout, given: dict[str, str], log: FindingLog) -> None:
    """Refuse keys of the layout that the car file has anyway, and drop the later of two that exclude each other."""
    for part in layout.parts:
        if part.key in known_keys(AxleTable):
            text = f'[[parts]] "{part.name}": key "{part.key}" is a key of every car file; take another name'
            log.adopt([Finding("key-taken", text, layout.source)])
        if part.key in given and part.not_with in given:
            text = f"{part.key} and {part.not_with} are both given; one of the two is expected"
            log.error("keys-conflict", text, f"[{axle}]")
            del given[part.key]


def _checked(value: Any, choices: tuple[str, ...], where: str, log: FindingLog) -> str:
    fault = choice_fault(value, choices)
    if not fault:
        return str(value)
    log.error("choice-unknown", fault, where)
    return choices[0] if choices else ""
