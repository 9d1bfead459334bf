"""Collects what is seen in one file, so that a person hears of everything at once."""

from __future__ import annotations

from collections.abc import Iterable

from kin3d.errors import Finding, Severity

Where = str | int


class FindingLog:
    """Findings of one file, each with its place in it.

    A place is a row number or a text such as ``"[front] rod_on"``.

    Attributes
    ----------
    file : str
        The file's name as the user will recognise it.
    """

    def __init__(self, file: str) -> None:
        self.file = "".join(c if c.isprintable() else repr(c)[1:-1] for c in file)
        self._found: list[tuple[int, Finding]] = []

    def place(self, where: Where = "") -> str:
        """Return the text for a place in the file: ``"front.csv, row 7"``."""
        inside = f"row {where}" if isinstance(where, int) else where
        return f"{self.file}, {inside}" if inside else self.file

    def error(self, code: str, text: str, where: Where = "") -> None:
        """Add an error: the reading will fail once everything is seen."""
        self._add(Finding(code, text, self.place(where)), where)

    def warn(self, code: str, text: str, where: Where = "") -> None:
        """Add a warning that rides along with the result."""
        self._add(Finding(code, text, self.place(where), Severity.WARNING), where)

    def note(self, code: str, text: str, assumed: str, where: Where = "") -> None:
        """Add a note of what was assumed; it rides along with the result."""
        self._add(Finding(code, text, self.place(where), Severity.NOTE, assumed), where)

    def adopt(self, findings: Iterable[Finding]) -> None:
        """Add findings that already have their place, of another file for instance."""
        self._found += [(0, f) for f in findings]

    def _add(self, finding: Finding, where: Where) -> None:
        self._found.append((where if isinstance(where, int) else 0, finding))

    @property
    def findings(self) -> tuple[Finding, ...]:
        """All findings by row, those of one row and those without one in the order they were seen."""
        return tuple(f for _, f in sorted(self._found, key=lambda pair: pair[0]))

    @property
    def failed(self) -> bool:
        """Whether there is an error among the findings."""
        return any(f.severity is Severity.ERROR for _, f in self._found)
