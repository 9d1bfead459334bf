"""Opens a TOML file, or says on which line it stops being one."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path
from typing import Any

from kin3d.reading.finding_log import FindingLog
from kin3d.reading.text import read_text


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
        _tell(str(err), text, log)
    except RecursionError:
        log.error("toml-syntax", "is nested too deeply to be read")
    return None


def _tell(message: str, text: str, log: FindingLog) -> None:
    lines = text.splitlines()
    match = re.search(r"\s*\(at line (\d+), column (\d+)\)", message)
    line = int(match[1]) if match else len(lines)
    reason = re.sub(r"\s*\(at .*\)$", "", message)
    found = lines[min(line, len(lines)) - 1].strip()
    log.error("toml-syntax", f"{found!r} is not valid TOML ({reason}){_hint(found)}", f"line {line}")


def _hint(found: str) -> str:
    if re.search(r"=\s*[+-]?\d+,\d", found):
        return "; write decimals with a point"
    value = found.partition("=")[2].strip()
    if value[:1].isalpha() and value not in ("true", "false"):
        return "; put texts in quotation marks"
    if "\\" in value:
        return "; write paths with forward slashes"
    return ""
