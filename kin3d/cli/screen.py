"""What a command says and writes: its results on the screen, findings on standard error, files, the exit code."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from kin3d.errors import Finding, Kin3dError, RequestError, Severity
from kin3d.writing.files import PICTURES, TABLES, check_place, plan
from kin3d.writing.terminal import Output

if TYPE_CHECKING:
    from kin3d.writing.result import Result

MOST_ALIKE = 40  # a file with a wrong column has a finding a row
_STYLE = {Severity.ERROR: "bold red", Severity.WARNING: "yellow", Severity.NOTE: "cyan"}


class Screen:
    """Where a command's words go, by the habits that every command has.

    Attributes
    ----------
    quiet : bool
        Nothing is said but errors.
    strict : bool
        A warning counts as failure.
    code : int
        The exit code, so far.
    """

    def __init__(self, quiet: bool = False, strict: bool = False) -> None:
        self.quiet, self.strict, self.code = quiet, strict, 0
        self._out, self._err = Output(quiet=quiet), Output(error=True)
        self._warnings = 0

    def say(self, sentence: str, style: str = "") -> None:
        """Print a sentence to standard output."""
        self._out.say(sentence, style)

    def show(self, result: Result, measures: Sequence[str] | None = None) -> None:
        """Print what a person reads of a result: its tables, then its notes."""
        for table in result.tables(measures):
            self._out.table(table)
        for note in result.notes():
            self.say(note, "dim")

    def save(self, result: Result, place: Path | None, table: str | None = None) -> None:
        """Write a result by the path's ending, if a path is given, and say how many rows it has."""
        if place is not None:
            rows = result.save(place, table)
            self.say(f"{rows} rows written to {place}")

    def plot(
        self, result: Result, place: Path | None, what: str, *, narrow: bool = False, **chosen: object
    ) -> None:
        """Draw a result, if a path is given, for a phone if it shall be narrow, and say what was drawn."""
        from kin3d.writing.style import narrow_pictures

        if place is not None:
            with narrow_pictures(narrow):
                result.plot(place, **chosen)  # type: ignore[arg-type]
            self.say(f"{what} drawn to {place}")

    def findings(self, *groups: Iterable[Finding]) -> None:
        """Print findings to standard error, each once; warnings are counted for ``--strict``."""
        for finding in dict.fromkeys(f for group in groups for f in group):
            self._warnings += finding.severity is Severity.WARNING
            if not self.quiet or finding.severity is Severity.ERROR:
                show_finding(self._err, finding)

    def fail(self) -> None:
        """The exit code becomes 1: something asked for was not reached or was refused."""
        self.code = 1

    def close(self) -> int:
        """The exit code; with ``--strict`` it says that warnings made it 1."""
        if self.strict and self._warnings:
            count = f"{self._warnings} warning{'s' if self._warnings > 1 else ''}"
            self._err.labelled(f"{count}: with --strict this counts as failure (exit code 1).", "bold")
            self.code = max(1, self.code)
        return self.code


def check_places(
    tables: Mapping[str, Path | None], pictures: Mapping[str, Path | None] | None = None, arrays: bool = True
) -> None:
    """Refuse before the work, by option, what could not be written after it; without `arrays` no ``.nc``.

    Raises
    ------
    RequestError
        With all that is wrong.
    """
    known = TABLES if arrays else tuple(e for e in TABLES if e != ".nc")
    check_endings(
        [(place, known, option) for option, place in tables.items()]
        + [(place, PICTURES, option) for option, place in (pictures or {}).items()]
    )


def check_endings(asked: Iterable[tuple[Path | None, tuple[str, ...], str]]) -> None:
    """The same for any endings: a path (None: not asked for), those that are known, the option's name."""
    findings: list[Finding] = []
    for place, endings, option in asked:
        try:
            if place is not None:
                check_place(place, endings, option)
                plan(place)
        except RequestError as error:
            findings += error.findings
    if findings:
        raise RequestError(findings)


def show_error(error: Kin3dError) -> None:
    """Print the findings of an error, one a line, to standard error; of one kind no more than a screen holds."""
    output = Output(error=True)
    seen: Counter[str] = Counter()
    for finding in error.findings:
        seen[finding.code] += 1
        if seen[finding.code] <= MOST_ALIKE:
            show_finding(output, finding)
    for code, times in seen.items():
        if times > MOST_ALIKE:
            last = next(f for f in reversed(error.findings) if f.code == code)
            output.say(f"and {times - MOST_ALIKE:,} more of this kind; the last of them: {last}")
    count = sum(f.severity is Severity.ERROR for f in error.findings)
    # a result that could not be written was computed all the same
    end = "" if any(f.code == "not-written" for f in error.findings) else "; nothing was computed"
    output.labelled(f"{count} error{'s' if count > 1 else ''}{end}.", "bold")


def show_finding(output: Output, finding: Finding) -> None:
    """Print one finding: its severity, then where, what and what to do."""
    output.labelled(f"{finding.severity}: ", _STYLE[finding.severity], str(finding))
