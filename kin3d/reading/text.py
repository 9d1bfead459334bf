"""Opens text files, and collects what is seen in them, so that a person hears of everything at once."""

from __future__ import annotations

import difflib
import re
import tomllib
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from kin3d.errors import Finding, Severity
from kin3d.reading.kinds import STARTS
from kin3d.writing.files import read_file

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


def read_text(path: Path, log: FindingLog, expected: str) -> str | None:
    """Return the text of a UTF-8 file without its byte-order mark, or None with a finding that says why not.

    `expected` says what an empty file should have held.
    """
    try:
        raw = read_file(path)
    except FileNotFoundError:
        log.error("file-missing", f"there is no such file; {_near(path)}")
    except IsADirectoryError:
        log.error("file-directory", "is a folder; give the path of a file")
    except (OSError, ValueError) as err:
        reason = getattr(err, "strerror", None) or str(err)
        log.error("file-unreadable", f"cannot be opened: {reason}")
    else:
        return _decode(raw, log, expected)
    return None


def _near(path: Path) -> str:
    """Say what to do about a missing file: the nearest name beside it, if the folder is there."""
    if "\\" in str(path) or not str(path).isprintable():  # in TOML, "sub\\f" has a form feed in it
        return "write the path with forward slashes"
    if not path.parent.is_dir():
        return f'there is no folder "{path.parent}" either; check the path'
    files = [p.name for p in path.parent.iterdir() if p.is_file()]
    near = difflib.get_close_matches(path.name, files, 1, cutoff=0.75)  # the ending alone makes 0.6
    return f'did you mean "{near[0]}"?' if near else "check the path and the name"


def _decode(raw: bytes, log: FindingLog, expected: str) -> str | None:
    for start, kind in STARTS:
        if raw.startswith(start):
            log.error("file-kind", f"is not UTF-8 text but {kind}")
            return None
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as err:
        body = err.object
        row = 1 + body[: err.start].replace(b"\r\n", b"\n").replace(b"\r", b"\n").count(b"\n")
        found = f"byte 0x{body[err.start]:02X} is not UTF-8 text; save the file with the encoding UTF-8"
        log.error("file-encoding", found, row)
        return None
    if "\0" in text:
        log.error("file-kind", "holds zero bytes, so it is not a text file; save it as UTF-8 text")
        return None
    if not text.strip():
        log.error("file-empty", f"is empty; {expected}")
        return None
    return text


def read_toml(path: Path, log: FindingLog, expected: str) -> dict[str, Any] | None:
    """Return the parsed file, or None with a finding that has the line and what is wrong there.

    `expected` says what an empty file should have held.
    """
    text = read_text(path, log, expected)
    if text is None:
        return None
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as err:
        _tell_syntax(str(err), text if path.suffix.lower() == ".toml" else "", log)
    except RecursionError:
        log.error("toml-syntax", "is nested too deeply to be read")
    return None


def _tell_syntax(message: str, text: str, log: FindingLog) -> None:
    """Say what is wrong in which line; without a text nothing of the file is quoted: it may be any file at all."""
    if not text:
        log.error("toml-syntax", "is no TOML; give the path of a file that ends in .toml")
        return
    lines = text.splitlines()
    match = re.search(r"\s*\(at line (\d+), column (\d+)\)", message)
    line = int(match[1]) if match else len(lines)
    reason = re.sub(r"\s*\(at .*\)$", "", message)
    found = lines[min(line, len(lines)) - 1].strip()
    found = found if len(found) <= 80 else f"{found[:79]}…"
    log.error("toml-syntax", f"{found!r} is not valid TOML ({reason}){_syntax_hint(found)}", f"line {line}")


def _syntax_hint(found: str) -> str:
    if re.search(r"=\s*[+-]?\d+,\d", found):
        return "; write decimals with a point"
    value = found.partition("=")[2].strip()
    if value[:1].isalpha() and value not in ("true", "false"):
        return "; put texts in quotation marks"
    if "\\" in value:
        return "; write paths with forward slashes"
    return ""
