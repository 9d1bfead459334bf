"""Opens a text file, or says in one sentence why it cannot be read as text."""

from __future__ import annotations

import difflib
from pathlib import Path

from kin3d.reading.finding_log import FindingLog

_OTHER_KINDS = {
    b"PK\x03\x04": "a spreadsheet workbook or another zipped file; save it as CSV (UTF-8)",
    b"\xd0\xcf\x11\xe0": "an old spreadsheet workbook; save it as CSV (UTF-8)",
    b"\xff\xfe": "UTF-16 text; save it as UTF-8",
    b"\xfe\xff": "UTF-16 text; save it as UTF-8",
}


def read_text(path: Path, log: FindingLog, expected: str) -> str | None:
    """Return the text of a UTF-8 file without its byte-order mark, or None with a finding that says why not.

    `expected` says what an empty file should have held.
    """
    try:
        raw = path.read_bytes()
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
    for start, kind in _OTHER_KINDS.items():
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
