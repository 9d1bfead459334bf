"""Findings and exceptions: how every layer says what is wrong, where, and what to do.

Imports nothing of kin3d, so that every layer may use it.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum


class Severity(StrEnum):
    """How much a finding matters."""

    ERROR = "error"
    WARNING = "warning"
    NOTE = "note"


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing seen in an input.

    Attributes
    ----------
    code : str
        Stable short name, e.g. ``"point-missing"``; tests and programs match on it.
    text : str
        A sentence for a person: what was found, what is expected, what to do.
    place : str
        Where: ``"front.csv, row 7"``, ``"car.toml, [front] rod_on"``, ``"sheet.dxf, handle 3F"``.
    severity : Severity
        ``ERROR`` stops the reading, ``WARNING`` and ``NOTE`` ride along with the result.
    assumed : str
        What was assumed in place of what is missing; empty when nothing was.
    """

    code: str
    text: str
    place: str = ""
    severity: Severity = Severity.ERROR
    assumed: str = ""

    def __str__(self) -> str:
        place = f"{self.place}: " if self.place else ""
        assumed = f"; assumed: {self.assumed}" if self.assumed else ""
        return f"{place}{self.text}{assumed}"


class Kin3dError(Exception):
    """A mistake in an input that a person can mend; carries every finding at once.

    Attributes
    ----------
    findings : tuple of Finding
        All of them, errors first as given.
    """

    def __init__(self, findings: Iterable[Finding] | Finding) -> None:
        self.findings = (findings,) if isinstance(findings, Finding) else tuple(findings)
        super().__init__("\n".join(str(f) for f in self.findings))


class ReadingError(Kin3dError):
    """A file cannot be read as what it should be."""


class LayoutError(Kin3dError):
    """A layout, or the points given for it, do not make a linkage that can move as asked."""


class AssemblyError(Kin3dError):
    """The linkage cannot be put together in the design position."""


class RequestError(Kin3dError):
    """A study was asked for something it cannot do: an unknown axle, drive, measure or an empty range."""


def raise_errors(findings: Iterable[Finding], kind: type[Kin3dError]) -> None:
    """Raise `kind` with all findings of severity ERROR, if there is one."""
    errors = [f for f in findings if f.severity is Severity.ERROR]
    if errors:
        raise kind(errors)
